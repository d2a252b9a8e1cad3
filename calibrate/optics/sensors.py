"""What a three-channel device sees: its channels' sensitivities, lamp included.

A scanner or camera gives three numbers for a patch, each the patch's reflectance summed over
wavelength under a sensitivity of its own: lamp times filter times detector. Once a reading is
linear in light (see `tintladder.calibrate.scan`), ``channel = sensitivity @ reflectance``. All that
lies in the 33 dimensions which three numbers leave open, and at the ends of the range, where lamp
and filters are dark, no reading of one patch can tell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from .spectra import GRID, Array

CHANNELS = ("red", "green", "blue")

_TYPICAL = ((600.0, 45.0), (535.0, 45.0), (455.0, 35.0))
"""Centre and width, nm, of a red, a green and a blue filter; invented, after common practice."""
_FLOOR = 0.02
_LOG_LEVEL, _LOG_SHAPE, _LOG_LENGTH = 0.5, 1.2, 25.0
"""How far log sensitivity may lie from the typical: at all wavelengths, at each, and how near, in
nm, wavelengths differ together. Wide enough for a lamp's blue peak and the gap behind it."""
TONES = np.array([0.0, 0.005, 0.01, 0.02, 0.04, 0.08, 0.15, 0.3, 0.5, 0.7, 0.85, 1.0, 1.3])
"""Linear values of a channel at which it is told how unsure its tone curve is."""
_KEPT = 0.9999
"""Share of the variance of channels that the factors carry."""
_ROUNDS, _SETTLED = 100, 1e-6


@dataclass(frozen=True)
class Sensors:
    """Sensitivities of a device's three channels, and how surely they are known.

    Attributes
    ----------
    sensitivity : (C, W) array
        Red, green and blue; of several devices those of each in turn. Each row sums to 1 where a
        perfect diffuser reads 1.
    factors : (E, C, W) array
        Change of the sensitivities at one standard deviation of each of E independent causes; E is
        0 where they are known.
    wavelengths : (W,) array, nm
    tones : (U, C, T) array
        Change of channels whose values are `TONES`, at one standard deviation of each of U
        independent causes: a curve or a veil of light that is not surely known. U is 0 where the
        device is linear as far as anybody can tell.
    """

    sensitivity: Array
    factors: Array
    wavelengths: Array
    tones: Array = field(default_factory=lambda: np.zeros((0, len(CHANNELS), TONES.size)))

    @classmethod
    def known(cls, sensitivity: Array, wavelengths: Array = GRID) -> Sensors:
        """Sensitivities without uncertainty.

        Parameters
        ----------
        sensitivity : (3, W) array
        wavelengths : (W,) array, nm

        Returns
        -------
        Sensors

        Raises
        ------
        ValueError
            Where the shape is another, or a value is negative or not finite.
        """
        rows = np.asarray(sensitivity, dtype=float)
        if rows.shape != (3, wavelengths.size):
            raise ValueError(f"sensitivities {rows.shape}, expected (3, {wavelengths.size})")
        if not np.all(np.isfinite(rows)) or rows.min() < 0:
            raise ValueError("a sensitivity is negative or missing")
        return cls(rows, np.zeros((0, *rows.shape)), wavelengths)

    @classmethod
    def side_by_side(cls, devices: Sequence[Sensors]) -> Sensors:
        """Join the channels of several devices, each unsure by itself.

        Parameters
        ----------
        devices : sequence of Sensors
            At the same wavelengths.

        Returns
        -------
        Sensors
        """
        sensitivity = np.concatenate([each.sensitivity for each in devices])
        factors = _apart([each.factors for each in devices])
        tones = _apart([each.tones for each in devices])
        return cls(sensitivity, factors, devices[0].wavelengths, tones)

    def read(self, reflectance: Array) -> Array:
        """Linear channel values of reflectances (..., W): (..., C)."""
        result: Array = np.asarray(reflectance, dtype=float) @ self.sensitivity.T
        return result

    def shifts(self, channels: Array) -> Array:
        """What is unsure of the tones of linear channels (N, C): (U, N, C).

        At one standard deviation of each cause; 0 where a channel was not read.
        """
        found = np.zeros((len(self.tones), *channels.shape))
        for c, values in enumerate(np.nan_to_num(channels).T):
            for u, tones in enumerate(self.tones):
                found[u, :, c] = np.interp(values, TONES, tones[c])
        return np.where(np.isfinite(channels), found, 0.0)

    def loosened(self, channels: Array, beyond: Array) -> Sensors:
        """The same sensors, less sure, of a device whose channels aren't linear in light.

        Parameters
        ----------
        channels : (T, 3) array
            Linear channel values of a target.
        beyond : (T, 3) array
            Standard deviation of what the sensitivities leave unexplained of them.

        Returns
        -------
        Sensors

        Notes
        -----
        A camera mixes its channels and bends them. Like colours are off alike, so that is no noise
        which a ladder's many patches would average away. Here each channel may hold a share of
        either other and a gain of its own, each so large that on the target it comes to what is
        unexplained: greys stay sure, and a colour is the less sure the purer it is.
        """
        found, size = [], (beyond**2).mean(axis=0)
        for channel, own in enumerate(self.sensitivity):
            others = [i for i in range(len(self.sensitivity)) if i != channel]
            gain = np.sqrt(size[channel] / (channels[:, channel] ** 2).mean())
            rows = [gain * own]
            for other in others:
                apart = ((channels[:, other] - channels[:, channel]) ** 2).mean()
                share = np.sqrt(size[channel] / apart / len(others))
                rows.append(share * (self.sensitivity[other] - own))
            for row in rows:
                factor = np.zeros_like(self.sensitivity)
                factor[channel] = row
                found.append(factor)
        return replace(self, factors=np.concatenate([self.factors, np.array(found)]))


