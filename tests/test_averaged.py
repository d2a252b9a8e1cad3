"""A mix by two models, either of which may be the nearer one: their mean, and how unsure it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.predict import predict
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface

from .plain_paints import plain

W = GRID.size
SPHERE = Surface.of("di:8")
PAINTS = {"HULL": (0.05, 90.0), "KEEL": (np.linspace(5, 40, W), 8.0), "BUOY": (3.0, 20.0)}
ONE = plain(PAINTS, SPHERE, relative=0.03)
OTHER = replace(ONE, k=1.3 * ONE.k, local=2 * ONE.local)
BOTH = replace(ONE, share=0.7, beside=OTHER)
MIX = np.array([[0.6, 0.3, 0.1]])


def _spectrum(c: Coefficients) -> tuple[np.ndarray, np.ndarray]:
    """Reflectance of the mix and the covariance between its wavelengths."""
    found = predict(c, MIX)
    return found.reflectance[0], np.diag(found.local[0]) + found.factors[0].T @ found.factors[0]


def test_of_two_models_the_spread_is_that_of_a_mixture_of_distributions() -> None:
    """The law of total variance: the mean of both covariances, and that of both means."""
    (a, of_a), (b, of_b), (mean, spread) = map(_spectrum, (ONE, OTHER, BOTH))
    np.testing.assert_allclose(mean, 0.7 * a + 0.3 * b)
    apart = 0.7 * np.outer(a - mean, a - mean) + 0.3 * np.outer(b - mean, b - mean)
    np.testing.assert_allclose(spread, 0.7 * of_a + 0.3 * of_b + apart)


def test_each_model_by_itself_is_the_whole_of_its_prediction() -> None:
    for c, shares in ((ONE, [1.0]), (BOTH, [0.7, 0.3])):
        assert [share for share, _ in c.by_model] == pytest.approx(shares)
        assert all(each.share == 1 and each.beside is None for _, each in c.by_model)


def test_what_a_films_surface_throws_back_does_not_get_in() -> None:
    """A satin film sends half of what its surface throws back into 45:0; the rest gets in."""
    satin = Surface.of("45:0", "excluded", "satin")
    sure = replace(ONE, surface=satin, surface_offset=np.full(3, 0.01))
    unsure = replace(sure, surface_error=np.full(3, 0.02))
    plain_, wider = predict(sure, MIX), predict(unsure, MIX)
    inside = plain_.reflectance - satin.haze * (satin.k1 + 0.01)
    more = wider.uncertainty**2 - plain_.uncertainty**2
    np.testing.assert_allclose(more, (0.02 * (1 - inside)) ** 2)


def test_a_substrate_of_another_grid_is_refused_with_its_size() -> None:
    with pytest.raises(ValueError, match=f"has 5 values, K and S {W} wavelengths"):
        predict(ONE, MIX, np.array([0.07]), np.full(5, 0.6))


def test_fits_that_differ_are_named_by_three_paints_each() -> None:
    four = plain({name: (1.0, 20.0) for name in "ABCD"}, SPHERE)
    with pytest.raises(InputError, match="A, B, C and HULL, KEEL, BUOY: "):
        Coefficients.concat([four, replace(ONE, scale="relative to HULL")])
