"""Layouts of cards: those that come with the program hold, and impossible ones are refused."""

from itertools import combinations, product
from pathlib import Path

import pytest
from tintladder.calibrate.cards.box import Box
from tintladder.calibrate.cards.card import SUBSTRATES
from tintladder.calibrate.cards.fiducials import OWN_FROM, PLACES, told_by
from tintladder.calibrate.cards.layout import (
    layout_faults,
    layout_names,
    layout_text,
    newest_layouts,
    parse_layout,
    read_layout,
)
from tintladder.calibrate.cards.strokes import opening_mm, stroke
from tintladder.calibrate.errors import InputError

SMALL = """layout = "small"
number = 100
page_mm = [100, 90]
method = "brush"
steps_each = 1
[[band]]
substrate = "black"
x_mm = 20
y_mm = 10
width_mm = 60
height_mm = 70
[[patch]]
step = 0
over = "black"
x_mm = 25
y_mm = 15
width_mm = 40
height_mm = 20
[[patch]]
step = 1
over = "black"
x_mm = 25
y_mm = 40
width_mm = 40
height_mm = 20
"""


def test_shipped_layouts() -> None:
    """ISO 216 and ANSI/ASME Y14.1 paper sizes (half letter: letter cut in two)."""
    pages = {n: read_layout(n).page_mm for n in layout_names()}
    assert set(pages.values()) == {(210, 297), (148, 210), (215.9, 279.4), (139.7, 215.9)}
    assert pages["six-tube-a4"] == pages["drawdown-a4"] == (210, 297)
    assert (read_layout("six-tube-a4").tubes, read_layout("six-tube-a4").steps_each) == (6, 4)
    assert read_layout("quick-a5").white_step == 6
    assert read_layout("drawdown-letter").method == "drawdown"
    assert read_layout("mixtures-a4").white_step is None


@pytest.mark.parametrize("name", layout_names())
def test_every_shipped_layout_can_be_painted(name: str) -> None:
    layout = read_layout(name)
    assert layout.name == name
    assert layout.number < OWN_FROM
    read = {(patch.step, patch.over) for patch in layout.patches}
    assert read == {(s, over) for s in range(layout.steps + 1) for over in SUBSTRATES}
    # Room for a brush of half an inch, and for some 4 mm aperture; common practice, no source.
    assert min(min(p.box.width_mm, p.box.height_mm) for p in layout.patches) >= 10
    if name in newest_layouts().values():
        assert layout_faults(*layout_text(name)) == []
    assert {r.over for r in layout.references if r.kind == "grey"} == set(SUBSTRATES)
    assert {text.step for text in layout.texts if text.holds == "step"} == set(
        range(1, layout.steps + 1)
    )
    held = {text.holds for text in layout.texts}
    assert held >= {"heading", "write", "bands", "cautions", "ruler", "bare", "grey"}


def test_numbers_tell_layouts_apart() -> None:
    layouts = [read_layout(name) for name in layout_names()]
    assert len({layout.number for layout in layouts}) == len(layouts)
    ids = [f.id for layout in layouts for f in layout.fiducials]
    assert len(set(ids)) == len(ids) == len(PLACES) * len(layouts)
    for layout in layouts:
        for fiducial in layout.fiducials:
            assert told_by(fiducial.id) == (layout.number, fiducial.place)
    assert told_by(8 * 3 + 6) is None
    assert told_by(999) == (124, "right") or told_by(999) is None


def test_fiducials_tell_which_way_is_up() -> None:
    """No turn of the page by a half or a quarter brings each marker onto one of the same id."""
    a, b = read_layout("quick-a5").fiducials[0], read_layout("quick-a5").fiducials[2]
    assert a.box.corners[0] == (6, 6) and b.box.corners[2] == (142, 204)
    assert a.id != b.id


def test_a_layout_of_ones_own(tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    path.write_text(SMALL)
    layout = read_layout(path)
    assert (layout.name, layout.title, layout.page_mm) == ("small", "small", (100.0, 90.0))
    assert layout.patches[1].box.y_mm == 40.0
    assert layout.boxes(1, "black") == (layout.patches[1].box,)


def test_a_run_is_its_boxes_one_by_one() -> None:
    run = SMALL.replace("step = 1", "steps = [1, 2]").replace("height_mm = 20\n", "height_mm = 8\n")
    run = run.replace("steps_each = 1", "steps_each = 2") + "pitch_mm = [0, 15.5]\n"
    boxes = [p.box for p in parse_layout(run, "small.toml").patches]
    assert [box.y_mm for box in boxes] == [15, 40, 55.5]
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))


