"""What recipes are ranked by, each cost worked out by hand from figures of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.ranking import (
    clumsiness,
    judge,
    misfit,
    slopes_by_part,
    special_metamerism,
)
from tintladder.database.mixing.target import Target

from .invented_palette import invented_coefficients

PALETTE = Palette(replace(invented_coefficients(4), dry_volume=np.array([0.2, 0.4, 0.3, 0.25])))
MIXES = np.array([[0.5, 0.5, 0.0, 0.0], [0.2, 0.3, 0.5, 0.0], [0.0, 1.0, 0.0, 0.0]])
FAR = Target("far", np.array([60.0, -40.0, 30.0]))


def test_by_weight_a_paint_of_little_dry_volume_weighs_more() -> None:
    """By hand: halves by volume of 0.2 and 0.4 ml a gram are 2.5 and 1.25 g of 3.75."""
    found = judge(PALETTE, MIXES[:1], FAR)
    np.testing.assert_allclose(found.masses, [[2 / 3, 1 / 3, 0, 0]])
    np.testing.assert_array_equal(found.shares, MIXES[:1])


def test_a_cost_is_the_match_twice_beyond_what_is_seen_a_tube_and_a_slip() -> None:
    """Our rule, no source: difference, 0.4 a tube, 0.15 of what a slip of a tenth does."""
    found = judge(PALETTE, MIXES, FAR)
    off = ciede2000(PALETTE.lab(found.shares), FAR.lab)
    np.testing.assert_allclose(found.difference, off)
    tubes = (found.shares > 0).sum(axis=1)
    np.testing.assert_allclose(found.clumsy, clumsiness(PALETTE, found.shares, FAR.lab))
    np.testing.assert_allclose(found.cost, 2 * off - 1 + 0.4 * tubes + 0.15 * found.clumsy)
    assert sorted(tubes) == [1, 2, 3] and found.lights == {}


def test_what_can_hardly_be_seen_is_no_better_for_being_less() -> None:
    near = PALETTE.lab(MIXES[:1])[0]
    costs = []
    for shift in (0.0, 0.3):
        found = judge(PALETTE, MIXES[:1], Target("near", near + np.array([shift, 0, 0])))
        assert found.difference[0] < 1
        costs.append(found.cost[0] - 0.15 * found.clumsy[0])
    np.testing.assert_allclose(costs, [1.8, 1.8])


def test_a_part_under_a_hundredth_by_weight_costs_one_more() -> None:
    """Whichever of two tubes it is, of 0.2 and of 0.4 ml a gram."""
    palette = Palette(replace(PALETTE.coefficients, dry_volume=np.array([0.2, 0.4, 0.3, 0.25])))

    def tiny(weight: float) -> float:
        share = np.array([weight * 0.2, (1 - weight) * 0.4, 0, 0])
        target = Target("itself", palette.lab(share[None] / share.sum())[0])
        found = judge(palette, share[None] / share.sum(), target)
        return float(found.cost[0] - 0.15 * found.clumsy[0] - 1 - 0.8)

    assert tiny(0.0101) == pytest.approx(0, abs=1e-9)
    assert tiny(0.0099) == pytest.approx(1)
    assert tiny(0.9901) == pytest.approx(1)


def test_only_the_six_hundred_likeliest_are_judged_further() -> None:
    rng = np.random.default_rng(4)
    many = rng.dirichlet(np.ones(4), 640)
    found = judge(PALETTE, many, FAR)
    off = ciede2000(PALETTE.lab(many), FAR.lab)
    masses = many / PALETTE.coefficients.dry_volume
    tiny = (masses / masses.sum(axis=1, keepdims=True)).min(axis=1) < 0.01
    likeliest = np.argsort(2 * off - 1 + tiny, kind="stable")[:600]
    np.testing.assert_array_equal(found.shares, many[likeliest])
    np.testing.assert_array_equal(found.difference, off[likeliest])
    assert found.cost.shape == found.clumsy.shape == (600,)


def test_a_spectrum_costs_half_the_log_of_its_misfit_and_half_of_its_worst_light() -> None:
    wanted = PALETTE.reflectance(MIXES[:1])[0]
    target = Target("read", PALETTE.lab(MIXES[:1])[0], wanted)
    other = Target("said", target.lab)
    found, blind = judge(PALETTE, MIXES, target), judge(PALETTE, MIXES, other)
    made = PALETTE.reflectance(found.shares)
    np.testing.assert_array_equal(found.shares, blind.shares)
    # A perfect match counts as one of a hundredth of the usual error.
    more = found.cost - blind.cost
    worst = np.max(list(found.lights.values()), axis=0)
    shown = 0.5 * np.log(np.maximum(misfit(made, wanted), 0.01)) + 0.5 * np.maximum(worst - 1, 0)
    np.testing.assert_allclose(more, shown)
    assert more[0] == pytest.approx(0.5 * np.log(0.01))
    expected = special_metamerism(made, wanted, GRID)
    assert set(found.lights) == set(expected)
    for light, off in expected.items():
        np.testing.assert_array_equal(found.lights[light], off)


def test_misfit_is_counted_in_the_usual_error_where_both_were_read() -> None:
    """By hand: 0.02 off at 0.6 is one usual error (0.002 + 0.03 x 0.6), 0.04 are two."""
    target = np.full(36, 0.6)
    mixes = np.stack([np.full(36, 0.62), np.full(36, 0.64)])
    np.testing.assert_allclose(misfit(mixes, target), [1, 2])
    target[:6], mixes[1, 30:] = np.nan, np.nan
    mixes[0, :6], mixes[0, 30:] = 9.0, 9.0
    np.testing.assert_allclose(misfit(mixes, target), [1, 2])
    half = np.where(np.arange(36) < 18, 0.62, 0.6)[None]
    np.testing.assert_allclose(misfit(half, np.full(36, 0.6)), np.sqrt(0.5))


def test_slopes_by_part_are_those_of_a_little_more_of_it() -> None:
    by = slopes_by_part(PALETTE, MIXES)
    assert by.shape == (3, 4, 3)
    for i, mix in enumerate(MIXES):
        for p in range(4):
            more, less = (mix * (1 + e * np.eye(4)[p]) for e in (1e-5, -1e-5))
            up, down = (PALETTE.lab(m[None] / m.sum())[0] for m in (more, less))
            expected = (up - down) / 2e-5 if mix[p] else np.zeros(3)
            # A step of a hundredth to one side is off by its curvature.
            np.testing.assert_allclose(by[i, p], expected, rtol=0.03, atol=0.05)
    np.testing.assert_array_equal(by[2, 1], 0)  # more of the only paint changes nothing
    np.testing.assert_allclose(slopes_by_part(PALETTE, MIXES[0]), by[:1], atol=1e-9)


def test_a_clumsy_hand_is_off_by_the_root_of_the_squares_of_each_slip() -> None:
    """Each part a hundredth too much, one at a time, as differences are seen near the target."""
    mix, slip = MIXES[1:2], 0.001
    near = PALETTE.lab(mix)[0]
    off = []
    for p in np.flatnonzero(mix[0]):
        more = mix * (1 + slip * np.eye(4)[p])
        off.append(ciede2000(PALETTE.lab(more / more.sum()), near)[0])
    expected = np.sqrt(np.sum(np.square(off)))
    np.testing.assert_allclose(clumsiness(PALETTE, mix, near, slip), [expected], rtol=0.05)
    # By default each part is off by a tenth.
    np.testing.assert_allclose(
        clumsiness(PALETTE, mix, near), 100 * clumsiness(PALETTE, mix, near, slip)
    )
    each = clumsiness(PALETTE, mix, near, np.array([slip, 0.0, 0.0, 0.0]))
    np.testing.assert_allclose(each, [off[0]], rtol=0.05)


def test_under_another_light_each_mix_is_judged_by_its_own_worst() -> None:
    """One that is of the target's spectrum pays nothing, whatever becomes of the others."""
    wanted = PALETTE.reflectance(MIXES[:1])[0]
    target = Target("read", PALETTE.lab(MIXES[:1])[0], wanted)
    alone = judge(PALETTE, MIXES[:1], target)
    for mixes in (MIXES[:2], np.concatenate([MIXES, MIXES[1:] * 0.5 + MIXES[:1] * 0.5])):
        found = judge(PALETTE, mixes, target)
        same = np.flatnonzero((found.shares == MIXES[0]).all(axis=1))
        assert found.cost[same] == pytest.approx(alone.cost)
        off = [lights[same] for lights in found.lights.values()]
        np.testing.assert_allclose(off, 0, atol=1e-9)
