"""Leaving steps out, against fits that are truly run again without them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tintladder.calibrate.fit.judging.leave_out import leave_steps_out
from tintladder.calibrate.fit.minimise import smooth_prior
from tintladder.calibrate.fit.problem.arrays import build
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.start import starting_values
from tintladder.calibrate.fit.solver.solve import solve
from tintladder.calibrate.fit.uncertainty.model_errors import first_weight, full_weight
from tintladder.calibrate.optics.colour import ciede2000, lab

from tests.synthetic import NOISE, TUBES, ladder, ladders, read

SETTINGS = FitSettings(noise=NOISE, roughness=(0.5, 0.2))


def solved(readings):
    problem = build(readings, TUBES, SETTINGS)
    start = starting_values(problem)
    prior = smooth_prior(problem, start, SETTINGS)
    rough = solve(problem, start, prior, first_weight(problem, SETTINGS), tolerance=10)
    weight = full_weight(problem, rough, SETTINGS)
    solution = solve(problem, rough.theta, prior, weight, nu=rough.nu, tolerance=1e-4)
    return problem, prior, weight, solution


def every(problem):
    return {(p.card, p.label) for p in problem.patches}


@pytest.mark.parametrize("opaque_films", [False, True], ids=["films", "opaque"])
def test_against_true_refits(opaque_films):
    problem, prior, weight, solution = solved(
        ladders(("W", "R", "B"), seed=7, opaque_films=opaque_films)
    )
    found = leave_steps_out(problem, solution, weight, every(problem)).patches
    assert list(found["patch"]) == [p.label for p in problem.patches]
    true = np.full(len(found), np.nan)
    for drawdown in np.unique(problem.drawdown):
        rows = np.flatnonzero(problem.drawdown == drawdown)
        without = weight.copy()
        without[rows] = 0
        again = solve(problem, solution.theta, prior, without, nu=solution.nu, tolerance=1e-6)
        true[rows] = ciede2000(lab(again.fitted[rows]), lab(problem.measured[rows]))
    difference = np.abs(found["de00"].to_numpy() - true)
    step = found["step"].to_numpy()
    assert difference[step != "masstone"].max() < 0.02
    # Without its masstone a clear paint is so unsure that the two stop a little apart.
    assert np.all(difference <= 0.05 + 0.03 * true)


def test_a_mislabelled_step_is_predicted_worst():
    card = ladder("R")
    wrong = card.drawdowns[3]
    masses = {"R": 2.0, "W": 8.0}
    claimed = replace(card, drawdowns=(*card.drawdowns[:3], replace(wrong, masses=masses),
                                       *card.drawdowns[4:]))  # fmt: skip
    readings = ladders(("W", "R"), seed=2)
    readings[1] = replace(read(card, seed=201), card=claimed)
    problem, _, weight, solution = solved(readings)
    found = leave_steps_out(problem, solution, weight, every(problem)).patches
    # The ends are only predicted from one side.
    inner = found[(found["card"] == "R") & ~found["step"].isin(["masstone", "31:1"])]
    assert inner.loc[inner["de00"].idxmax(), "step"] == wrong.step


def test_same_again():
    problem, _, weight, solution = solved(ladders(("W", "R"), seed=1))
    one, other = (leave_steps_out(problem, solution, weight, every(problem)) for _ in range(2))
    assert one.patches.equals(other.patches)
    assert np.array_equal(one.covariance, other.covariance)


def test_only_what_is_asked_for_is_left_out():
    """One patch of a step brings the step's others; the rest of the table isn't there."""
    problem, _, weight, solution = solved(ladders(("W", "R"), seed=1))
    whole = leave_steps_out(problem, solution, weight, every(problem)).patches
    some = leave_steps_out(problem, solution, weight, {("R", "3:1/black")}).patches
    same = whole[(whole["card"] == "R") & (whole["step"] == "3:1")].reset_index(drop=True)
    pd.testing.assert_frame_equal(some, same, rtol=1e-9)
    assert len(some) == 2