CHANGES = [
    ('layout = "small"\n', "", ("layout", "no name")),
    ("number = 100\n", "", ("number", "expected a number under 125")),
    ("number = 100", "number = 125", ("number", "expected a number under 125")),
    ("[100, 90]", "[100]", ("page_mm", "width and height")),
    ("[100, 90]", "[100, -90]", ("page_mm, height", "above 0")),
    ("[100, 90]", "[70, 90]", ("band 1", "leaves the page")),
    ("[100, 90]", "[84, 90]", ("band 1", "closer than 5 mm to the edge")),
    ("x_mm = 20\n", "x_mm = 17\n", ("band 1", "too close to the upper left fiducial")),
    ("y_mm = 40", "y_mm = 34", ("patch 2", "overlaps patch 1")),
    ("y_mm = 40", "y_mm = 36", ("patch 2", "nearer than 3 mm to patch 1")),
    ("y_mm = 40", "y_mm = 75", ("patch 2", "leaves the page")),
    ("x_mm = 25\ny_mm = 40", "x_mm = 41\ny_mm = 40", ("patch 2", "black band")),
    ('step = 1\nover = "black"', 'step = 1\nover = "white"', ("patch 2", "white band")),
    ('over = "black"', 'over = "blue"', ("patch 1, over", "black")),
    ('over = "black"\n', "", ("patch 1, over", "missing")),
    ('substrate = "black"', 'substrat = "black"', ("band 1, substrat", "did you mean")),
    ("step = 0", "step = 1", ("patch 2, step", "twice")),
    ("step = 1", "step = 0", ("patch", "step 1 has no patch")),
    ("step = 1", "step = 2", ("patch", "step 1 has no patch")),
    ("step = 1\n", "", ("patch 2, step", "missing")),
    ("step = 1", "step = 1.5", ("patch 2, step", "whole number")),
    ("step = 1", "steps = 1", ("patch 2, steps", "by number")),
    ("step = 1", "steps = [1, 2]", ("patch 2, pitch_mm", "missing")),
    ("steps_each = 1", "steps_each = 3", ("steps_each", "expected 3 steps")),
    ('method = "brush"', 'method = "spray"', ("method", "brush")),
    ("width_mm = 40", "width_mm = 0", ("patch 1, width_mm", "above 0")),
    ("height_mm = 20", "height_mm = 6", ("patch 1", "narrower than 8 mm")),
    ("x_mm = 25\n", "", ("patch 1, x_mm", "missing")),
    ("[100, 90]", "[100, 90", ("line",)),
    ("[[patch]]", '[[reference]]\nkind = "tone"\n[[patch]]', ("reference 1, tones", "from 0")),
    ("[[patch]]", '[[text]]\nholds = "poem"\n[[patch]]', ("text 1, holds", "heading")),
]


@pytest.mark.parametrize(("old", "new", "words"), CHANGES)
def test_impossible_layouts(old: str, new: str, words: tuple[str, ...]) -> None:
    assert old in SMALL
    with pytest.raises(InputError) as caught:
        parse_layout(SMALL.replace(old, new, 1), "small.toml")
    for word in words:
        assert word in str(caught.value)


def test_a_check_names_every_fault() -> None:
    assert layout_faults(SMALL, "small.toml") == []
    wrong = SMALL.replace("y_mm = 40", "y_mm = 34").replace("x_mm = 20\n", "x_mm = 17\n")
    said = "\n".join(str(fault) for fault in layout_faults(wrong, "small.toml"))
    assert "patch 2: it overlaps patch 1" in said
    assert "upper left fiducial" in said and "lower left fiducial" in said
    assert len(layout_faults("layout = ", "small.toml")) == 1


def test_patches_that_one_stroke_cannot_reach() -> None:
    """Black and white of a step lie in one line, for a brush as for an applicator."""
    two = SMALL.replace("[100, 90]", "[200, 90]") + (
        '[[band]]\nsubstrate = "white"\nx_mm = 80\ny_mm = 10\nwidth_mm = 60\nheight_mm = 70\n'
        '[[patch]]\nstep = 0\nover = "white"\nx_mm = 85\ny_mm = 15\nwidth_mm = 40\n'
        'height_mm = 20\n[[patch]]\nstep = 1\nover = "white"\nx_mm = 85\ny_mm = 41\n'
        "width_mm = 40\nheight_mm = 20\n"
    )
    assert "step 1: its patches don't lie in one line" in str(layout_faults(two, "two.toml")[0])
    assert layout_faults(two.replace("y_mm = 41", "y_mm = 40"), "two.toml") == []


