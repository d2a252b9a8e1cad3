"""Spectra: flags, and bringing readings to the inside grid without making any up."""

import colour
import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.spectra import GRID, Flag, Spectra, check_possible, to_grid


def smooth(wl):
    """An invented spectrum with a bend and a bump."""
    return 0.3 + 0.25 / (1 + np.exp(-(wl - 560) / 18)) + 0.08 * np.exp(-(((wl - 450) / 30) ** 2))


def spectra(wl, values=None):
    values = smooth(wl) if values is None else values
    values = np.atleast_2d(values)
    return Spectra.from_values(wl, values, [f"s{i}" for i in range(len(values))])


def test_grid():
    assert (GRID[0], GRID[-1], GRID.size) == (380, 730, 36)


def test_odd_values_are_flagged_and_kept():
    values = np.array([[0.5, -0.01, 1.02, np.nan]])
    read = Spectra.from_values([400, 410, 420, 430], values, ["a"])
    np.testing.assert_array_equal(read.values, values)
    assert read.flagged() == [
        ("a", 410.0, Flag.BELOW_ZERO),
        ("a", 420.0, Flag.ABOVE_ONE),
        ("a", 430.0, Flag.MISSING),
    ]


def test_shapes_must_agree():
    with pytest.raises(ValueError, match="labels"):
        Spectra.from_values([400, 410], np.zeros((1, 3)), ["a"])
    with pytest.raises(ValueError, match="increase"):
        Spectra.from_values([410, 400], np.zeros((1, 2)), ["a"])
    with pytest.raises(ValueError, match="increase"):
        Spectra.from_values([400, 400], np.zeros((1, 2)), ["a"])


@pytest.mark.parametrize("value", [-0.03, 1.31])
def test_impossible_reflectance_is_refused(value):
    read = Spectra.from_values([400, 410], np.array([[0.5, 0.5], [0.5, value]]), ["a", "b"])
    with pytest.raises(InputError) as caught:
        check_possible(read, "session.txt")
    assert caught.value.where == "b at 410 nm"
    assert "session.txt, b at 410 nm" in str(caught.value)


def test_just_possible_reflectance_passes():
    check_possible(Spectra.from_values([400, 410, 420], np.array([[-0.02, 1.3, np.nan]]), ["a"]))


def test_same_grid_is_untouched():
    read = spectra(GRID)
    assert to_grid(read).values.tobytes() == read.values.tobytes()


@pytest.mark.parametrize("step", [20, 15])
def test_sprague_as_in_colour_science(step):
    # CIE 167:2005 by an independent implementation, boundary intervals and all.
    wl = np.arange(380.0, 731.0, step)
    inside = GRID[wl[-1] >= GRID]
    expected = colour.SpragueInterpolator(wl, smooth(wl))(inside)
    got = to_grid(spectra(wl)).values[0, : inside.size]
    np.testing.assert_allclose(got, expected, atol=1e-12)


def test_sprague_keeps_lines_and_inside_quadratics():
    # By its construction; the boundary points of CIE 167 keep lines only.
    wl = np.arange(380.0, 741.0, 20.0)

    def line(x):
        return 0.2 + 1e-3 * (x - 380)

    def curve(x):
        return line(x) - 1e-6 * (x - 380) ** 2

    inside = (GRID >= 420) & (GRID <= 700)
    np.testing.assert_allclose(to_grid(spectra(wl, line(wl))).values[0], line(GRID), atol=1e-12)
    np.testing.assert_allclose(
        to_grid(spectra(wl, curve(wl))).values[0, inside], curve(GRID[inside]), atol=1e-12
    )


def test_fine_readings_are_averaged_over_a_triangle():
    wl = np.arange(380.0, 731.0, 1.0)
    values = np.random.default_rng(1).uniform(size=wl.size)
    got = to_grid(spectra(wl, values)).values[0]
    for i in (1, 17, 34):
        weights = np.clip(1 - np.abs(wl - GRID[i]) / 10, 0, None)
        assert got[i] == pytest.approx((weights * values).sum() / weights.sum(), abs=1e-12)
    # Half a triangle at the very end would lean inwards: there it is a weighted straight line's
    # value (numpy's polyfit).
    for i in (0, 35):
        weights = np.clip(1 - np.abs(wl - GRID[i]) / 10, 0, None)
        near = weights > 0
        line = np.polyfit(wl[near] - GRID[i], values[near], 1, w=np.sqrt(weights[near]))
        assert got[i] == pytest.approx(line[1], abs=1e-12)


