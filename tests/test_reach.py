"""What tubes can make: the gamut holds what is mixed, and the tube that helps is found."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.database.mixing.gamut import gamut, one_more
from tintladder.database.mixing.palette import Palette

from tests.command import run
from tests.invented_palette import invented_coefficients

C = invented_coefficients(10)


def test_gamut_holds_random_mixes():
    palette = Palette(C)
    drawn = gamut(palette)
    colours = palette.lab(np.random.default_rng(1).dirichlet(np.full(10, 0.4), 2000))
    chroma = np.hypot(colours[:, 1], colours[:, 2])
    hue = np.degrees(np.arctan2(colours[:, 2], colours[:, 1])) % 360
    row = np.abs(colours[:, :1] - drawn.lightnesses).argmin(axis=1)
    column = np.abs((hue[:, None] - drawn.hues + 180) % 360 - 180).argmin(axis=1)
    # Drawn from a lattice, so a little inside of what can be made.
    assert (chroma > drawn.chroma[row, column] + 8).mean() < 0.02
    assert drawn.darkest < 26 and drawn.lightest > 90


def test_more_tubes_reach_further():
    few, more = (gamut(Palette(C.select(C.paints[:n]))) for n in (5, 10))
    assert more.volume > few.volume
    assert (more.chroma >= few.chroma - 1e-9).all()


def test_two_paints_have_no_volume():
    assert gamut(Palette(C.select(["HULL", "PITCH"]))).volume < 100


def test_the_missing_tube_is_named():
    goal = Palette(C).lab(np.eye(10)[[C.index("LANTERN")]] * 0.8 + np.eye(10)[[0]] * 0.2)[0]
    found = one_more(Palette(C), [p for p in C.paints if p not in ("LANTERN", "RESIN")], goal)
    assert [w.paint for w in found] == ["LANTERN", "RESIN"]
    assert found[0].difference < 0.1 < found[1].difference
    by_volume = one_more(Palette(C), ["HULL", "PITCH", "ROPE", "ANCHOR"])
    assert by_volume[0].volume == max(w.volume for w in by_volume) > 1


def test_how_far_the_named_mix_is_not_the_best_of_more_tubes(own_demo, monkeypatch, capsys):
    """Of ways that are near enough the simplest is named; what is said is of that one."""
    asked = ("77,16,9", "--json", "--studio", own_demo)
    nearest = run(monkeypatch, capsys, "reach", *asked).json["nearest"]
    way = run(monkeypatch, capsys, "recipe", *asked).json["recipes"][0]
    assert nearest["parts"] == way["parts"]
    assert nearest["difference_de00"] == pytest.approx(way["difference_de00"])
    assert way["difference_de00"] > 0.5, "else this tells nothing"
