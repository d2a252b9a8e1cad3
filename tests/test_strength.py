"""Tinting strength, hue turn and drift: closed forms, draws, a published table, lots in ladders."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.judging.drift import drift
from tintladder.calibrate.fit.judging.strength import (
    HueTurn,
    hue_turn,
    strength_in_words,
    tinting_strength,
)
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.uncertainty.propagate import beside
from tintladder.calibrate.optics.colour import D50, chroma_hue, lab
from tintladder.calibrate.optics.kubelka_munk import opaque_reflectance
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface, to_measured

from tests import synthetic
from tests.opendata import okumura
from tests.plain_paints import draws, plain
from tests.synthetic import KS, NOISE, TUBES, ladders

W = (0.05, 100.0)
BAND = 60 * np.exp(-(((GRID - 600) / 40) ** 2))


def test_twice_the_absorption_is_twice_as_strong():
    c = plain({"W": W, "A": (BAND, 1e-9), "B": (2 * BAND, 1e-9)})
    found = tinting_strength(c, "B", "A", "W")
    assert found.ratio == pytest.approx(2, rel=1e-9)
    assert found.peaks == (600, 600)
    assert str(found).startswith("twice as strong as A: 2.00 to 1, somewhere from 2.00 to 2.00")
    assert "9 parts of W to 1 of A by weight" in str(found)
    # By weight: paint that leaves half the dry volume a gram is half as strong.
    half = replace(c, dry_volume=np.array([0.3, 0.3, 0.15]))
    parts = 0.3 * 9
    share = 0.15 / (0.15 + parts), 0.3 / (0.3 + parts)
    expected = 2 * (share[0] / (1 - share[0])) / (share[1] / (1 - share[1]))
    assert tinting_strength(half, "B", "A", "W").ratio == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("parts", [2.0, 9.0, 40.0])
def test_a_paint_thinned_by_half_is_half_as_deep(parts):
    """Half K and half S is the paint in as much clear medium: twice as much does the same."""
    c = plain({"W": W, "A": (BAND + 3, 8.0), "B": (BAND / 2 + 1.5, 4.0)}, Surface.of("di:8"))
    found = tinting_strength(c, "B", "A", "W", "equal depth", white_parts=parts)
    assert found.ratio == pytest.approx(0.5, rel=1e-9)
    assert str(found).startswith("half as strong as A")


@pytest.mark.parametrize("criterion", ["absorption maximum", "equal depth"])
def test_strength_and_hue_bands_by_draws(criterion):
    blue = (BAND + 2, 6.0)
    red = (80 * np.exp(-(((GRID - 530) / 35) ** 2)) + 1, 15.0)
    c = plain({"W": W, "A": blue, "B": red}, Surface.of("di:8"), relative=0.02)
    drawn = draws(c, 250)
    found = tinting_strength(c, "B", "A", "W", criterion)
    x = [np.log(tinting_strength(d, "B", "A", "W", criterion).ratio) for d in drawn]
    assert found.relative_uncertainty == pytest.approx(np.std(x), rel=0.15)
    turn = hue_turn(c, "A", "W")
    # Between the same two steps: where a turn is largest moves with each draw.
    rows = np.array([c.dry_volume[1] / (c.dry_volume[1] + p * c.dry_volume[0])
                     for p in (turn.from_parts, turn.to_parts)])  # fmt: skip
    turns = []
    for d in drawn:
        k, s = (np.outer(rows, v[1]) + np.outer(1 - rows, v[0]) for v in (d.k, d.s))
        hue = chroma_hue(lab(to_measured(opaque_reflectance(k, s), d.surface)))[1]
        turns.append((hue[1] - hue[0] + 180) % 360 - 180)
    assert turn.uncertainty == pytest.approx(np.std(turns), rel=0.15)
    assert turn.turn == pytest.approx(np.mean(turns), abs=0.5)


@pytest.mark.skipif(
    not okumura.TABLE.exists(), reason="the table of Okumura (2005) is not beside the project"
)
def test_what_painters_say_of_published_paints():
    """Common practice, no source; the figures follow from Okumura's table.

    Phthalocyanines tint several times as strongly as ultramarine, cobalt and cerulean less; a
    quinacridone magenta leans to violet as it is let down, and carbon black stays close to grey.
    """
    c = plain(okumura.table(), okumura.surface(0.6), scale=f"relative to {okumura.WHITE}")
    blue = "Ultramarine Blue"

    def strength(paint):
        return tinting_strength(c, paint, blue, okumura.WHITE, "equal depth").ratio

    assert strength("Phthalo Blue (Green Shade)") > 2
    assert strength("Phthalo Green (Blue Shade)") > 1.5
    assert strength("Cerulean Blue") < 0.8
    magenta = hue_turn(c, "Quinacridone Magenta", okumura.WHITE)
    assert magenta.turn < -10
    assert "toward violet" in str(magenta)
    assert "grey" in str(hue_turn(c, "Carbon Black", okumura.WHITE))


def test_hue_in_words():
    c = plain({"W": W, "A": (30.0, 5.0), "Y": (BAND[::-1] + 60 * (GRID < 490), 20.0)})
    assert str(hue_turn(c, "A", "W")) == "stays close to grey as it is let down"
    steady = plain({"W": (1e-6, 100.0), "Y": (np.where(GRID < 570, 30.0, 0.1), 100.0)})
    assert str(hue_turn(steady, "Y", "W")).startswith(("turns", "keeps its hue"))


@pytest.mark.parametrize(
    ("parts", "words"),
    [(0.0, "masstone"), (0.08, "1 : 12"), (2.54, "2.5 : 1"), (15.4, "15 : 1"), (142.0, "142 : 1")],
)
def test_white_to_colour_in_words(parts, words):
    turn = HueTurn("P", "W", parts, parts, 200.0, 245.0, 45.0, 1.0, 0.0, 60.0, D50)
    assert f"{words} to {words}" in str(turn)


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        (1.01, "as strong as"),
        (1.07, "a shade stronger than"),
        (2.1, "twice as strong as"),
        (2.5, "2.5 times as strong as"),
        (0.49, "half as strong as"),
        (0.7, "70% as strong as"),
        (0.05, "far weaker than"),
    ],
)
def test_strength_in_words(ratio, words):
    assert strength_in_words(ratio) == words


SETTINGS = FitSettings(two_flux_spread=1e-6, model_spread=0.0, noise=NOISE, roughness=(1, 1))


@cache
def lots(seed):
    return fit_paints(ladders(("W", "R", "B"), seed=seed), TUBES, SETTINGS)


@pytest.mark.parametrize("criterion", ["absorption maximum", "equal depth"])
def test_strengths_hold_the_truth(criterion):
    """Errors drawn from the fit's own priors: the true strength lies in the band 19 times of 20."""
    true = plain({p: KS[p] for p in ("W", "R", "B")}, Surface.of("di:8"))
    wanted = tinting_strength(true, "R", "B", "W", criterion).ratio
    inside = []
    for seed in range(1, 25):
        found = tinting_strength(lots(seed).coefficients, "R", "B", "W", criterion)
        inside.append(found.band[0] < wanted < found.band[1])
    # Of 24 at least 20 lie inside with 99 % probability.
    assert sum(inside) >= 20


