"""What colour and surface make themselves, against colour-science and scipy; what they refuse."""

import colour
import numpy as np
import pytest
from scipy.stats import chi2
from tintladder.calibrate.optics.colour import D50, View, ciede2000, lab, lab_of_xyz, weights, xyz
from tintladder.calibrate.optics.colour_difference import chi_square_95
from tintladder.calibrate.optics.display import srgb_of_xyz, srgb_to_lab
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface

from .weights_table import PATH, table

WHITES = colour.CCS_ILLUMINANTS["cie_2_1931"]


def test_the_table_of_weights_is_colour_science_s():
    def numbers(text):
        return np.array([line.split(",") for line in text.splitlines()[1:]], dtype=float)

    made, kept = table(), PATH.read_text(encoding="ascii")
    assert made.splitlines()[0] == kept.splitlines()[0]
    np.testing.assert_allclose(numbers(kept), numbers(made), rtol=1e-12, atol=1e-17)


def test_ciede2000_as_in_colour_science():
    rng = np.random.default_rng(2)
    one = rng.uniform([0, -120, -120], [100, 120, 120], (20_000, 3))
    for other in (one[::-1], one + rng.normal(0, 0.5, one.shape), one * [1, 0, 0]):
        theirs = colour.delta_E(one, other, method="CIE 2000")
        np.testing.assert_allclose(ciede2000(one, other), theirs, atol=1e-9)


def test_srgb_as_in_colour_science():
    values = np.random.default_rng(3).uniform(0, 1, (2000, 3))
    how = {"illuminant": WHITES["D50"], "chromatic_adaptation_transform": "Bradford"}
    theirs = np.clip(colour.XYZ_to_sRGB(values, **how), 0, 1)
    np.testing.assert_allclose(srgb_of_xyz(values)[0], theirs, atol=1e-12)
    there = lab_of_xyz(colour.sRGB_to_XYZ(values, **how) / weights(GRID, D50)[1])
    np.testing.assert_allclose(srgb_to_lab(values), there, atol=1e-9)


def test_percentile_of_chi_square_as_in_scipy():
    freedom = np.linspace(1, 3, 101)
    np.testing.assert_allclose(chi_square_95(freedom), chi2.ppf(0.95, freedom), rtol=1e-12)


@pytest.mark.parametrize(
    ("reflectance", "wavelengths", "says"),
    [
        (np.full(31, 0.5), GRID, "give the wavelengths"),
        (np.full((2, 3, 36), 0.5), GRID, "give the wavelengths"),
        (np.full(36, 0.5), GRID + 5, "to_grid"),
        (np.full(71, 0.5), np.arange(380, 731, 5.0), "to_grid"),
        (np.full(18, 0.5), np.arange(380, 721, 20.0), "to_grid"),
    ],
)
def test_what_is_no_row_of_readings_is_refused(reflectance, wavelengths, says):
    for of in (xyz, lab):
        with pytest.raises(ValueError, match=says):
            of(reflectance, wavelengths)


def test_percent_is_refused():
    with pytest.raises(ValueError, match="a reflectance of 50 is in percent"):
        lab(np.array([[0.1] * 35 + [np.nan], [50.0] * 36]))


def test_unknown_views_and_surfaces_are_refused():
    with pytest.raises(ValueError, match="D50, D65, A"):
        View("D55")
    with pytest.raises(ValueError, match="2 and 10"):
        View("D50", 4)
    with pytest.raises(ValueError, match="di:8, 8:di, 45:0"):
        Surface.of("45/0")
    with pytest.raises(ValueError, match="included, excluded"):
        Surface.of("di:8", "SPIN")
    with pytest.raises(ValueError, match="gloss, satin, matt"):
        Surface.of("di:8", gloss="shiny")