def test_patches_for_an_instrument_hold_its_opening() -> None:
    """An opening of 8 mm with 4 mm around it; tape is 19 to 25 mm wide; common practice, no source.

    Measured from the boxes themselves, not by the check that is tested below.
    """
    for kind, page in product(("drawdown", "mixtures"), ("a4", "letter")):
        layout = read_layout(newest_layouts()[f"{kind}-{page}"])
        assert layout.steps == 8
        for patch in layout.patches:
            assert min(patch.box.width_mm, patch.box.height_mm) >= 8 + 2 * 4
            (band,) = (b.box for b in layout.bands if patch.box.within(b.box))
            outer = min(patch.box.x_mm - band.x_mm, band.corners[1][0] - patch.box.corners[1][0])
            inner = max(patch.box.x_mm - band.x_mm, band.corners[1][0] - patch.box.corners[1][0])
            assert inner >= 15 - 1e-9 and outer >= 4
        for substrate in SUBSTRATES:
            boxes = [p.box for p in layout.patches if p.over == substrate]
            boxes += [r.box for r in layout.references if r.over == substrate]
            for a, b in combinations(boxes, 2):
                if a.x_mm == b.x_mm:
                    assert abs(a.y_mm - b.y_mm) - a.height_mm >= 25 - 1e-9


def test_quick_cards_keep_their_brush_width() -> None:
    for name in ("quick-a5", "quick-half-letter", "quick-mixtures-a5", "six-tube-a4"):
        layout, before = read_layout(newest_layouts()[name]), read_layout(name)
        assert "for pictures" in layout.title and layout.steps == before.steps
        strokes = {p.box.height_mm for p in layout.patches if p.step}
        assert strokes == {p.box.height_mm for p in before.patches if p.step}
    assert opening_mm(read_layout("quick-a5")) == 4.0


FILMS = """layout = "films"
number = 100
page_mm = [200, 150]
[[band]]
substrate = "black"
x_mm = 20
y_mm = 10
width_mm = 100
height_mm = 120
[[patch]]
step = 0
over = "black"
x_mm = 40
y_mm = 14
width_mm = 40
height_mm = 16
[[patch]]
steps = [1, 2]
over = "black"
x_mm = 40
y_mm = 60
width_mm = 60
height_mm = 16
pitch_mm = [0, 41]
"""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("pitch_mm = [0, 41]", "pitch_mm = [0, 40]", "step 1: 24 mm lie between its film and step"),
        ("y_mm = 60", "y_mm = 54", "step 1: 24 mm lie between its film and the bare black"),
        ("width_mm = 60", "width_mm = 66", "step 1: its film has 14 mm to begin or to end in"),
        ("y_mm = 60\nwidth_mm = 60\nheight_mm = 16", "y_mm = 60\nwidth_mm = 60\nheight_mm = 15",
         "an instrument's opening of 8 mm needs patches of 16 x 16 mm"),
        ("number = 100", "number = 100\napplicator_mm = 40",
         "step 1: 25 mm lie between its film and step 2; tape or applicator need 29"),
        ("number = 100", "number = 100\naperture_mm = 9", "needs patches of 17 x 17 mm"),
        ("number = 100", "number = 100\ntape_mm = -1", "tape_mm"),
    ],
)  # fmt: skip
def test_layouts_that_leave_no_room_for_tools(old: str, new: str, words: str) -> None:
    assert old in FILMS and layout_faults(FILMS, "films.toml") == []
    changed = FILMS.replace(old, new, 1)
    assert words in "\n".join(str(fault) for fault in layout_faults(changed, "films.toml"))


def test_smaller_tools_need_less_room() -> None:
    small = FILMS.replace("[0, 41]", "[0, 22]").replace("y_mm = 60", "y_mm = 70")
    assert layout_faults(small, "films.toml") != []
    with_own = small.replace("number = 100", "number = 100\ntape_mm = 6")
    assert layout_faults(with_own, "films.toml") == []
    brushed = small.replace("number = 100", 'number = 100\nmethod = "brush"')
    assert layout_faults(brushed, "films.toml") == []


def test_films_that_are_drawn_down_the_page() -> None:
    long = SMALL.replace("[100, 90]", "[100, 260]").replace("height_mm = 70", "height_mm = 120")
    two = long + (
        '[[band]]\nsubstrate = "white"\nx_mm = 20\ny_mm = 130\nwidth_mm = 60\nheight_mm = 100\n'
        '[[patch]]\nstep = 0\nover = "white"\nx_mm = 25\ny_mm = 205\nwidth_mm = 40\n'
        'height_mm = 20\n[[patch]]\nstep = 1\nover = "white"\nx_mm = 25\ny_mm = 140\n'
        "width_mm = 40\nheight_mm = 20\n"
    )
    assert stroke(parse_layout(two, "upright.toml"), 1) == Box(25, 10, 40, 220)


def test_cards_of_earlier_editions_are_still_read() -> None:
    """What keeps a card from being painted anew keeps none from being read."""
    text, file = layout_text("drawdown-a4")
    assert len(layout_faults(text, file)) > 8
    assert parse_layout(text, file).steps == 8
    assert set(newest_layouts()) | set(newest_layouts().values()) == set(layout_names())


def test_no_such_layout(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="drawdown-a4"):
        read_layout("drawdown-a")
    with pytest.raises(InputError, match="no layout can be read"):
        read_layout(tmp_path / "none.toml")