def line_off_the_grid():
    """A line read every 2.5 nm from 378 nm, so that no reading lies on a grid point."""
    wl = np.arange(378.0, 733.0, 2.5)
    got = to_grid(spectra(wl, 0.1 + 0.002 * (wl - 380))).values[0]
    return got, 0.1 + 0.002 * (GRID - 380)


def test_triangle_keeps_a_line():
    got, line = line_off_the_grid()
    np.testing.assert_allclose(got[1:-1], line[1:-1], atol=1e-12)


def test_triangle_keeps_a_line_at_its_ends():
    got, line = line_off_the_grid()
    np.testing.assert_allclose(got, line, atol=1e-12)


def test_unequal_steps_are_a_monotone_cubic():
    wl = np.array([380, 395, 402, 431, 470, 512, 550, 575, 606, 640, 688, 711, 730.0])
    got = to_grid(spectra(wl)).values[0]
    np.testing.assert_allclose(got, PchipInterpolator(wl, smooth(wl))(GRID), atol=1e-12)
    # Monotone: never beyond its neighbours.
    for i, at in enumerate(GRID):
        j = np.clip(np.searchsorted(wl, at) - 1, 0, wl.size - 2)
        low, high = sorted(smooth(wl[j : j + 2]))
        assert low - 1e-12 <= got[i] <= high + 1e-12


@pytest.mark.parametrize("step", [1, 5, 10, 20])
def test_nothing_is_extrapolated(step):
    wl = np.arange(400.0, 701.0, step)
    on_grid = to_grid(spectra(wl))
    outside = (GRID < 400) | (GRID > 700)
    assert np.isnan(on_grid.values[0, outside]).all()
    assert not np.isnan(on_grid.values[0, ~outside]).any()
    assert (on_grid.flags[0, outside] == Flag.MISSING).all()
    assert not on_grid.flags[0, ~outside].any()


def with_gap(step):
    """Two spectra, the first of which lacks its reading at 500 nm, on the grid."""
    wl = np.arange(380.0, 741.0, step)
    values = np.tile(smooth(wl), (2, 1))
    values[0, wl == 500] = np.nan
    return to_grid(spectra(wl, values))


@pytest.mark.parametrize("step", [5, 10, 20])
def test_a_gap_is_not_bridged(step):
    on_grid = with_gap(step)
    near = np.abs(GRID - 500) < step
    assert np.isnan(on_grid.values[0, near]).all()
    assert (on_grid.flags[0, near] & Flag.MISSING).all()
    beyond = np.abs(GRID - 500) > step
    # A monotone cubic flattens the bump between readings 20 nm apart by up to 0.0082.
    np.testing.assert_allclose(on_grid.values[0, beyond], smooth(GRID[beyond]), atol=0.01)
    assert not np.isnan(on_grid.values[1]).any()


@pytest.mark.parametrize(
    "step",
    [
        5,
        10,
        20,
    ],
)
def test_readings_beside_a_gap_are_kept(step):
    on_grid = with_gap(step)
    beside = np.isin(GRID, [500 - step, 500 + step])
    np.testing.assert_allclose(on_grid.values[0, beside], smooth(GRID[beside]), atol=1e-12)


def test_flags_travel():
    wl = np.arange(380.0, 731.0, 10.0)
    read = spectra(wl).flag((wl == 500)[None], Flag.FLUORESCENT)
    assert to_grid(read).flagged() == [("s0", 500.0, Flag.FLUORESCENT)]
    assert read.select([0]).flagged() == [("s0", 500.0, Flag.FLUORESCENT)]


def test_two_flags_at_once():
    read = Spectra.from_values([400, 410], np.array([[-0.01, 0.5]]), ["a"])
    both = read.flag(np.array([[True, False]]), Flag.FLUORESCENT)
    assert both.flagged() == [("a", 400.0, Flag.BELOW_ZERO | Flag.FLUORESCENT)]
