"""Colour: tristimulus values, CIELAB, CIEDE2000 and sRGB, against colour-science and tables."""

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tintladder.calibrate.optics.colour import (
    D50,
    ILLUMINANTS,
    View,
    chroma_hue,
    ciede2000,
    in_words,
    lab,
    lab_jacobian,
    weights,
    xyz,
)
from tintladder.calibrate.optics.colour_difference import ciede2000_band, ciede2000_metric
from tintladder.calibrate.optics.display import lab_to_srgb, srgb
from tintladder.calibrate.optics.spectra import GRID

VIEWS = [View(illuminant, observer) for illuminant in ILLUMINANTS for observer in (2, 10)]
NAMES = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}
FULL = np.arange(360.0, 781.0, 10.0)


def reflectances(wl=GRID, count=6):
    """Invented spectra: smooth steps and bumps from near black to near white."""
    rng = np.random.default_rng(5)
    at, width, low, high = (rng.uniform(*ends, size=(count, 1)) for ends in
                            [(430, 680), (12, 50), (0.01, 0.4), (0.05, 0.95)])  # fmt: skip
    return low + (high - low) / (1 + np.exp(-(wl - at) / width))


@pytest.mark.filterwarnings("ignore:Aligning")
@pytest.mark.parametrize("view", VIEWS, ids=str)
def test_xyz_as_in_colour_science(view):
    # colour-science, ASTM E308 with its own E2022 weights, over the whole range of the observer.
    rows = reflectances(FULL)
    for row, ours in zip(rows, xyz(rows, FULL, view), strict=True):
        sd = colour.SpectralDistribution(row, FULL)
        theirs = colour.sd_to_XYZ(
            sd, colour.MSDS_CMFS[NAMES[view.observer]], colour.SDS_ILLUMINANTS[view.illuminant]
        )
        np.testing.assert_allclose(ours, theirs / 100, atol=2e-5)


@pytest.mark.parametrize("view", [v for v in VIEWS if v != View("LED-B3", 10)], ids=str)
def test_white_points(view):
    # CIE 15 tabulates the white points; here as kept by colour-science, to four decimals of xy.
    # Of LED-B3 it tabulates 2 degrees; for 10 colour-science adds up a table of steps of 5 nm.
    _, white = weights(FULL, view)
    x, y = colour.CCS_ILLUMINANTS[NAMES[view.observer]][view.illuminant]
    np.testing.assert_allclose(white[:2] / white.sum(), [x, y], atol=1.5e-4)
    assert white[1] == pytest.approx(1, abs=1e-12)


def test_white_points_of_the_tables():
    # ASTM E308 / CIE 15, 2 degrees, from memory: D50 0.9642, 0.8249; D65 0.9505, 1.0891 (1.0888);
    # A 1.0985, 0.3558.
    known = {"D50": (0.9642, 0.8249), "D65": (0.9505, 1.0889), "A": (1.0985, 0.3558)}
    for name, (x, z) in known.items():
        white = weights(FULL, View(name))[1]
        np.testing.assert_allclose(white[[0, 2]], [x, z], atol=4e-4)


def test_perfect_diffuser_is_white_in_any_range():
    for first, last in [(360, 780), (380, 730), (400, 700)]:
        wl = np.arange(first, last + 1, 10.0)
        np.testing.assert_allclose(lab(np.ones((1, wl.size)), wl), [[100, 0, 0]], atol=1e-9)


def test_short_range_by_astm_e308():
    """The weights beyond the readings are added to the first and the last reading's."""
    full, _ = weights(FULL)
    short, white = weights(np.arange(400.0, 701.0, 10.0))
    low, high = FULL <= 400, FULL >= 700
    np.testing.assert_allclose(short[0], full[low].sum(axis=0), atol=1e-15)
    np.testing.assert_allclose(short[-1], full[high].sum(axis=0), atol=1e-15)
    np.testing.assert_allclose(short[1:-1], full[~low & ~high], atol=1e-15)
    np.testing.assert_allclose(white, full.sum(axis=0), atol=1e-12)


