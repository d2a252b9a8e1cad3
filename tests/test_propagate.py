"""Uncertainty carried from K and S into figures, against small steps and sums by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.fit.uncertainty.propagate import (
    beside,
    covariance_of,
    read_by_all,
    see,
)
from tintladder.calibrate.optics import transport
from tintladder.calibrate.optics.coefficients import dry_volume_spread
from tintladder.calibrate.optics.colour import D50, lab, weights
from tintladder.calibrate.optics.predict import (
    dry_fractions,
    predict,
    predict_mixes,
    read_films,
    volume_solids,
)
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface, to_inside
from tintladder.calibrate.optics.transport import TRANSPORT

from .plain_paints import plain

W = GRID.size
SPHERE = Surface.of("di:8")
PAINTS = {"HULL": (0.05, 90.0), "KEEL": (np.linspace(5, 40, W), 8.0), "BUOY": (3.0, 20.0)}
C = plain(PAINTS, SPHERE, relative=0.03)
MIX = np.array([[0.6, 0.3, 0.1], [0.0, 1.0, 0.0]])
BARE = np.full(W, 0.6)


def test_covariance_is_the_sum_of_its_three_parts() -> None:
    """Value by value: what each K and S has to itself, its paint's own causes, shared causes."""
    rng = np.random.default_rng(1)
    slopes = rng.standard_normal((2, 3, 2, W))
    expected = np.zeros((2, 2))
    for n in range(2):
        for m in range(2):
            for p in range(3):
                for w in range(W):
                    expected[n, m] += slopes[n, p, :, w] @ C.local[p, :, :, w] @ slopes[m, p, :, w]
                for g in range(C.own.shape[1]):
                    one, other = ((slopes[i, p] * C.own[p, g]).sum() for i in (n, m))
                    expected[n, m] += one * other
            for f in range(len(C.factors)):
                one, other = ((slopes[i] * C.factors[f]).sum() for i in (n, m))
                expected[n, m] += one * other
    np.testing.assert_allclose(covariance_of(C, slopes), expected)


def test_a_colour_is_made_where_all_its_paints_were_read() -> None:
    k = C.k.copy()
    k[0, :3], k[1, -2:] = np.nan, np.nan
    both = read_by_all(replace(C, k=k), ["KEEL", "HULL"])
    assert both.paints == ("KEEL", "HULL")
    at = slice(3, W - 2)
    np.testing.assert_array_equal(both.wavelengths, GRID[at])
    for name in ("k", "s", "local", "own", "ratio_only"):
        whole = getattr(C, name)[[1, 0]]
        np.testing.assert_array_equal(getattr(both, name), whole[..., at], name)
    np.testing.assert_array_equal(both.factors, C.factors[:, [1, 0]][..., at])
    assert both.model_error.shape == (W - 5,)
    alone = read_by_all(replace(C, k=k), ["BUOY"])
    assert alone.wavelengths.size == W


def test_a_gap_within_and_nothing_read_are_refused() -> None:
    s = C.s.copy()
    s[0, 9] = np.nan
    with pytest.raises(ValueError, match="HULL, KEEL: a gap in the wavelengths read"):
        read_by_all(replace(C, s=s), ["HULL", "KEEL", "HULL"])
    s[0] = np.nan
    with pytest.raises(ValueError, match="a gap"):
        read_by_all(replace(C, s=s), ["HULL"])
    s = C.s.copy()
    s[0, 1:] = np.nan
    assert read_by_all(replace(C, s=s), ["HULL"]).wavelengths.tolist() == [GRID[0]]


# Slopes.


def moved(c, name: str, paint: int, at: int, step: float):
    values = getattr(c, name).copy()
    values[paint, at] += step
    return replace(c, **{name: values})


