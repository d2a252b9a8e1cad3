"""Films that were brushed out: how thick they are nobody knows, and no gate asks them to hide.

Each has one thickness, unknown but for what brushes leave, and a spread of it within the patch;
over black and over white it is the same film. So the pair tells scattering from absorption, as two
drawdowns of known thickness would.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from ...cards.card import SUBSTRATES, Drawdown
from ...cards.readings import CardReadings
from ...optics.spectra import GRID, Array
from .noise import patch_mean
from .settings import FitSettings

Hidden = Collection[tuple[str, str]]
"""Steps, by card, that nothing of their substrate is seen through."""

WHITE_S = 150.0
"""1/mm: S of a titanium white (level invented), where K and S are relative to that S."""
WHITE_SLOPE = 0.5
"""Power of wavelength by which a white's S falls (invented; whites lie between 0 and 1)."""
_ACROSS = np.linspace(-1.0, 1.0, GRID.size)
LEANS = {"slope": (_ACROSS, 0.15), "bend": ((3 * _ACROSS**2 - 1) / 2, 0.08)}
"""How a white's S over wavelength may differ from that (Legendre polynomials), and by how much."""
_SURE = 3.0
"""Standard uncertainties by which black and white must differ to tell anything of thickness."""


def white_scattering(wavelengths: Array) -> Array:
    """S of a typical white, 1/mm: (W,)."""
    return np.asarray(WHITE_S * (550 / wavelengths) ** WHITE_SLOPE)


def log_coat(settings: FitSettings, relative: bool) -> float:
    """Log of the thickness that a brushed film is believed to have, mm or over that of S = 1.

    Parameters
    ----------
    settings : FitSettings
    relative : bool
        Whether S of the white is 1.

    Returns
    -------
    float
    """
    return float(np.log(settings.coat_um * 1e-3 * (WHITE_S if relative else 1.0)))


def brushed_out(
    readings: CardReadings,
    d: Drawdown,
    bare: Mapping[str, object],
    settings: FitSettings,
    hidden: Hidden | None,
) -> bool:
    """Whether a drawdown is a film of unknown thickness that shows what lies beneath it.

    Parameters
    ----------
    readings : CardReadings
    d : Drawdown
    bare : mapping of substrate to anything
        The bare substrates that were read.
    settings : FitSettings
    hidden : collection of (card, step) or None
        Steps that hide; None: by the readings.

    Returns
    -------
    bool
    """
    if not d.opaque or not settings.coat_spread:
        return False
    if set(d.over) != set(SUBSTRATES) or not set(SUBSTRATES) <= set(bare):
        return False
    if hidden is not None:
        return (readings.card.name, d.step) not in hidden
    return _shows(readings, d, settings)


def _shows(readings: CardReadings, d: Drawdown, settings: FitSettings) -> bool:
    """Whether the readings over black and over white differ; also where one of them is missing."""
    means, variances = list[Array](), list[Array]()
    for over in SUBSTRATES:
        if not readings.rows(f"{d.step}/{over}").size:
            return True
        mean, variance, *_ = patch_mean(readings, f"{d.step}/{over}", settings)
        means.append(mean)
        variances.append(variance)
    with np.errstate(invalid="ignore"):
        apart = np.abs(means[1] - means[0]) > _SURE * np.sqrt(variances[0] + variances[1])
    return bool(apart.any())