def _apart(causes: Sequence[Array]) -> Array:
    """Causes of several devices, (U, C, X) each, every one in channels of its own."""
    channels = sum(each.shape[1] for each in causes)
    found, first = [], 0
    for each in causes:
        here = np.zeros((len(each), channels, each.shape[2]))
        here[:, first : first + each.shape[1]] = each
        found.append(here)
        first += each.shape[1]
    return np.concatenate(found)


def typical_sensitivity(wavelengths: Array) -> Array:
    """Sensitivities of typical filters, (3, W); each sums to 1."""
    rows = [np.exp(-0.5 * ((wavelengths - at) / width) ** 2) + _FLOOR for at, width in _TYPICAL]
    return np.array([row / row.sum() for row in rows])


def log_prior(wavelengths: Array) -> Array:
    """Covariance of a log sensitivity about that of a typical filter, (W, W)."""
    apart = wavelengths[:, None] - wavelengths[None]
    prior = _LOG_LEVEL**2 + _LOG_SHAPE**2 * np.exp(-0.5 * (apart / _LOG_LENGTH) ** 2)
    result: Array = prior + 1e-4 * np.eye(wavelengths.size)
    return result


def estimate_sensors(
    reflectance: Array, channels: Array, variance: Array, wavelengths: Array = GRID
) -> Sensors:
    """Estimate sensitivities from a target whose spectra are known.

    Parameters
    ----------
    reflectance : (T, W) array
        As an instrument of the scanner's geometry reads the target's patches.
    channels, variance : (T, 3) array
        Linear channel values and their variance.
    wavelengths : (W,) array, nm

    Returns
    -------
    Sensors
        With factors: a target of few dyes leaves much of the sensitivities open, and what it leaves
        open passes into every K and S.

    Notes
    -----
    Log sensitivity is a smooth Gaussian process about a typical filter, so that no sensitivity is
    negative; its maximum a posteriori is found by damped Gauss-Newton steps, its uncertainty is
    that of the curvature there.
    """
    precision = np.asarray(np.linalg.inv(log_prior(wavelengths)), dtype=float)
    rows, factors = [], []
    for channel, typical in enumerate(typical_sensitivity(wavelengths)):
        center = np.log(typical)
        weight = 1 / np.asarray(variance[:, channel], dtype=float)
        log, curvature = _most_likely(reflectance, channels[:, channel], weight, center, precision)
        row = np.exp(log)
        rows.append(row)
        spread = np.linalg.inv(curvature) * np.outer(row, row)
        for column in strongest(spread):
            factor = np.zeros((3, wavelengths.size))
            factor[channel] = column
            factors.append(factor)
    return Sensors(np.array(rows), np.array(factors), wavelengths)


def left_out_misfit(
    reflectance: Array,
    channels: Array,
    variance: Array,
    folds: int = 6,
    estimate: Callable[[Array, Array, Array], Sensors] = estimate_sensors,
) -> tuple[float, float, float]:
    """How far sensitivities miss patches left out in turn, RMS, in standard deviations.

    Far above 1 where channels are no sums of light at all, as of a camera that bends or clips its
    colours.

    Parameters
    ----------
    reflectance : (N, W) array
        Of the patches.
    channels : (N, 3) array
    variance : (N, 3) array
        Of the channels.
    folds : int
        How many parts are left out in turn.
    estimate : callable
        Called as `estimate_sensors` is.

    Returns
    -------
    red, green, blue : float
    """
    fold, off = np.arange(len(channels)) % folds, np.empty_like(channels)
    for out in (fold == i for i in range(folds)):
        others = estimate(reflectance[~out], channels[~out], variance[~out])
        off[out] = others.read(reflectance[out]) - channels[out]
    red, green, blue = np.sqrt((off**2 / variance).mean(axis=0)).tolist()
    return red, green, blue


def _most_likely(
    reflectance: Array, values: Array, weight: Array, center: Array, precision: Array
) -> tuple[Array, Array]:
    """Log sensitivity (W,) of one channel and the curvature (W, W) there."""

    def at(log: Array) -> tuple[float, Array, Array]:
        slopes = reflectance * np.exp(log)
        off, moved = values - slopes.sum(axis=1), log - center
        cost = float((off**2 * weight).sum() + moved @ precision @ moved)
        return cost, slopes.T @ (off * weight) - precision @ moved, slopes

    log, damping = center, 1e-3
    cost, downhill, slopes = at(log)
    for _ in range(_ROUNDS):
        curvature = slopes.T @ (slopes * weight[:, None]) + precision
        step = np.linalg.solve(curvature + damping * np.diag(np.diag(curvature)), downhill)
        trial = log + np.clip(step, -1.0, 1.0)
        found = at(trial)
        if found[0] > cost:
            damping *= 10
            if damping > 1e8:
                break
            continue
        fall = cost - found[0]
        log, damping = trial, max(damping / 10, 1e-12)
        cost, downhill, slopes = found
        if fall < _SETTLED * (1 + cost):
            break
    return log, slopes.T @ (slopes * weight[:, None]) + precision


def strongest(covariance: Array) -> Array:
    """The directions (F, W) that carry nearly all of a covariance (W, W), largest first."""
    values, vectors = np.linalg.eigh(covariance)
    values, vectors = np.maximum(values[::-1], 0.0), vectors[:, ::-1]
    count = int(np.searchsorted(np.cumsum(values) / values.sum(), _KEPT)) + 1
    result: Array = (vectors[:, :count] * np.sqrt(values[:count])).T
    return result