@pytest.mark.parametrize("thickness", [None, 0.05])
@pytest.mark.parametrize("offset", [0.0, 0.004])
def test_slopes_of_what_is_read_are_those_of_small_steps(thickness, offset) -> None:
    c = replace(C, surface_offset=offset * np.array([1.0, -0.5, 0.25]))
    under = None if thickness is None else np.repeat(BARE[None], 2, axis=0)
    seen = see(c, MIX, thickness, under)
    x = None if thickness is None else np.full(2, thickness)
    np.testing.assert_allclose(seen.r, predict(c, MIX, x, under).reflectance, rtol=1e-12)
    np.testing.assert_array_equal(seen.wavelengths, GRID)
    for q, name in enumerate(("k", "s")):
        for p, at in ((0, 4), (1, 20), (2, 35)):
            ends = [see(moved(c, name, p, at, e), MIX, thickness, under).r for e in (1e-5, -1e-5)]
            slope = (ends[0] - ends[1])[:, at] / 2e-5
            np.testing.assert_allclose(seen.by_ks[:, p, q, at], slope, rtol=1e-4, atol=1e-9)
    for p in range(3):
        step = 1e-6 * np.eye(3)[p]
        up, down = (see(c, MIX + s, thickness, under).r for s in (step, -step))
        np.testing.assert_allclose(seen.by_share[:, p], (up - down) / 2e-6, rtol=1e-4, atol=1e-8)
    if thickness is None:
        assert not np.any(seen.by_x)
    else:
        up, down = (see(c, MIX, thickness + e, under).r for e in (1e-7, -1e-7))
        np.testing.assert_allclose(seen.by_x, (up - down) / 2e-7, rtol=1e-4, atol=1e-6)


def test_an_own_surface_adds_only_where_the_mirror_reflection_is_read() -> None:
    c = replace(C, surface_offset=np.array([0.004, 0.0, 0.0]))
    without = replace(c, surface=Surface.of("di:8", "excluded"))
    plain_r = [see(replace(each, surface_offset=np.zeros(3)), MIX).r for each in (c, without)]
    np.testing.assert_allclose(see(c, MIX).r - plain_r[0], [[0.6 * 0.004] * W, [0.0] * W])
    np.testing.assert_array_equal(see(without, MIX).r, plain_r[1])


def test_a_film_needs_its_substrate() -> None:
    with pytest.raises(ValueError, match="a film needs its substrate"):
        see(C, MIX, 0.05)


def test_brightness_and_colour_of_what_is_seen() -> None:
    seen = see(C, MIX)
    y, slope = seen.bright(D50)
    np.testing.assert_allclose(slope, weights(GRID, D50)[0][:, 1])
    np.testing.assert_allclose(y, seen.r @ slope)
    colour, by = seen.lab(D50)
    np.testing.assert_allclose(colour, lab(seen.r, GRID, D50))
    up, down = (lab(seen.r + e * np.eye(W)[17], GRID, D50) for e in (1e-6, -1e-6))
    np.testing.assert_allclose(by[:, :, 17], (up - down) / 2e-6, rtol=1e-4, atol=1e-4)


# Two sets side by side.


def test_one_record_is_held_once_and_stays_correlated() -> None:
    both, names = beside(C.select(["HULL", "KEEL"]), C.select(["HULL", "BUOY"]), "new")
    assert both.paints == ("HULL", "KEEL", "BUOY") and names == {"HULL": "HULL", "BUOY": "BUOY"}
    np.testing.assert_array_equal(both.factors, C.factors)


def test_paints_of_two_fits_are_independent_and_told_apart() -> None:
    other = plain({"KEEL": (9.0, 3.0), "ROPE": (1.0, 2.0)}, SPHERE, relative=0.02, seed=5)
    both, names = beside(C, other, "old lot")
    assert names == {"KEEL": "KEEL (old lot)", "ROPE": "ROPE"}
    assert both.paints == ("HULL", "KEEL", "BUOY", "KEEL (old lot)", "ROPE")
    assert both.factor_names == tuple(f"shared {i}" for i in range(1, 7))
    slopes = np.zeros((2, 5, 2, W))
    slopes[0, 1, 0, 3] = slopes[1, 3, 0, 3] = 1.0
    found = covariance_of(both, slopes)
    assert found[0, 1] == 0 and found[1, 1] == pytest.approx(other.covariance[0, 0, 0, 3])
    assert found[0, 0] == pytest.approx(C.covariance[1, 0, 0, 3])


