"""The mixing table in a real browser: it mixes as the server does, and shows it where one looks."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.basis import Manner, on_hand
from tintladder.database.easel.habits import habits
from tintladder.database.mixing.next_addition import predicted_band
from tintladder.database.mixing.order import lab_of
from tintladder.database.store.store import Store

from .page_access import serious_faults

AIMED = "/mix?target=62,-18,-9"
LAID = f"{AIMED}&lay=HULL&lay=ANCHOR&lay=ROPE"
SIZES = ((390, 844), (820, 1180), (1280, 900))
ALIKE = 0.1
"""CIEDE2000 that browser and server may differ by."""
BANDS_ALIKE = 0.2
"""Share that their bands may differ by: the browser's are of the main causes alone."""


def random_mixes(paints: list[str], count: int) -> list[dict[str, float]]:
    rng = np.random.default_rng(11)
    return [
        {
            str(p): float(g)
            for p, g in zip(
                rng.choice(paints, rng.integers(1, 6), replace=False),
                10 ** rng.uniform(-2, 1.3, 5),
                strict=False,
            )
        }
        for _ in range(count)
    ]


def test_the_browser_mixes_as_the_server_does(window: Any, demo_page: Any, demo: Any) -> None:
    """A thousand random mixes of one to five tubes, from 0.01 to 20 g of each; and their bands."""
    window.goto(f"{demo_page.origin}/mix")
    with Store.open(demo.folder) as store:
        basis = on_hand(store, Manner(habits(store).seen))
    mixes = random_mixes(list(basis.read.paints), 1000)
    grams = [[mix.get(p, 0.0) for p in window.evaluate("N.paints")] for mix in mixes]
    made = window.evaluate("all => all.map((each) => mix(each, N.dry))", grams)
    apart = ciede2000(np.array([m["lab"] for m in made]), lab_of(basis.palette, mixes))
    assert apart.max() < ALIKE
    few = range(0, 1000, 20)
    bands = np.array([predicted_band(basis.palette, mixes[i]) for i in few])
    np.testing.assert_allclose([made[i]["band"] for i in few], bands, rtol=BANDS_ALIKE)


def test_the_words_are_those_of_the_server(window: Any, demo_page: Any) -> None:
    """The page without its script says of a mix what the script says of it."""
    for amounts in ({"HULL": 9, "ANCHOR": 1.2}, {"HULL": 9, "ANCHOR": 0.5, "ROPE": 0.4}):
        fields = {"show": "mix", **{f"a:{p}": x for p, x in amounts.items()}}
        path = f"{AIMED}&{urlencode(fields)}"
        said = re.search(r'id="verdict"[^>]*>([^<]*)<', demo_page.get(path).text)
        window.goto(demo_page.origin + path)
        window.wait_for_function("document.getElementById('stage').dataset.lab")
        assert said is not None
        here, there = window.locator("#verdict").inner_text(), said[1]
        assert re.sub(r"[\d.]+", "", here) == re.sub(r"[\d.]+", "", there)
        (off, band), (its, other) = (map(float, re.findall(r"\d+\.\d", t)) for t in (here, there))
        assert off == its and band == pytest.approx(other, rel=BANDS_ALIKE, abs=0.06)


def in_view(window: Any, what: str = "#patches") -> bool:
    found: bool = window.locator(what).evaluate(
        """e => { const b = e.getBoundingClientRect();
        return b.height > 90 && b.width > 200 && b.top >= 0 && b.left >= 0
          && b.bottom <= innerHeight && b.right <= innerWidth; }"""
    )
    return found


