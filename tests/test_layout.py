"""Layouts of cards: those that come with the program hold, and impossible ones are refused."""

from pathlib import Path

import pytest
from tintladder.calibrate.cards.card import SUBSTRATES
from tintladder.calibrate.cards.layout import layout_names, parse_layout, read_layout
from tintladder.calibrate.errors import InputError

SMALL = """layout = "small"
page_mm = [100, 60]
[[band]]
substrate = "black"
x_mm = 0
y_mm = 0
width_mm = 50
height_mm = 60
[[patch]]
step = 0
over = "black"
x_mm = 5
y_mm = 5
width_mm = 40
height_mm = 20
[[patch]]
step = 1
over = "black"
x_mm = 5
y_mm = 30
width_mm = 40
height_mm = 20
"""


def test_shipped_layouts() -> None:
    assert {"ladder-two-bands", "mixtures-two-bands"} <= set(layout_names())
    assert read_layout("ladder-two-bands").steps == 8
    assert read_layout("mixtures-two-bands").steps == 12


@pytest.mark.parametrize("name", layout_names())
def test_every_shipped_layout_can_be_painted(name: str) -> None:
    layout = read_layout(name)
    assert layout.name == name
    read = {(patch.step, patch.over) for patch in layout.patches}
    assert read >= {(0, substrate) for substrate in SUBSTRATES}
    # Room for the aperture of a hand-held sphere and its foot; common practice, no source.
    assert min(min(p.box.width_mm, p.box.height_mm) for p in layout.patches) >= 15


def test_a_layout_of_ones_own(tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    path.write_text(SMALL)
    layout = read_layout(path)
    assert (layout.name, layout.title, layout.page_mm) == ("small", "small", (100.0, 60.0))
    assert layout.patches[1].box.y_mm == 30.0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('layout = "small"\n', "", ("layout", "no name")),
        ("[100, 60]", "[100]", ("page_mm", "width and height")),
        ("[100, 60]", "[100, -60]", ("page_mm, height", "above 0")),
        ("[100, 60]", "[40, 60]", ("band 1", "leaves the page")),
        ("y_mm = 30", "y_mm = 24", ("patch 2", "overlaps patch 1")),
        ("y_mm = 30", "y_mm = 45", ("patch 2", "leaves the page")),
        ("x_mm = 5\ny_mm = 30", "x_mm = 15\ny_mm = 30", ("patch 2", "black band")),
        ('step = 1\nover = "black"', 'step = 1\nover = "white"', ("patch 2", "white band")),
        ('over = "black"', 'over = "blue"', ("patch 1, over", "black")),
        ('over = "black"\n', "", ("patch 1, over", "missing")),
        ('substrate = "black"', 'substrat = "black"', ("band 1, substrat", "did you mean")),
        ("step = 1", "step = 0", ("patch 2, step", "twice")),
        ("step = 1", "step = 2", ("patch", "step 1 has no patch")),
        ("step = 1\n", "", ("patch 2, step", "missing")),
        ("step = 1", "step = 1.5", ("patch 2, step", "whole number")),
        ("width_mm = 40", "width_mm = 0", ("patch 1, width_mm", "above 0")),
        ("x_mm = 5\n", "", ("patch 1, x_mm", "missing")),
        ("[100, 60]", "[100, 60", ("line",)),
    ],
)
def test_impossible_layouts(old: str, new: str, words: tuple[str, ...]) -> None:
    assert old in SMALL
    with pytest.raises(InputError) as caught:
        parse_layout(SMALL.replace(old, new, 1), "small.toml")
    for word in words:
        assert word in str(caught.value)


def test_no_such_layout(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="ladder-two-bands"):
        read_layout("ladder-two-band")
    with pytest.raises(InputError, match="no layout can be read"):
        read_layout(tmp_path / "none.toml")
