"""Paper for the wall: what it says and shows, and that it is a real PDF that can be read back."""

from __future__ import annotations

import numpy as np
import pymupdf
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import lab
from tintladder.calibrate.optics.kubelka_munk import opaque_reflectance
from tintladder.calibrate.optics.surface import to_measured
from tintladder.database.common.words import colour_words
from tintladder.database.demo.demo import make_demo
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.setout import set_out
from tintladder.database.mixing.target import of_lab
from tintladder.database.paper.chart import (
    STEPS,
    TINT_LIGHTNESS,
    chart,
    pairs,
    parts_label,
    white_label,
)
from tintladder.database.paper.setout import print_setout
from tintladder.database.paper.sheet import CUT, NEARLY, Paper

from .command import run
from .invented_palette import answered, invented_coefficients


@pytest.fixture(scope="module")
def palette():
    return Palette(invented_coefficients(6))


def text_of(content: bytes) -> str:
    return " ".join(" ".join(pages(content)).split())


def pages(content: bytes) -> list[str]:
    with pymupdf.open(stream=content, filetype="pdf") as document:
        return [" ".join(page.get_text().split()) for page in document]


def test_steps_of_a_pair_are_its_mixes_by_weight(palette):
    """Masses become shares of dry volume and K and S sum by them: Duncan 1940."""
    one, other = [p for p in palette.paints if p != palette.white][:2]
    pair = pairs(palette, [one, other])[0]
    assert pair.paints == (one, other) and len(pair.parts) == len(STEPS)
    c = palette.coefficients.select([one, other])
    for parts, colour in zip(pair.parts, pair.lab, strict=True):
        share = parts * c.dry_volume / (parts * c.dry_volume).sum()
        seen = to_measured(opaque_reflectance(share @ c.k, share @ c.s), c.surface)
        np.testing.assert_allclose(colour, lab(seen[None])[0], atol=1e-6)
        assert parts.min() in (0.0, pytest.approx(1.0)) and parts.max() >= 1


def test_tints_are_the_mixes_that_their_labels_say_near_one_lightness(palette):
    """Within a tenth of a part of white: the colour is that of the parts as printed."""
    pair = pairs(palette, ["ANCHOR", "ROPE"])[0]
    assert (pair.white > 0).all()
    c = palette.coefficients.select(["ANCHOR", "ROPE", palette.white])

    def mixed(parts, white):
        weight = np.append(parts, white * parts.sum())
        share = weight * c.dry_volume / (weight * c.dry_volume).sum()
        seen = to_measured(opaque_reflectance(share @ c.k, share @ c.s), c.surface)
        return lab(seen[None])[0]

    for parts, white, colour in zip(pair.parts, pair.white, pair.tint_lab, strict=True):
        said = parts_label(parts)
        if said != "alone":
            np.testing.assert_allclose([float(p) for p in said.split(" : ")], parts)
        assert float(white_label(white).split(" : ")[0]) == pytest.approx(white)
        np.testing.assert_allclose(colour, mixed(parts, white), atol=1e-6)
        step = 1.0 if white >= 9.5 else 0.1
        less, more = (mixed(parts, white + d)[0] for d in (-step, step))
        assert less < TINT_LIGHTNESS < more


def test_without_a_white_a_pair_has_no_tints():
    dark = Palette(invented_coefficients(6).select(["ANCHOR", "ROPE"]))
    pair = pairs(dark)[0]
    assert np.isnan(pair.tint_lab).all()
    assert "Lower row" not in text_of(chart(dark, {}))


def test_a_chart_names_every_pair_and_says_how_far_to_trust_it(palette):
    said = text_of(chart(palette, {"ANCHOR": "Anchor Blue"}))
    coloured = [p for p in palette.paints if p != palette.white]
    assert said.count(" + ") >= len(coloured) * (len(coloured) - 1) // 2
    assert "Anchor Blue +" in said and NEARLY.split(":")[0] in said
    assert "alone" in said