@pytest.mark.parametrize(("wide", "tall"), SIZES)
def test_both_colours_stay_in_view_through_the_whole_of_mixing(
    window: Any, own_page: Any, wide: int, tall: int
) -> None:
    home = own_page[0].origin
    window.set_viewport_size({"width": wide, "height": tall})
    faults: list[str] = []

    def look(step: str) -> None:
        window.wait_for_load_state()
        for end in ("0", "document.documentElement.scrollHeight / 2", "1e6"):
            window.evaluate(f"scrollTo(0, {end})")
            assert in_view(window), (step, end)
            assert in_view(window, "#verdict") or window.locator("#verdict").is_visible(), step
        assert window.evaluate("document.documentElement.scrollWidth") <= wide
        faults.extend(serious_faults(window, step))

    window.goto(f"{home}/mix")
    look("empty")
    window.locator("#target").fill("#5f8ea0")
    window.get_by_role("button", name="Aim at it").click()
    window.get_by_role("button", name="Look for ways").wait_for()
    look("aimed")
    for name in ("Hull White", "Anchor Blue", "Rope Earth", "Pitch Black"):
        window.locator("#tubes label.paint", has_text=name).click()
    look("laid out")
    if wide == 390:
        assert window.evaluate("document.documentElement.scrollHeight") <= 2 * tall
    window.get_by_role("button", name="Look for ways").click()
    window.get_by_role("link", name="Take this way").first.click()
    window.locator("#amounts").wait_for()
    look("way")
    window.get_by_role("button", name="More Rope Earth").click()
    window.get_by_role("button", name="This went on the plate").click()
    window.locator("#plate").wait_for()
    look("plate")
    window.get_by_role("button", name="Take the last step back").click()
    window.locator("#plate").wait_for(state="detached")
    look("undone")
    assert not faults


def test_a_touch_fills_the_screen_then_the_mix_alone(phone: Any, demo_page: Any) -> None:
    phone.goto(f"{demo_page.origin}{LAID}")
    phone.locator("#patches").click()
    screen = phone.locator("#screen")
    assert screen.evaluate("e => e.open && e.getBoundingClientRect().height === innerHeight")
    assert screen.locator(".two").is_visible() and not screen.locator(".one").is_visible()
    screen.click()
    assert screen.locator(".one").is_visible() and not screen.locator(".two").is_visible()
    screen.click()
    assert not screen.evaluate("e => e.open")


def test_sliders_move_by_the_steps_of_the_measure_and_a_reload_loses_nothing(
    window: Any, own_page: Any
) -> None:
    page, folder = own_page
    with Store.open(folder) as store, store.transaction():
        store.habits.keep({"measure": "spoons"})
    window.goto(f"{page.origin}{AIMED}")
    window.locator("#tubes label.paint", has_text="Hull White").click()
    for _ in range(3):
        window.get_by_role("button", name="More Hull White").click()
    slider = window.locator("[data-tube=HULL] input[type=range]")
    assert slider.get_attribute("aria-valuetext") == "¾ spoon"
    window.locator("#tubes label.paint", has_text="Anchor Blue").click()
    window.get_by_role("button", name="More Anchor Blue").click()
    window.evaluate(
        "() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
    )
    before = window.locator("#verdict").inner_text()
    colour = window.locator("#patches [data-mixed]").get_attribute("fill")
    window.reload()
    window.wait_for_function("document.getElementById('stage').dataset.lab")
    assert window.locator("#verdict").inner_text() == before
    assert window.locator("#patches [data-mixed]").get_attribute("fill") == colour
    # Dragged, it stays on whole steps.
    window.locator("[data-tube=ANCHOR] input[type=range]").fill("500")
    amount = float(window.locator("#a-ANCHOR").input_value())
    assert amount > 1 and amount * 4 == round(amount * 4)


def test_the_table_goes_on_mixing_without_the_network(window: Any, demo_page: Any) -> None:
    window.goto(f"{demo_page.origin}{LAID}")
    window.wait_for_function("document.getElementById('stage').dataset.lab")
    window.context.set_offline(True)
    before = window.locator("#verdict").inner_text()
    for _ in range(5):
        window.get_by_role("button", name="More Rope Earth").click()
    window.wait_for_function(
        "before => document.getElementById('verdict').textContent !== before", arg=before
    )
    window.context.set_offline(False)


def test_too_much_is_marked_where_it_is_seen(window: Any, demo_page: Any) -> None:
    """Beyond the mark the mix differs by more than the server's own rule for too much."""
    window.goto(f"{demo_page.origin}{LAID}&way=ANCHOR,HULL,ROPE")
    window.locator("[data-tube=ANCHOR] .mark-much").wait_for()
    words = window.locator("[data-tube=ANCHOR] .much").inner_text()
    mark = float(words.split()[3])
    now = float(window.locator("#a-ANCHOR").input_value())
    lab = "m => look(N.paints.map((p, i) => p === 'ANCHOR' ? m : heap(asAmounts())[i]), N.dry).lab"
    off = ciede2000(np.array(window.evaluate(lab, now)), np.array(window.evaluate(lab, mark)))
    assert mark > now and float(off) == pytest.approx(1.0, abs=0.4)
