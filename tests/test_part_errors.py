"""What a model gets wrong of a paint's part in a mix is learnt from steps left out of ladders."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.judging.leave_out import LeftOut
from tintladder.calibrate.fit.judging.part_errors import learnt_part_error
from tintladder.calibrate.fit.new_tube import fit_new_tubes
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.predict import predict

from tests.synthetic import NOISE, TUBES, ladders

SETTINGS = FitSettings(noise=NOISE, roughness=(0.5, 0.2))


def left_out(error: float, seed: int, wrong: int = 0) -> LeftOut:
    """Forty patches of three parts each, whose K and S are off by `error` of their own."""
    rng = np.random.default_rng(seed)
    by_part = rng.normal(0, 8, (40, 3, 6))
    parts = by_part @ by_part.transpose(0, 2, 1)
    covariance = np.tile(np.eye(3) * 0.3**2, (40, 1, 1))
    off = np.einsum("nif,nf->ni", by_part, rng.normal(0, error, (40, 6)))
    off += rng.normal(0, 0.3, (40, 3))
    off[:wrong] += 40.0
    mixed = np.ones(40, dtype=bool)
    return LeftOut(None, mixed, off, covariance, parts, np.zeros((40, 3, 5)))


@pytest.mark.parametrize("error", [0.1, 0.3])
def test_it_is_found_again_from_steps_that_it_made(error):
    found = [learnt_part_error(left_out(error, seed), np.zeros(5)) for seed in range(5)]
    # Student's distribution takes normal steps for a little less than they are.
    assert np.median(found) == pytest.approx(error, rel=0.3)


def test_steps_that_are_right_leave_it_small_and_one_gone_wrong_hardly_moves_it():
    assert learnt_part_error(left_out(0.0, 1), np.zeros(5)) < 0.02
    sound, spoilt = (learnt_part_error(left_out(0.1, 2, wrong=w), np.zeros(5)) for w in (0, 1))
    assert spoilt < 1.3 * sound


def test_without_a_mixed_step_nothing_is_known():
    none = replace(left_out(0.3, 3), mixed=np.zeros(40, dtype=bool))
    assert learnt_part_error(none, np.zeros(5)) == 0.0


def test_a_joint_fit_learns_it_and_keeps_it_among_its_settings():
    cards = ladders(("W", "R", "B"), seed=7)
    fit = fit_paints(cards, TUBES, SETTINGS, leave_out=True)
    learnt = fit.settings["part_error"]
    assert 0 < learnt < 0.05 and set(fit.coefficients.part_error) == {learnt}
    assert all(set(paint.coefficients.part_error) == {learnt} for paint in fit.paints.values())
    again = fit_paints(cards, TUBES, replace(SETTINGS, part_error=0.2), leave_out=True)
    assert again.settings["part_error"] == 0.2 and set(again.coefficients.part_error) == {0.2}
    assert fit_paints(cards, TUBES, SETTINGS).settings["part_error"] is None


def test_a_new_tube_is_fitted_at_that_of_the_paints_it_was_mixed_with():
    cards = ladders(("W", "R", "B"), seed=7)
    known = fit_paints(cards[:2], TUBES, replace(SETTINGS, part_error=0.17)).coefficients
    new = fit_new_tubes(cards[2:], TUBES, known, SETTINGS, leave_out=True)
    assert set(new.coefficients.part_error) == {0.17} and new.settings["part_error"] == 0.17


def test_only_mixes_are_unsure_by_it_and_each_part_by_its_own():
    cards = ladders(("W", "R"), seed=7)
    sure = fit_paints(cards, TUBES, SETTINGS).coefficients
    unsure = replace(sure, part_error=np.full(len(sure.paints), 0.2))
    step = cards[1].card.drawdowns[2]
    made = composition(cards[1].card)
    share = made.fractions[2] / made.fractions[2].sum()
    assert step.masses and set(made.paints) == set(sure.paints)
    mix = np.array([[share[made.paints.index(p)] for p in sure.paints], np.eye(2)[0], np.eye(2)[1]])
    added = predict(unsure, mix).uncertainty ** 2 - predict(sure, mix).uncertainty ** 2
    np.testing.assert_allclose(added[1:], 0.0, atol=1e-15)
    # By hand: the change of a film that hides with 20 % more of one K, or of one S, alone.
    expected = np.zeros(added.shape[1])
    for i in range(2):
        for name in ("k", "s"):
            up, down = (getattr(sure, name).copy() for _ in range(2))
            up[i], down[i] = up[i] * 1.002, down[i] * 0.998
            more, less = (
                predict(replace(sure, **{name: v}), mix[:1]).reflectance[0] for v in (up, down)
            )
            expected += ((more - less) / 0.004 * 0.2) ** 2
    np.testing.assert_allclose(added[0], expected, rtol=1e-3)
