"""A patch's repeats as one reading, and how sure that is."""

from __future__ import annotations

import numpy as np

from ...cards.card import BARE, SUBSTRATES
from ...cards.readings import CardReadings
from ...optics.spectra import Array
from .noise import TYPICAL
from .settings import FitSettings


def reading_sd(reflectance: Array, settings: FitSettings) -> Array:
    """Standard uncertainty of one reading of a reflectance.

    Parameters
    ----------
    reflectance : array
    settings : FitSettings

    Returns
    -------
    array
        Of its shape.
    """
    offset, slope = settings.noise or TYPICAL
    return offset + slope * np.abs(reflectance)


def patch_mean(
    readings: CardReadings, label: str, settings: FitSettings
) -> tuple[Array, Array, int, int]:
    """Mean of a patch's repeats, its variance, how many there were, and their flags together.

    Parameters
    ----------
    readings : CardReadings
    label : str
        Of the patch.
    settings : FitSettings

    Returns
    -------
    mean, variance : (W,) array
    repeats, flags : int
    """
    rows = readings.rows(label)
    values = readings.spectra.values[rows]
    read = ~np.isnan(values)
    n = read.sum(axis=0)
    with np.errstate(invalid="ignore"):
        mean = np.where(n > 0, np.nansum(values, axis=0) / np.maximum(n, 1), np.nan)
    variance = reading_sd(mean, settings) ** 2 / np.maximum(n, 1)
    if readings.unsure is not None:
        variance = variance + readings.unsure[rows].mean(axis=0)
    flags = int(np.bitwise_or.reduce(readings.spectra.flags[rows], axis=None))
    return mean, variance, int(rows.size), flags


def repeats_apart(readings: CardReadings, label: str) -> float:
    """How far the levels of a patch's repeats differ from their mean, relative; 0 of one alone.

    Parameters
    ----------
    readings : CardReadings
    label : str
        Of the patch.

    Returns
    -------
    float
        Standard deviation.
    """
    values = readings.read(label)
    whole = values[:, ~np.isnan(values).any(axis=0)]
    if len(whole) < 2 or not whole.size:
        return 0.0
    level = whole.mean(axis=1)
    return float(level.std(ddof=1) / max(abs(level.mean()), 1e-3))


def bare_means(
    readings: CardReadings, settings: FitSettings
) -> dict[str, tuple[Array, Array, int, int]]:
    """Bare substrates that were read, as `patch_mean` gives them.

    Parameters
    ----------
    readings : CardReadings
    settings : FitSettings

    Returns
    -------
    mapping of substrate to what `patch_mean` gives
    """
    found = {}
    for name in SUBSTRATES:
        if np.isfinite(readings.read(f"{BARE}/{name}")).any():
            found[name] = patch_mean(readings, f"{BARE}/{name}", settings)
    return found
