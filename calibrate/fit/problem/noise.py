"""Learns how far one reading scatters, from patches that were read more than once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...cards.card import BARE, SUBSTRATES
from ...cards.readings import CardReadings
from ...optics.spectra import Array
from .settings import FitSettings

TYPICAL = (0.0005, 0.002)
"""Offset and slope of a reading's standard uncertainty where too little was read twice; common
practice for handheld instruments, no source."""
FLOOR = (0.0002, 0.0005)
"""No repeats make a reading surer than this: lifting and setting down again adds its own error."""
_LEAST = 1e-5
_ENOUGH = 200
"""Degrees of freedom below which repeats say too little."""


def repeat_scatter(readings: Sequence[CardReadings]) -> tuple[Array, Array, Array]:
    """Scatter of repeated readings.

    Returns
    -------
    mean, variance, freedom : (R,) arrays
        For each patch and wavelength read more than once: its mean reflectance, the sample variance
        of its repeats, and their degrees of freedom.
    """
    mean, variance, freedom = [np.zeros(0)], [np.zeros(0)], [np.zeros(0)]
    for r in readings:
        for patch in dict.fromkeys(r.spectra.labels):
            values = r.read(patch)
            if len(values) < 2:
                continue
            whole = values[:, ~np.isnan(values).any(axis=0)]
            mean.append(whole.mean(axis=0))
            variance.append(whole.var(axis=0, ddof=1))
            freedom.append(np.full(whole.shape[1], len(whole) - 1.0))
    return np.concatenate(mean), np.concatenate(variance), np.concatenate(freedom)


def reading_noise(readings: Sequence[CardReadings]) -> tuple[float, float]:
    """Offset and slope of ``sd = offset + slope * R`` that make the repeats likeliest.

    Parameters
    ----------
    readings : sequence of CardReadings

    Returns
    -------
    offset, slope : float
        At least `FLOOR`; `TYPICAL` where too little was read twice.

    Notes
    -----
    A sample variance of f degrees of freedom is a scaled chi-square, so the offset and slope are
    the minimum of ``sum f (log sd^2 + s^2 / sd^2)`` (a gamma likelihood).
    """
    mean, variance, freedom = repeat_scatter(readings)
    if freedom.sum() < _ENOUGH:
        return TYPICAL
    level, total = np.abs(mean), freedom.sum()

    def unlikeliness(logs: Array) -> float:
        # Repeats that agree to the last digit say that the file was rounded, not that sd is none.
        sd = np.maximum(np.exp(logs[0]) + np.exp(logs[1]) * level, _LEAST)
        return float((freedom * (2 * np.log(sd) + variance / sd**2)).sum() / total)

    from scipy.optimize import minimize

    found = minimize(unlikeliness, np.log(TYPICAL), method="Nelder-Mead").x
    return max(float(np.exp(found[0])), FLOOR[0]), max(float(np.exp(found[1])), FLOOR[1])


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