def test_titles_of_a_chart_are_whole(palette):
    names = {paint: f"Quinacridone {paint.title()} Deep" for paint in palette.paints}
    said = text_of(chart(palette, names))
    assert "…" not in said
    for pair in pairs(palette):
        words = colour_words(pair.tint_lab[len(STEPS) // 2])
        assert f"{names[pair.paints[0]]} + {names[pair.paints[1]]} half way: {words}" in said


def test_labels_of_parts_are_such_as_a_hand_measures():
    assert parts_label(np.array([1.0, 0.0])) == "alone"
    assert parts_label(np.array([1.0, 2.97])) == "1 : 3"
    assert parts_label(np.array([12.4, 1.0])) == "12 : 1"
    assert parts_label(np.array([1.0, 2.4])) == "1 : 2.4"
    assert [white_label(x) for x in (0.0, 3.16, 21.3, np.nan)] == [
        "as it is",
        "3.2 : 1",
        "21 : 1",
        "",
    ]


@pytest.mark.parametrize(("page", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_paper_has_its_size(palette, page, size):
    with pymupdf.open(stream=chart(palette, {}, page=page), filetype="pdf") as document:
        for one in document:
            assert (one.rect.width, one.rect.height) == pytest.approx(size, abs=0.1)


def test_a_colour_no_display_shows_is_marked_where_it_stands():
    paper = Paper("One", "")
    box = next(paper.places(1, 20))
    paper.swatch(box, np.array([60.0, -120.0, 100.0]))
    paper.turn()
    paper.swatch(box, np.array([60.0, 0.0, 0.0]))
    first, second = pages(paper.finish())
    words = CUT.strip().split(":")[0]
    assert words in first and words not in second


def test_set_out_page_has_every_colour_and_every_gram(palette):
    targets = [of_lab(60, 10, 20), of_lab(45, -10, -20), of_lab(80, 0, 5)]
    found = set_out(palette, targets)
    answer = answered(found, palette.coefficients)
    content = print_setout(answer, "For the slipway", "an estimate from a photograph")
    said = text_of(content)
    assert "For the slipway" in said and "An estimate" in said
    for number, dab in enumerate(found.dabs, 1):
        assert f"{number}. {dab.target.words}" in said
    for paint in found.tubes:
        assert paint in said
    if found.fewer is not None:
        assert "One tube fewer" in said


def test_many_colours_go_on_on_another_page(palette):
    targets = [of_lab(30 + 4 * i, 5, 10) for i in range(12)]
    answer = answered(set_out(palette, targets), palette.coefficients)
    content = print_setout(answer, "Twelve")
    assert len(pages(content)) == 2


def test_the_same_again_gives_the_same_bytes(palette):
    assert chart(palette, {}) == chart(palette, {})


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return make_demo(tmp_path_factory.mktemp("sheets") / "demo")


@pytest.fixture
def tool(demo, monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return lambda *said: run(monkeypatch, capsys, "sheet", *said, "--studio", demo.folder)


def test_labels_say_what_a_painter_asks_of_a_tube(tool, tmp_path):
    done = tool("tubes", "anchor", "HULL", "--json")
    assert done.status == 0, done.err
    said = text_of((tmp_path / done.json["files"][0]).read_bytes())
    assert "Anchor Blue" in said and "PB29" in said
    assert "In tint a blue" in said and "Covers at" in said and "Tints" in said
    assert "Hull White" in said and "Buoy Red" not in said


def test_alone_it_prints_chart_and_labels(tool, tmp_path):
    assert tool("--json").json["files"] == ["mixing-chart.pdf", "tube-labels.pdf"]
    assert "Anchor Blue + Buoy Red" in text_of((tmp_path / "mixing-chart.pdf").read_bytes())


def test_chart_from_the_command_line(tool, tmp_path):
    assert tool("chart", "ANCHOR", "ROPE", "--out", "two.pdf").status == 0
    said = text_of((tmp_path / "two.pdf").read_bytes())
    assert "Anchor Blue + Rope Earth" in said and "Hull White" in said


def test_pots_say_what_was_mixed_of_which_tubes_and_what_it_dried_to(tmp_path, monkeypatch, capsys):
    studio = make_demo(tmp_path / "demo").folder
    monkeypatch.chdir(tmp_path)

    def tool(*said):
        done = run(monkeypatch, capsys, *said, "--studio", studio)
        assert done.status == 0, done.err
        return done

    tool("recipe", "62,-18,-9", "--keep", "sea", "--note", "for the transom")
    tool("recipe", "sea", "--make", "40ml", "--made")
    tool("sheet", "pots")
    said = text_of((tmp_path / "pot-labels.pdf").read_bytes())
    assert "sea" in said and "Hull White" in said and "lot" in said
    assert "As predicted in films that hide, in gloss, D50/2°, sure to within" in said
    tool("recipe", "sea", "--swatch", "61,-17,-10")
    tool("sheet", "pots", "sea", "--out", "dried.pdf")
    assert "As it dried" in text_of((tmp_path / "dried.pdf").read_bytes())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("pots",), "no batch was kept"),
        (("pots", "nothing"), "is no kept recipe"),
        (("chart", "NOBODY"), "NOBODY"),
        (("chart", "ANCHOR"), "two tubes"),
        (("chart", "--page", "a3"), "a4 or letter"),
        (("tubes", "--page", "a3"), "a4 or letter"),
        (("tubes", "--out", "/proc/none/labels.pdf"), "can't be written"),
    ],
)
def test_refuses_in_one_line_and_leaves_nothing(tool, tmp_path, arguments, said):
    done = tool(*arguments)
    assert done.status == 2 and said in done.err and done.err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_a_paper_that_there_is_not_is_refused():
    with pytest.raises(InputError, match="a4 or letter"):
        Paper("One", "", "a5")
