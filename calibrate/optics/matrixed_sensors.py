"""Sensitivities of a device whose software mixes its channels by a matrix.

A driver or a phone takes its sensor's red, green and blue to those of a display, so that each
channel it gives is its own less a share of the others: still a sum of light, with lobes below zero.
"""

from __future__ import annotations

import numpy as np

from .sensors import (
    Sensors,
    estimate_sensors,
    left_out_misfit,
    log_prior,
    strongest,
    typical_sensitivity,
)
from .spectra import GRID, Array

MIX_SD = 0.35
"""Standard deviation of the share of another channel that a matrix adds or takes (our choice:
matrices to displays' colours take a fifth to a half, from memory)."""
PLAIN = 1.0
"""Misfit of sensitivities without lobes up to which nothing else is tried."""
_WORTH = 0.8
"""Share of that misfit at which a matrix is believed."""
_ROUNDS, _SETTLED = 80, 1e-5


def best_sensors(
    reflectance: Array, channels: Array, variance: Array
) -> tuple[Sensors, tuple[float, float, float]]:
    """Estimate sensitivities, with a matrix where these explain left-out patches clearly better.

    Parameters as `estimate_sensors`.

    Returns
    -------
    sensors : Sensors
    misfit : (float, float, float)
        See `left_out_misfit`.
    """
    misfit = left_out_misfit(reflectance, channels, variance)
    if max(misfit) > PLAIN:
        mixed = left_out_misfit(reflectance, channels, variance, estimate=estimate_matrixed_sensors)
        if max(mixed) < _WORTH * max(misfit):
            return estimate_matrixed_sensors(reflectance, channels, variance), mixed
    return estimate_sensors(reflectance, channels, variance), misfit


def estimate_matrixed_sensors(
    reflectance: Array, channels: Array, variance: Array, wavelengths: Array = GRID
) -> Sensors:
    """Estimate sensitivities of any sign from a target whose spectra are known.

    Parameters
    ----------
    reflectance : (T, W) array
        As an instrument of the device's geometry reads the target's patches.
    channels, variance : (T, 3) array
        Linear channel values and their variance.
    wavelengths : (W,) array, nm

    Returns
    -------
    Sensors

    Notes
    -----
    The sensor's own log sensitivities are smooth Gaussian processes, as in `estimate_sensors`, and
    a matrix with ones on its diagonal mixes them. Both are found together by damped Gauss-Newton
    steps; the uncertainty is that of the curvature there.
    """
    problem = _Matrixed(reflectance, channels, variance, wavelengths)
    x = problem.start()
    damping = 1e-2
    residual, slopes = problem.linear(x)
    cost = float(residual @ residual)
    for _ in range(_ROUNDS):
        curvature = slopes.T @ slopes
        step = np.linalg.solve(
            curvature + damping * np.diag(np.diag(curvature)), slopes.T @ residual
        )
        trial = x + np.clip(step, -1.0, 1.0)
        new_residual, new_slopes = problem.linear(trial)
        new = float(new_residual @ new_residual)
        if new > cost:
            damping *= 10
            if damping > 1e8:
                break
            continue
        fall = cost - new
        x, residual, slopes, cost, damping = trial, new_residual, new_slopes, new, damping / 10
        if fall < _SETTLED * (1 + cost):
            break
    sensitivity, by = problem.sensitivity(x)
    spread = by @ np.linalg.solve(slopes.T @ slopes, by.T)
    factors = strongest(spread).reshape(-1, 3, wavelengths.size)
    return Sensors(sensitivity, factors, wavelengths)


class _Matrixed:
    """Least squares of three log sensitivities, (3 W), then the six shares of a matrix."""

    def __init__(
        self, reflectance: Array, channels: Array, variance: Array, wavelengths: Array
    ) -> None:
        self.reflectance, self.channels = reflectance, channels
        self.weight = 1 / np.sqrt(np.asarray(variance, dtype=float))
        self.n_w = wavelengths.size
        self.typical = np.log(typical_sensitivity(wavelengths))
        self.root = np.linalg.inv(np.linalg.cholesky(log_prior(wavelengths)))
        self.others = [(c, j) for c in range(3) for j in range(3) if c != j]

    def start(self) -> Array:
        """Typical filters, mixed as the channels ask for."""
        shown = self.reflectance @ np.exp(self.typical).T
        mix = np.linalg.lstsq(shown, self.channels, rcond=None)[0].T
        own = np.maximum(np.diag(mix), 0.2)
        shares = [np.clip(mix[c, j] / own[j], -1.0, 1.0) for c, j in self.others]
        logs = self.typical + np.log(own)[:, None]
        return np.concatenate([logs.ravel(), shares])

    def sensitivity(self, x: Array) -> tuple[Array, Array]:
        """Sensitivities (3, W), and their slopes by the unknowns, (3 W, X)."""
        own = np.exp(x[: 3 * self.n_w].reshape(3, self.n_w))
        mix = np.eye(3)
        by = np.zeros((3, self.n_w, x.size))
        at = np.arange(self.n_w)
        for i, (c, j) in enumerate(self.others):
            mix[c, j] = x[3 * self.n_w + i]
            by[c, :, 3 * self.n_w + i] = own[j]
        for c in range(3):
            for j in range(3):
                by[c, at, j * self.n_w + at] = mix[c, j] * own[j]
        return mix @ own, by.reshape(3 * self.n_w, x.size)

    def linear(self, x: Array) -> tuple[Array, Array]:
        """Residuals, those of what is believed too, and slopes of what is predicted."""
        sensitivity, by = self.sensitivity(x)
        off = (self.channels - self.reflectance @ sensitivity.T) * self.weight
        slopes = np.einsum(
            "tw,cwx->tcx", self.reflectance, by.reshape(3, self.n_w, -1), optimize=True
        )
        slopes *= self.weight[:, :, None]
        moved = x[: 3 * self.n_w].reshape(3, self.n_w) - self.typical
        believed = np.concatenate([(self.root @ moved.T).T.ravel(), x[3 * self.n_w :] / MIX_SD])
        prior = np.zeros((x.size, x.size))
        for c in range(3):
            place = slice(c * self.n_w, (c + 1) * self.n_w)
            prior[place, place] = self.root
        prior[3 * self.n_w :, 3 * self.n_w :] = np.eye(6) / MIX_SD
        residual = np.concatenate([off.ravel(), -believed])
        return residual, np.vstack([slopes.reshape(off.size, -1), prior])