def test_the_same_numbers_with_other_shared_causes_are_of_two_fits() -> None:
    """Whose K and S agree while the factors do not was fitted again: nothing is held in common."""
    again = replace(C.select(["HULL", "BUOY"]), factors=2 * C.factors[:, [0, 2]])
    both, _ = beside(C.select(["HULL", "KEEL"]), again, "again")
    assert both.paints == ("HULL", "KEEL", "BUOY") and len(both.factors) == 6
    assert not both.factors[:3, 2].any() and both.factors[3:, 2].any()


@pytest.mark.parametrize("name", ["k", "s", "local"])
def test_a_record_that_differs_in_anything_is_another(name: str) -> None:
    values = getattr(C, name).copy()
    values[0] *= 1.01
    _, names = beside(C, replace(C, **{name: values}), "other")
    assert names == {"HULL": "HULL (other)", "KEEL": "KEEL", "BUOY": "BUOY"}


def test_a_record_with_gaps_is_the_same_as_itself() -> None:
    k, s, factors = C.k.copy(), C.s.copy(), C.factors.copy()
    k[0, :3], s[0, :3], factors[:, 0, :, :3] = np.nan, np.nan, np.nan
    gap = replace(C, k=k, s=s, factors=factors)
    both, names = beside(gap, gap, "other")
    assert both.paints == C.paints and len(both.factors) == 3 and set(names) == set(C.paints)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"wavelengths": GRID + 1}, "not fitted at the same wavelengths"),
        ({"scale": "relative to HULL"}, "one are absolute, of the other relative to HULL"),
        ({"surface": replace(SPHERE, k2=0.5)}, "with different surfaces"),
        ({"surface": replace(SPHERE, n=1.45)}, "with different surfaces"),
    ],
)
def test_what_does_not_go_together_is_refused(changes, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        beside(C, replace(C, **changes), "other")


def test_readings_of_two_geometries_go_together_where_the_film_is_the_same() -> None:
    low, high = np.full(W, 0.01), np.full(W, 0.02)
    other = replace(
        plain({"ROPE": (1.0, 2.0)}, SPHERE, relative=0.02),
        surface=replace(SPHERE, specular="excluded"), model_error=high,
    )  # fmt: skip
    both, _ = beside(replace(C, model_error=low), other, "other")
    assert both.surface == C.surface
    np.testing.assert_array_equal(both.model_error, low)


# Predicted mixes, part by part.


def parts(c, fractions, **said):
    """The sum of the variances of a prediction, and how many causes it names."""
    made = predict(c, np.atleast_2d(fractions), **said)
    return made.uncertainty[0] ** 2, made.factors.shape[1]


BY_PAINT = replace(C, model_error=np.zeros(W), mix_error=np.zeros(3))


def test_what_a_mix_is_off_by_is_not_given_to_a_masstone() -> None:
    bent = replace(BY_PAINT, mix_error=np.array([0.2, 0.1, 0.0]))
    for alone in np.eye(3):
        np.testing.assert_array_equal(parts(bent, alone)[0], parts(BY_PAINT, alone)[0])
    mix = np.array([0.75, 0.25, 0.0])
    # Half of HULL's 0.2 and a quarter of KEEL's 0.1, by how K moves what is read.
    seen = see(BY_PAINT, mix[None])
    by_k = (seen.by_ks[0, 0, 0] / 0.75) * (mix @ C.k)
    more = parts(bent, mix)[0] - parts(BY_PAINT, mix)[0]
    np.testing.assert_allclose(more, (0.175 * by_k) ** 2, rtol=1e-9)


def test_the_models_error_is_half_common_to_all_wavelengths() -> None:
    off = replace(BY_PAINT, local=0 * C.local, own=0 * C.own, factors=0 * C.factors,
                  model_error=np.full(W, 0.02))  # fmt: skip
    made = predict(off, MIX)
    np.testing.assert_allclose(made.local, 0.0002)
    np.testing.assert_allclose((made.factors**2).sum(axis=1), 0.0002)
    assert ((made.factors != 0).sum(axis=1) <= 1).all()


def test_a_believed_volume_counts_in_a_film_of_given_thickness_alone() -> None:
    assert (dry_volume_spread(True), dry_volume_spread(False)) == (0.01, 0.20)
    none = {"local": 0 * C.local, "own": 0 * C.own, "factors": 0 * C.factors}
    sure = replace(BY_PAINT, **none, dry_volume_measured=np.array([True, False, True]))
    mix, x = np.array([[0.6, 0.3, 0.1]]), np.array([0.05])
    made = predict(sure, mix, x, BARE[None])
    slope = see(sure, mix, 0.05, BARE[None]).by_x[0] * 0.05
    expected = ((0.6 * 0.01) ** 2 + (0.3 * 0.2) ** 2 + (0.1 * 0.01) ** 2) * slope**2
    np.testing.assert_allclose(made.uncertainty[0] ** 2, expected)
    np.testing.assert_array_equal(predict(sure, mix).uncertainty, 0)


def test_opaque_and_thin_mixes_side_by_side_are_each_as_alone() -> None:
    under = np.stack([BARE, 0 * BARE])
    both = predict(C, MIX, np.array([0.05, np.inf]), under)
    thin, thick = predict(C, MIX[:1], np.array([0.05]), under[:1]), predict(C, MIX[1:])
    np.testing.assert_allclose(both.reflectance, [thin.reflectance[0], thick.reflectance[0]])
    np.testing.assert_allclose(both.uncertainty, [thin.uncertainty[0], thick.uncertainty[0]])
    one_card = predict(C, MIX, np.full(2, 0.05), BARE)
    np.testing.assert_allclose(one_card.reflectance[0], thin.reflectance[0])
    dark = predict(C, MIX, np.array([np.inf, np.inf]), None)
    np.testing.assert_array_equal(dark.reflectance, predict(C, MIX).reflectance)


def test_an_own_surface_is_the_mean_by_volume() -> None:
    c = replace(C, surface_offset=np.array([0.004, -0.002, 0.0]))
    off = predict(c, MIX).reflectance - predict(C, MIX).reflectance
    np.testing.assert_allclose(off, [[0.6 * 0.004 - 0.3 * 0.002] * W, [-0.002] * W])


def test_by_transport_an_endless_film_is_one_that_hides() -> None:
    """Of the table's own depth; and its surface is added once, as alpha times k1."""
    k, s = np.full(W, 5.0), np.full(W, 20.0)
    deep = read_films(TRANSPORT, SPHERE, k, s, 20.0, 0.5)
    endless = read_films(TRANSPORT, SPHERE, k, s, np.inf, 0.5)
    np.testing.assert_allclose(endless.r, deep.r, atol=1e-4)
    offset = read_films(TRANSPORT, SPHERE, k, s, np.inf, 0.5, 0.003)
    np.testing.assert_allclose(offset.r - endless.r, 0.003)
    out = read_films(TRANSPORT, Surface.of("di:8", "excluded"), k, s, np.inf, 0.5)
    np.testing.assert_allclose(endless.r - out.r, SPHERE.k1)
    for surface, slanted in ((Surface.of("45:0"), True), (SPHERE, False)):
        table = transport.film_derivatives(k, s, np.full(W, 0.05), 0.5, slanted)
        made = read_films(TRANSPORT, surface, k, s, 0.05, 0.5)
        np.testing.assert_allclose(made.r, surface.alpha * surface.k1 + table.r)


def test_films_and_masstones_mixed_in_one_call_keep_their_slopes() -> None:
    k, s = np.full((2, 1), 5.0), np.full((2, 1), 20.0)
    both = read_films("two-flux", SPHERE, k, s, np.array([[0.03], [np.inf]]), 0.6)
    for row, x in enumerate((0.03, np.inf)):
        alone = read_films("two-flux", SPHERE, k[row], s[row], np.array([x]), 0.6)
        for name in ("r", "d_k", "d_s"):
            np.testing.assert_allclose(getattr(both, name)[row], getattr(alone, name), err_msg=name)
    assert both.d_x[0] != 0 and both.d_x[1] == 0


# Mixes in grams.


def test_grams_of_one_paint_given_twice_are_added_up_in_volume() -> None:
    c = replace(C, dry_volume=np.array([0.2, 0.4, 0.5]), density=np.array([1.0, 2.0, 1.5]))
    np.testing.assert_allclose(
        dry_fractions(c, [{"HULL": 2, "KEEL": 1}, {"BUOY": 3}]), [[0.5, 0.5, 0], [0, 0, 1]]
    )
    # 0.8 ml of 2 + 0.5 ml wet; 1.5 of 2 ml.
    np.testing.assert_allclose(
        volume_solids(c, [{"HULL": 2, "KEEL": 1}, {"BUOY": 3}]), [0.8 / 2.5, 0.75]
    )


def test_weighed_mixes_over_a_bare_card_are_films_over_what_lies_inside_it() -> None:
    # At an angle, where a haze would show; the sealed bare card has none.
    c = replace(C, surface=replace(Surface.of("45:0"), gloss="satin", haze=0.2))
    mixes = [{"HULL": 2.0, "KEEL": 1.0}, {"BUOY": 1.0}]
    inside = to_inside(BARE, replace(c.surface, gloss="gloss", haze=0.0))
    expected = predict(
        c, dry_fractions(c, mixes), np.array([0.05, 0.08]), np.repeat(inside[None], 2, axis=0)
    )
    made = predict_mixes(c, mixes, [50, 80], BARE)
    np.testing.assert_allclose(made.reflectance, expected.reflectance)
    one = predict_mixes(c, mixes[0], 50, BARE)
    np.testing.assert_allclose(one.reflectance[0], made.reflectance[0])
    np.testing.assert_allclose(
        predict_mixes(c, mixes).reflectance, predict(c, dry_fractions(c, mixes)).reflectance
    )


@pytest.mark.parametrize(
    ("mix", "said", "why"),
    [
        ({"ROPE": 1.0, "AFT": 1.0}, {}, "no K and S of AFT, ROPE, only of HULL, KEEL, BUOY"),
        ({"HULL": 0.0}, {}, "none negative and some above zero"),
        ({"HULL": 2.0, "KEEL": -1.0}, {}, "none negative and some above zero"),
        ([{"HULL": 1.0}, {"HULL": -1.0}], {}, "none negative and some above zero"),
        ({"HULL": 1.0}, {"thickness_um": 50}, "a film needs its substrate"),
        ({"HULL": 1.0}, {"thickness_um": 50, "bare": BARE[:30]}, "30 values, K and S 36"),
        ({"HULL": 1.0}, {"thickness_um": 50, "bare": 100 * BARE}, "in percent"),
        ({"HULL": 1.0}, {"thickness_um": 50, "bare": np.full(W, 0.03)}, "darker than its surface"),
    ],
)
def test_what_cannot_be_predicted_is_refused(mix, said, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        predict_mixes(C, mix, **said)


def test_a_mix_may_hold_none_of_a_paint_and_a_card_may_be_as_dark_as_its_surface() -> None:
    made = predict_mixes(C, {"HULL": 1.0, "KEEL": 0.0}, 50, np.full(W, SPHERE.k1))
    assert np.isfinite(made.reflectance).all()
    with pytest.raises(ValueError, match=r"fractions \(1, 2\) for 3 paints"):
        predict(C, np.array([[0.5, 0.5]]))
    with pytest.raises(ValueError, match="belong to the k2"):
        predict(C, MIX, surface=replace(SPHERE, k2=SPHERE.k2 + 1e-6))