def test_one_paint_in_two_tubes_has_not_drifted():
    """Two ladders of one paint: no step moved in 19 comparisons of 20, by errors of all kinds."""
    fits = [lots(seed) for seed in range(1, 25)]
    moved = [
        drift(old.coefficients, new.coefficients, "R", "W").steps
        for old, new in zip(fits[::2], fits[1::2], strict=True)
    ]
    share = np.mean([step.moved for steps in moved for step in steps])
    assert share < 0.15
    # And the limit is not so wide that nothing could be found.
    assert max(step.limit for steps in moved for step in steps) < 4


def test_a_weaker_lot_is_found(monkeypatch):
    old = lots(3)
    k, s = KS["R"]
    monkeypatch.setitem(synthetic.KS, "R", (0.75 * k, s))
    new = lots.__wrapped__(4)
    found = drift(old.coefficients, new.coefficients, "R", "W")
    assert found.worst.moved
    assert "lighter" in found.worst.how
    assert found.strength.band[0] < 0.75 < found.strength.band[1]
    words = str(found)
    assert words.startswith("the new tube of R differs most at")
    assert "it tints less strongly: use" in words
    assert "more of it" in words


def test_a_lot_against_itself():
    c = lots(1).coefficients
    found = drift(c, c, "R", "W")
    assert [s.de00 for s in found.steps] == pytest.approx([0] * 6, abs=1e-9)
    assert str(found).startswith("the new tube of R is the old one as far as the readings can tell")
    assert [s.step for s in found.steps][-1] == "75 µm over white"


def test_sets_side_by_side():
    one = plain({"W": W, "A": (BAND, 5.0)}, relative=0.02)
    same, names = beside(one, one.select(["A"]), "old lot")
    assert same.paints == ("W", "A")
    assert names == {"A": "A"}
    other = plain({"W": W, "A": (2 * BAND, 5.0), "C": (BAND, 9.0)}, relative=0.03, seed=2)
    both, names = beside(one, other, "old lot")
    assert both.paints == ("W", "A", "W (old lot)", "A (old lot)", "C")
    assert names == {"W": "W (old lot)", "A": "A (old lot)", "C": "C"}
    np.testing.assert_allclose(both.covariance[:2], one.covariance)
    np.testing.assert_allclose(both.covariance[2:], other.covariance)
    # Nothing is shared between the two, and all within each is.
    cross = np.einsum("fiw,fjw->ij", both.factors[:, 0], both.factors[:, 3])
    np.testing.assert_allclose(cross, 0)
    with pytest.raises(ValueError, match="one are absolute, of the other relative to W"):
        beside(one, replace(other, scale="relative to W"), "old lot")
    with pytest.raises(ValueError, match="different surfaces"):
        beside(one, replace(other, surface=Surface.of("di:8")), "old lot")


def test_relative_lots_drift_without_a_film():
    c = plain({"W": (0.01, 1.0), "A": (BAND / 100, 0.1)}, scale="relative to W", relative=0.01)
    found = drift(c, replace(c, k=c.k * np.array([[1.0], [1.2]])), "A", "W")
    assert [s.step for s in found.steps] == ["masstone", "1 : 1", "3 : 1", "9 : 1", "30 : 1"]
    assert found.strength.ratio == pytest.approx(1.2, rel=1e-3)
