"""Films that aren't what they were taken for: thin, underbound, of a wrong white, of no pigment."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.fit.joint import fit_paints

from tests.bench.real_mistakes import (
    LOOKS_REAL,
    NOMINAL_UM,
    SETTINGS,
    THIN_UM,
    Outcome,
    judged,
    painted,
    white_wrong,
)
from tests.lab import mistakes
from tests.lab.mistakes import Mistake, Painted

# Seeds that no benchmark uses.
SEED = 4_410_000


def heard(sound: Painted, made: Mistake) -> Outcome:
    return judged(made.kind, sound, made)


def test_a_film_that_came_out_thin_is_told_as_thin_and_goes_on_telling() -> None:
    sound = painted(SEED, NOMINAL_UM, 16, first="BUOY")
    made = mistakes.lifted(sound, 1, "1:1")
    fit = fit_paints(made.readings, sound.lab.tubes, SETTINGS)
    said = [r for r in fit.paints["BUOY"].reasons if "came out thin" in r]
    assert said and "step 1:1 of card buoy-red" in said[0] and "label" not in said[0]
    assert (fit.paints["BUOY"].patches["weight"] == 1).all()
    film = fit.nuisances.set_index("name").loc["buoy-red 1:1: thickness"]
    # It was drawn at 0.4 of its gap, and a hand errs by some 7 %.
    assert np.exp(film["value"]) == pytest.approx(mistakes.LIFTED, rel=0.25)


def test_underbound_films_of_a_black_are_no_mistake() -> None:
    sound = painted(SEED + 1, NOMINAL_UM, 16, LOOKS_REAL, first="PITCH")
    assert not heard(sound, Mistake("sound", sound.readings, frozenset(), 0.0)).accused


def test_a_white_that_all_ladders_contradict_is_named_and_keeps_a_say() -> None:
    sound = painted(SEED + 2, NOMINAL_UM, 16)
    made = white_wrong(sound, np.random.default_rng(SEED))
    outcome = heard(sound, made)
    assert made.wrong <= outcome.accused and outcome.masstones == 0


@pytest.mark.parametrize(
    ("spoil", "word"), [(mistakes.glowing, "fluorescent"), (mistakes.flaked, "metallic")]
)
def test_what_no_film_can_do_is_told(spoil, word) -> None:
    sound = painted(SEED + 3, NOMINAL_UM, 16, first="BUOY")
    fit = fit_paints(spoil(sound, 1), sound.lab.tubes, SETTINGS)
    assert any(word in reason for reason in fit.paints["BUOY"].reasons)
    others = [r for name, p in fit.paints.items() if name != "BUOY" for r in p.reasons]
    assert not any(word in reason for reason in others)


def test_thin_sound_studios_are_left_in_peace() -> None:
    sound = painted(SEED + 4, THIN_UM, 16)
    outcome = heard(sound, Mistake("sound", sound.readings, frozenset(), 0.0))
    assert not outcome.accused
    assert "fluorescent" not in outcome.words and "metallic" not in outcome.words
