"""The class handout: it stands alone, and its script predicts what the library predicts."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000, weights
from tintladder.calibrate.optics.colour_difference import ciede2000_band
from tintladder.calibrate.optics.display import srgb_of_xyz
from tintladder.calibrate.optics.predict import predict
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.setout import set_out
from tintladder.database.mixing.target import of_lab
from tintladder.database.paper.for_colours import heaps_of
from tintladder.database.paper.handout.lesson import lesson
from tintladder.database.paper.handout.numbers import numbers, opaque_table
from tintladder.database.store.schema import Paint

from .invented_palette import answered, by_transport, invented_coefficients

TARGETS = [of_lab(60, 10, 20), of_lab(45, -10, -20)]


@pytest.fixture(scope="module")
def coefficients():
    rng = np.random.default_rng(3)
    c = invented_coefficients(6)
    both = np.stack([c.k, c.s], axis=1)
    loose = np.zeros_like(c.local)
    loose[:, 0, 0], loose[:, 1, 1] = (0.02 * c.k) ** 2, (0.02 * c.s) ** 2
    return replace(
        c,
        local=loose,
        own=both[:, None] * rng.normal(0, 0.02, (6, 3, 2, 1)),
        factors=both[None] * rng.normal(0, 0.02, (4, 6, 2, 1)),
        factor_names=("a", "b", "c", "d"),
        mix_error=np.full(6, 0.03),
        model_error=np.full(c.wavelengths.size, 0.004),
        surface_offset=rng.normal(0, 0.003, 6),
    )


def handout(coefficients, **said):
    found = set_out(Palette(coefficients), TARGETS, ml=20)
    paints = {
        p: Paint(nickname=p, name=said.pop("name", p.title()), pigments=["PY35"], maker="Slipway")
        for p in coefficients.paints
    }
    heaps = heaps_of(answered(found, coefficients))
    return found, lesson(found, heaps, Palette(coefficients), paints, "Slipway & sky", 8)


@pytest.mark.parametrize("model", [lambda c: c, by_transport])
def test_table_gives_every_opaque_film_of_both_models(coefficients, model):
    palette = Palette(model(coefficients))
    shares = np.random.default_rng(1).dirichlet(np.full(6, 0.3), 50)
    q = (shares @ palette.coefficients.absorption) / (shares @ palette.coefficients.s)
    if model is by_transport:
        scatters = palette.coefficients.scattering_shares(shares) @ palette.coefficients.s
        q = (shares @ palette.coefficients.k) / scatters
    y = 1 / (1 + q + np.sqrt(q * (q + 2)))
    table = opaque_table(palette.coefficients)
    own = (shares @ palette.coefficients.surface_offset)[:, None]
    found = np.interp(y, np.linspace(0, 1, table.size), table) + own
    expected = predict(palette.coefficients, shares).reflectance
    np.testing.assert_allclose(found, expected, atol=1e-4)


def test_display_matrix_is_the_libraries(coefficients):
    tristimulus = np.array([[0.3, 0.25, 0.2]])
    linear = np.array(numbers(Palette(coefficients))["display"]) @ (tristimulus / weights()[1])[0]
    shown = np.where(linear > 0.0031308, 1.055 * linear ** (1 / 2.4) - 0.055, 12.92 * linear)
    np.testing.assert_allclose(shown, srgb_of_xyz(tristimulus)[0][0], atol=1e-4)


class Refers(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.found += [value or "" for name, value in attrs if name in ("src", "href", "srcset")]


def test_it_needs_nothing_else_and_says_what_it_must(coefficients):
    found, text = handout(coefficients)
    refers = Refers()
    refers.feed(text)
    assert not refers.found and "url(" not in text and "@import" not in text
    assert "Slipway &amp; sky" in text and "another maker" in " ".join(text.split())
    assert "holds cadmium" in text and "Colour advice is not safety advice" in text
    assert len(re.findall(r"<details>", text)) == len(found.dabs)
    assert handout(coefficients)[1] == text
    assert len(text) < 250_000


def test_names_cannot_bring_in_markup(coefficients):
    _, text = handout(coefficients, name="</script><script>alert(1)</script>")
    assert "<script>alert" not in text


def opened(phone, coefficients, tmp_path):
    found, text = handout(coefficients)
    file = tmp_path / "lesson.html"
    file.write_text(text, encoding="utf-8")
    faults: list[str] = []
    phone.on("pageerror", lambda error: faults.append(str(error)))
    phone.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
    phone.goto(file.as_uri())
    return found, faults


def both_models(coefficients):
    return replace(by_transport(coefficients), share=0.6, beside=coefficients)


@pytest.mark.parametrize("of", [lambda c: c, both_models])
def test_its_script_predicts_what_the_library_does(phone, coefficients, tmp_path, of):
    coefficients = of(coefficients)
    found, faults = opened(phone, coefficients, tmp_path)
    few = coefficients.select(list(found.tubes))
    rng = np.random.default_rng(5)
    for _ in range(4):
        parts = np.round(rng.uniform(0, 8, len(found.tubes)), 2)
        dry = parts * few.density * few.dry_volume
        expected = predict(few, (dry / dry.sum())[None])
        made = phone.evaluate("parts => mix(parts)", parts.tolist())
        np.testing.assert_allclose(made["lab"], expected.lab()[0], atol=5e-3)
        band = float(ciede2000_band(expected.lab(), expected.lab_covariance())[0])
        assert made["band"] == pytest.approx(band, rel=0.1)
    assert not faults


def test_its_differences_are_ciede2000(phone, coefficients, tmp_path):
    """Against colour-science, which is held to the published pairs (Sharma, Wu, Dalal 2005)."""
    opened(phone, coefficients, tmp_path)
    pairs = np.random.default_rng(2).uniform([5, -60, -60], [95, 60, 60], (40, 2, 3))
    found = phone.evaluate("pairs => pairs.map(([a, b]) => difference(a, b))", pairs.tolist())
    np.testing.assert_allclose(found, ciede2000(pairs[:, 0], pairs[:, 1]), atol=1e-6)


def test_the_answer_is_hidden_until_tapped_and_shown_on_paper(
    phone,
    coefficients,
    tmp_path,
):
    _, faults = opened(phone, coefficients, tmp_path)
    assert not phone.locator("details table").first.is_visible()
    phone.locator("summary").first.click()
    assert phone.locator("details table").first.is_visible()
    phone.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert phone.locator("details:not([open])").count() == 0
    assert not faults


def test_amounts_follow_the_class_and_sliders_the_mix(phone, coefficients, tmp_path):
    opened(phone, coefficients, tmp_path)
    cell = phone.locator("[data-each]").first
    each = float(cell.get_attribute("data-each"))
    phone.locator("#people").fill("50")
    assert cell.text_content() == f"{50 * each:.2f}"
    assert phone.locator("#verdict").text_content() == "Nothing mixed yet."
    phone.locator("#sliders input").first.fill("10")
    assert re.search(r"Sure to within \d", phone.locator("#verdict").text_content())
    assert json.loads(phone.locator("#numbers").text_content())["models"][0]["k"]


def test_practice_says_what_the_parts_give_and_which_tube_is_off(phone, coefficients, tmp_path):
    """The right parts are right; with twice as much of one tube that tube is named."""
    _, faults = opened(phone, coefficients, tmp_path)
    right = phone.evaluate("right")
    assert sum(part > 0 for part in right) >= 2
    assert phone.locator("#felt label:visible").count() == sum(part > 0 for part in right)
    phone.locator("#see").click()
    assert "Say how many parts" in phone.locator("#told").text_content()
    for nth, part in enumerate(right):
        if part:
            phone.locator("#felt input").nth(nth).fill(f"{part:g}")
    phone.locator("#see").click()
    assert "That is hard to see (0.0). The colour was made of" in (
        phone.locator("#told").text_content()
    )
    off = next(nth for nth, part in enumerate(right) if part)
    phone.locator("#felt input").nth(off).fill(f"{3 * right[off]:g}")
    phone.locator("#see").click()
    name = phone.locator("#felt label").nth(off).text_content().strip()
    assert f"There is too much {name}: 0.3" in phone.locator("#told").text_content()
    phone.locator("#another").click()
    assert not phone.locator("#gave").is_visible() and not faults
