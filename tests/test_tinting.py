"""How a paint tints toward white: the steps of its ladder, and its turn of hue in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.mixing.ladder import (
    TintPath,
    half_way,
    hue_in_words,
    in_a_sentence,
    ladder,
    ratio_label,
    tint_path,
)

from . import synthetic


@pytest.fixture(scope="module")
def cards():
    return [r.card for r in synthetic.ladders(("W", "R", "B", "Y"))]


@pytest.fixture(scope="module")
def fits():
    return fit_paints(synthetic.ladders(("W", "R", "B", "Y"), seed=5), synthetic.TUBES).paints


def test_strip_runs_from_masstone_to_white_as_read(fits, cards):
    fit = fits["B"]
    steps = ladder(fit, cards)
    assert steps.labels == ("masstone", "1 : 1", "3 : 1", "7 : 1", "15 : 1", "31 : 1")
    assert np.all(np.diff(steps.shares) < 0)
    rows = fit.residuals[fit.residuals["patch"] == "7:1/black"]
    np.testing.assert_array_equal(steps.measured["black"][3], rows["measured"])
    np.testing.assert_array_equal(steps.fitted["black"][3], rows["fitted"])


def test_two_readings_of_a_patch_are_shown_as_their_mean(fits):
    fit = fits["R"]
    again = fit.residuals.assign(measured=fit.residuals["measured"] + 0.02)
    twice = replace(
        fit,
        residuals=pd.concat([fit.residuals, again]),
        patches=pd.concat([fit.patches, fit.patches]),
    )
    np.testing.assert_allclose(
        ladder(twice).measured["white"], ladder(fit).measured["white"] + 0.01, atol=1e-12
    )


def test_mixtures_with_a_third_paint_are_no_step(fits, cards):
    red = next(card for card in cards if card.name == "R")
    mixed = [
        replace(d, masses={"R": 1.0, "B": 1.0, "W": 5.0}) if d.step == "7:1" else d
        for d in red.drawdowns
    ]
    steps = ladder(fits["R"], [replace(red, drawdowns=tuple(mixed))])
    assert steps.labels == ("masstone", "1 : 1", "3 : 1", "15 : 1", "31 : 1")


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        (0.0, "masstone"), (0.5, "1 : 2"), (0.98, "1 : 1"), (1.5, "1.5 : 1"), (3.04, "3 : 1"),
        (8.4, "8.4 : 1"), (31.3, "31 : 1"), (np.inf, "white"),
    ],
)  # fmt: skip
def test_ratio_is_said_white_to_colour(parts, words):
    assert ratio_label(parts) == words


def _path(hues, chroma=40.0):
    """A path of the given hues, chroma fading at both ends."""
    n = len(hues)
    c = chroma * np.sin(np.linspace(0.3, np.pi, n))
    h = np.radians(hues)
    colours = np.stack([np.linspace(30, 95, n), c * np.cos(h), c * np.sin(h)], axis=1)
    shares = np.linspace(1, 0, n)
    with np.errstate(divide="ignore"):
        parts = (1 - shares) / shares
    return TintPath(shares, parts, np.zeros((n, GRID.size)), colours)


@pytest.mark.parametrize(
    ("hues", "words"),
    [
        ((50, 50), "keeps its hue"),
        ((5, -35), "toward violet"),  # a magenta, as the quality report says it
        ((55, 95), "toward yellow"),
        ((92, 112), "toward green"),
        ((350, 385), "toward red"),  # through 0 degrees
    ],
)
def test_hue_turn_in_words(hues, words):
    turn = hue_in_words(_path(np.linspace(*hues, 101)))
    assert words in turn


def test_hue_that_turns_back_is_said():
    there = np.concatenate([np.linspace(100, 130, 50), np.linspace(130, 115, 51)])
    assert "back" in hue_in_words(_path(there))


def test_a_grey_has_no_hue_to_turn():
    assert hue_in_words(_path(np.linspace(0, 300, 101), chroma=3.0)) == (
        "stays close to grey as it is let down"
    )
    assert "leans blue" in hue_in_words(_path(np.full(101, 250.0), chroma=8.0))


def test_half_way_lies_half_way(fits):
    path = _path(np.full(4001, 90.0), chroma=0.0)
    # Lightness falls straight with the share: half of each is half way.
    assert half_way(path) == pytest.approx(1.0, rel=1e-3)
    for paint in ("R", "B", "Y"):
        path = tint_path(fits[paint])
        distance = np.linalg.norm(path.lab - path.lab[-1], axis=1)
        at = np.interp(np.log(half_way(path)), np.log(path.parts[1:-1]), distance[1:-1])
        assert at == pytest.approx(distance[0] / 2, rel=0.01)


def test_sentence_of_a_white_says_how_it_hides(fits):
    sentence = in_a_sentence(ladder(fits["W"]), None)
    assert "Over black, W comes to" in sentence
