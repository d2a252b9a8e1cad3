"""Learns how far one reading scatters, from patches that were read more than once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...cards.readings import CardReadings
from ...optics.spectra import Array

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
