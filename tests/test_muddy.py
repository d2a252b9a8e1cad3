"""Why a mix greys: complements, leans of hue, and cleaner ways."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.database.demo.demo import make_demo
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.tubes.greying import cleanest_pair, lean, muddy

from tests.command import run
from tests.invented_palette import invented_coefficients

C = invented_coefficients(10)
PALETTE = Palette(C)


def test_the_earth_dulls_the_green():
    found = muddy(PALETTE, {"ROPE": 6, "HULL": 2, "STARBOARD": 2}, {"ROPE": ("PY42", "PBr7")})
    assert found.dulls[0].paint == "ROPE" and found.dulls[0].gain > 10
    low, high = found.dulls[0].band
    assert 420 <= low < 520 and high < 600
    assert found.several == {"ROPE": ("PY42", "PBr7")}
    assert found.could > found.chroma + 5


def test_a_complement_greys_more_than_a_neighbour():
    """Common practice, no source: a red with a green greys; a yellow with a green does not."""
    opposite = muddy(PALETTE, {"BUOY": 3, "STARBOARD": 1, "HULL": 8})
    neighbour = muddy(PALETTE, {"LANTERN": 3, "STARBOARD": 1, "HULL": 8})
    assert opposite.chroma < 0.5 * neighbour.chroma
    assert opposite.dulls[0].gain > 10


def test_what_makes_the_hue_greys_nothing_and_a_black_does():
    green = muddy(PALETTE, {"ANCHOR": 1, "LANTERN": 3})
    assert all(each.instead is not None for each in green.dulls)
    assert ("ANCHOR", "STARBOARD") in {(each.paint, each.instead) for each in green.dulls}
    # What another tube gains in its place is no more than the cleanest comes to.
    assert green.chroma + green.dulls[0].gain <= green.could + 3
    black = muddy(PALETTE, {"LANTERN": 9, "STARBOARD": 1, "PITCH": 1})
    assert (black.dulls[0].paint, black.dulls[0].instead) == ("PITCH", None)


def test_a_paint_alone_is_dulled_by_nothing():
    found = muddy(PALETTE, {"LANTERN": 1})
    assert found.dulls == () and found.could >= found.chroma


@pytest.mark.parametrize(
    ("paint", "words"),
    [
        # As painters know these pigments' tints (common practice, no source): PB29 leans violet,
        # PG7 blue, PR122 is no orange; carbon black is a grey.
        ("ANCHOR", "a blue that leans violet"), ("STARBOARD", "a green that leans blue"),
        ("PITCH", "grey"), ("ROPE", "orange"),
    ],
)  # fmt: skip
def test_leans_in_a_tint(paint, words):
    assert words in lean(C, paint, "HULL")


def test_cleanest_pair_lies_where_it_should():
    near = np.array([60.0, 30.0, 30.0])
    chroma, parts = cleanest_pair(PALETTE, near, "HULL")
    made = lab_of(PALETTE, [parts])[0]
    assert abs(made[0] - 60) < 6 and np.hypot(*made[1:]) == pytest.approx(chroma, rel=0.01)
    assert abs(np.degrees(np.arctan2(made[2], made[1])) - 45) < 8
    assert len(parts) <= 3
    assert cleanest_pair(PALETTE, np.array([5.0, 60, 60]), "HULL") == (0.0, {})


def test_the_white_is_found():
    assert PALETTE.white == "HULL"
    assert PALETTE.select(["PITCH", "ANCHOR"]).white is None


def test_commands(tmp_path, monkeypatch, capsys):
    folder = make_demo(tmp_path / "demo").folder
    said = run(monkeypatch, capsys, "muddy", "ANCHOR=1,LANTERN=3,HULL=4", "--studio", folder)
    # Without its blue no such green is left: the blue makes it, and another would make it cleaner.
    assert "Anchor Blue greys" not in said.out and "95 of 100" in said.out
    assert "in place of Anchor Blue" in said.out
    assert "Starboard Green" in said.out  # the cleaner way
    said = run(
        monkeypatch, capsys, "reach", "70,-10,60", "--without", "LANTERN,RESIN", "--studio", folder
    )
    assert "With Lantern Yellow too" in said.out and "cleaner" in said.out
    drawn = run(monkeypatch, capsys, "reach", "--json", "--studio", folder).json
    assert drawn["lightest"] > 90 and drawn["one_more"] == []
    wrong = run(monkeypatch, capsys, "muddy", "ANCHOR=0", "--studio", folder)
    assert wrong.status == 2 and "above zero" in wrong.err