def test_short_range_as_in_colour_science():
    # The same rule means: the last reading holds on. So extend it and let colour-science integrate.
    wl = np.arange(400.0, 701.0, 10.0)
    rows = reflectances(wl)
    extended = np.stack([np.interp(FULL, wl, row) for row in rows])
    np.testing.assert_allclose(xyz(rows, wl), xyz(extended, FULL), atol=1e-12)


def test_unread_ends_count_as_short_range():
    rows = reflectances()
    rows[0, GRID < 400] = np.nan
    rows[0, GRID > 700] = np.nan
    inner = (GRID >= 400) & (GRID <= 700)
    got = xyz(rows)
    np.testing.assert_allclose(got[:1], xyz(rows[:1, inner], GRID[inner]), atol=1e-15)
    np.testing.assert_allclose(got[1:], xyz(rows[1:]), atol=1e-15)


def test_a_gap_inside_gives_no_colour():
    rows = reflectances()
    rows[1, 10] = np.nan
    rows[2] = np.nan
    colours = lab(rows)
    assert np.isnan(colours[[1, 2]]).all()
    assert not np.isnan(colours[[0, 3, 4, 5]]).any()


@pytest.mark.parametrize("view", VIEWS, ids=str)
def test_lab_as_in_colour_science(view):
    rows = np.vstack([reflectances(), np.full((1, GRID.size), 0.004)])  # below (6/29)^3 too
    white = weights(GRID, view)[1]
    theirs = colour.XYZ_to_Lab(xyz(rows, GRID, view), colour.XYZ_to_xy(white))
    np.testing.assert_allclose(lab(rows, GRID, view), theirs, atol=1e-9)


@given(st.lists(st.floats(0.0, 1.0), min_size=GRID.size, max_size=GRID.size))
def test_lab_jacobian_by_differences(values):
    row = np.array(values)
    t = xyz(row) / weights()[1]
    if np.abs(t - (6 / 29) ** 3).min() < 1e-4:
        return  # the second derivative jumps there
    slope = lab_jacobian(row)[0]
    step = 1e-6 * np.eye(GRID.size)
    numeric = (lab(row + step) - lab(row - step)).T / 2e-6
    np.testing.assert_allclose(slope, numeric, rtol=1e-4, atol=1e-4)


def test_lab_jacobian_of_an_instrument_that_reads_400_to_700():
    rows = reflectances()
    rows[::2, :2], rows[:, -3:] = np.nan, np.nan
    slope = lab_jacobian(rows)
    for row, found in zip(rows, slope, strict=True):
        step = 1e-6 * np.eye(GRID.size)
        numeric = (lab(row + step) - lab(row - step)).T / 2e-6
        read = ~np.isnan(row)
        np.testing.assert_allclose(found[:, read], numeric[:, read], rtol=1e-4, atol=1e-4)
        assert not found[:, ~read].any()


