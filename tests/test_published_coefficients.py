"""Published K and S of artists' acrylics: what painters say of them, and whether a fit finds them.

The table is read where it lies beside the project; each check names what it rests on.
"""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.colour import chroma_hue, lab
from tintladder.calibrate.optics.spectra import GRID

from tests.opendata.okumura import (
    TABLE,
    WHITE,
    opaque_card,
    opaque_mixtures,
    surface,
    table,
    tubes,
)

pytestmark = pytest.mark.skipif(
    not TABLE.exists(), reason="the table of Okumura (2005) is not beside the project"
)

BLUE = "Ultramarine Blue"
K2 = (0.60, 0.65)


def _path(other: str, colour: float, k2: float) -> tuple[np.ndarray, np.ndarray]:
    """Chroma and hue from ultramarine to another paint, at one share of colour in white."""
    shares = np.linspace(0, 1, 501)
    mixes = [{BLUE: colour * (1 - a), other: colour * a, WHITE: 1 - colour} for a in shares]
    return chroma_hue(lab(opaque_mixtures(mixes, surface(k2))))


def _chroma_at(hue: float, other: str, colour: float, k2: float) -> float:
    chroma, h = _path(other, colour, k2)
    beyond = (h - hue + 180) % 360 - 180
    (cross,) = np.flatnonzero((beyond[:-1] < 0) & (beyond[1:] >= 0))
    return float(np.interp(0, beyond[cross : cross + 2], chroma[cross : cross + 2]))


@pytest.mark.parametrize("k2", K2)
@pytest.mark.parametrize("colour", [0.05, 0.1, 0.2, 0.3, 0.5])
def test_a_clean_violet_needs_a_bluish_red(colour: float, k2: float) -> None:
    # Common practice, no source; the figures follow from Okumura's table.
    clean = _chroma_at(320, "Quinacridone Magenta", colour, k2)
    dull = _chroma_at(320, "Pyrrole Red", colour, k2)
    assert clean > 2 * dull


@pytest.mark.parametrize("k2", K2)
@pytest.mark.parametrize("colour", [0.1, 0.2, 0.3])
def test_ultramarine_and_burnt_sienna_make_grey(colour: float, k2: float) -> None:
    # Common practice, no source; the figures follow from Okumura's table.
    assert _path("Burnt Sienna", colour, k2)[0].min() < 4


@pytest.mark.parametrize("paint", [BLUE, "Pyrrole Red", "Burnt Sienna", "Hansa Yellow Opaque"])
def test_a_fit_of_opaque_readings_gives_the_published_values_back(paint: str) -> None:
    """From an opaque ladder of seven steps and white's masstone, made from the table."""
    readings, its_tubes = [opaque_card(paint, surface(0.60))], tubes(paint, WHITE)
    k, s = table()[paint]

    # The readings were made by the fit's own theory; smoothness is held loose.
    exact = FitSettings(model_spread=1e-4, two_flux_spread=1e-4, roughness=(1.0, 1.0))
    found = fit_paints(readings, its_tubes, exact).coefficients
    assert found.scale == f"relative to {WHITE}"
    np.testing.assert_allclose(found.s[found.index(WHITE)], 1, rtol=1e-9)
    # Below 400 nm white itself absorbs so strongly that the ladder hardly tells the two apart.
    seen = GRID >= 400
    i = found.index(paint)
    np.testing.assert_allclose(found.k[i, seen], k[seen], rtol=0.01)
    np.testing.assert_allclose(found.s[i, seen], s[seen], rtol=0.01)

    # As a user fits, allowing for what the theory gets wrong: within what is stated, as a factor
    # either way (at 380 nm nothing of the blue shows through the white: it is known to a factor).
    fitted = fit_paints(readings, its_tubes)
    found = fitted.coefficients
    i = found.index(paint)
    u_k, u_s = found.uncertainty
    assert np.all(np.abs(np.log(found.k[i] / k)) < 2 * u_k[i] / found.k[i])
    assert np.all(np.abs(np.log(found.s[i] / s)) < 2 * u_s[i] / found.s[i])
    assert fitted.paints[paint].de00_max < 0.05