# Test data of G. Sharma, W. Wu, E. N. Dalal, The CIEDE2000 color-difference formula:
# implementation notes, supplementary test data, and mathematical observations, Color Res. Appl. 30
# (2005) 21; pairs 1, 4, 7, 8, 13, 17, 25, 34 of their table 1, from memory.
SHARMA = [
    ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
    ((50, -1.3802, -84.2814), (50, 0, -82.7485), 1.0000),
    ((50, 0, 0), (50, -1, 2), 2.3669),
    ((50, -1, 2), (50, 0, 0), 2.3669),
    ((50, 2.49, -0.001), (50, -2.49, 0.0009), 7.1792),
    ((50, 2.5, 0), (73, 25, -18), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("one", "other", "difference"), SHARMA)
def test_ciede2000_published_pairs(one, other, difference):
    assert ciede2000(np.array(one), np.array(other)) == pytest.approx(difference, abs=1e-4)
    assert ciede2000(np.array(other), np.array(one)) == pytest.approx(difference, abs=1e-4)


def test_ciede2000_of_tables():
    one = np.array([p[0] for p in SHARMA], float).reshape(2, 4, 3)
    other = np.array([p[1] for p in SHARMA], float).reshape(2, 4, 3)
    assert ciede2000(one, other).shape == (2, 4)
    assert ciede2000(one, one) == pytest.approx(np.zeros((2, 4)), abs=1e-12)


PALETTE = np.array([[50, 30, -40], [85, -3, 60], [30, 5, 5], [92, -0.5, 2.5], [25, 20, -55.0]])


def test_ciede2000_near_a_colour_is_a_quadratic_form():
    metric = ciede2000_metric(PALETTE)
    np.testing.assert_allclose(metric, metric.transpose(0, 2, 1))
    for d in 0.05 * np.random.default_rng(1).standard_normal((20, 3)):
        direct = ciede2000(PALETTE - d / 2, PALETTE + d / 2)
        form = np.sqrt(np.einsum("i,nij,j->n", d, metric, d))
        np.testing.assert_allclose(form, direct, rtol=0.01)


@pytest.mark.parametrize("rank", [1, 3])
def test_band_holds_95_of_100_draws(rank):
    """JCGM 101: of colours drawn about each, 95 % lie within its band."""
    rng = np.random.default_rng(4)
    root = 0.3 * rng.standard_normal((len(PALETTE), 3, rank))
    covariance = root @ root.transpose(0, 2, 1)
    band = ciede2000_band(PALETTE, covariance)
    drawn = np.einsum("nir,rnk->kni", root, rng.standard_normal((rank, len(PALETTE), 8000)))
    within = ciede2000(PALETTE + drawn, PALETTE + 0 * drawn) <= band
    # The scaled chi-square is not exact for three unequal axes.
    np.testing.assert_allclose(within.mean(axis=0), 0.95, atol=0.012)


def test_chroma_and_hue():
    chroma, hue = chroma_hue(np.array([[50, 3.0, 4.0], [50, -1, 0], [50, 0, -2]]))
    np.testing.assert_allclose(chroma, [5, 1, 2])
    np.testing.assert_allclose(hue, [53.1301, 180, 270], atol=1e-4)


def test_srgb_of_greys():
    # The perfect diffuser is (1, 1, 1) and an even grey has equal channels at the sRGB curve's
    # height: IEC 61966-2-1, 1.055 Y^(1/2.4) - 0.055.
    rgb, cut = srgb(np.outer([1.0, 0.18, 0.0], np.ones(GRID.size)))
    expected = np.array([1.0, 1.055 * 0.18 ** (1 / 2.4) - 0.055, 0.0])
    np.testing.assert_allclose(rgb, np.repeat(expected[:, None], 3, axis=1), atol=2e-3)
    assert not cut.any()


def test_srgb_out_of_gamut_is_said():
    # A cut-off at 500 nm makes a cyan that no sRGB display shows.
    rgb, cut = srgb((GRID < 570).astype(float))
    assert cut.all()
    assert rgb.min() == 0


def test_lab_to_srgb_goes_the_same_way():
    rows = np.vstack([reflectances(), np.full((1, GRID.size), 0.003)])
    np.testing.assert_allclose(lab_to_srgb(lab(rows))[0], srgb(rows)[0], atol=1e-9)


def test_words():
    said = [in_words(d) for d in (0.7, 1.0, 1.99, 2.0, 4.9, 5.0)]
    assert said == [
        "hard to see",
        "seen side by side only",
        "seen side by side only",
        "a near miss",
        "a near miss",
        "a different colour",
    ]
    assert str(D50) == "D50/2°"


def test_a_sure_colour_has_no_band():
    np.testing.assert_array_equal(ciede2000_band(np.array([[50.0, 5, 5]]), np.zeros((1, 3, 3))), 0)
