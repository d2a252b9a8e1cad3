"""Errors that the readings of a session share, and what each does to a reflectance.

A corrected reading's error is, to first order, a sum of few factors that all readings of its
session share (JCGM 102), each a function of wavelength, reflectance, its slopes and time; the rest
is its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from .spectra import Array


def noise_variance(values: Array, noise: Array) -> Array:
    """Variance of single values, of the shape of `values`.

    Parameters
    ----------
    values : array
        Reflectance.
    noise : (3,) array
        By the powers 0 to 2 of a value: of electronics, of counting light, and in proportion.

    Returns
    -------
    array
    """
    found: Array = noise[0] + noise[1] * np.abs(values) + noise[2] * values**2
    return found


@dataclass(frozen=True)
class SharedErrors:
    """One standard deviation of each factor, as what it does to reflectance R.

    Attributes
    ----------
    wavelengths : (W,) array, nm
    add : (F, W) array
        What is added.
    times : (F, W) array
        Times R.
    bend, lopsided : (F,) arrays
        Times R (1 - R), and times R (1 - R) (1 - 2 R).
    slope : (F, W) array, nm
        Times the first derivative of R by wavelength.
    curve : (F,) array, nm2
        Times a twelfth of the second.
    moment : (F, N) array
        Times R, for each of the session's N readings, as its gain was then.
    own_add, own_times : (W,) arrays
        Variances that the factors leave over: of what is added, and of what R is multiplied by.
    own_gain : (N,) array
        Variance of each reading's gain, relative, from when it moved between two readings of tiles.
    noise : (3,) array
        See `noise_variance`.
    """

    wavelengths: Array
    add: Array
    times: Array
    bend: Array
    lopsided: Array
    slope: Array
    curve: Array
    moment: Array
    own_add: Array
    own_times: Array
    own_gain: Array
    noise: Array

    def factors(self, values: Array) -> Array:
        """What one standard deviation of each factor does to corrected readings, (F, N, W).

        Parameters
        ----------
        values : (N, W) array
            The session's corrected readings on its own wavelengths; NaN where missing.
        """
        first = np.gradient(values, self.wavelengths, axis=1)
        second = np.gradient(first, self.wavelengths, axis=1)
        arch = values * (1 - values)
        found: Array = (
            self.add[:, None, :]
            + (self.times[:, None, :] + self.moment[:, :, None]) * values
            + self.bend[:, None, None] * arch
            + self.lopsided[:, None, None] * arch * (1 - 2 * values)
            # Beside a missing value the slopes are missing, the reading is not.
            + self.slope[:, None, :] * np.nan_to_num(first)
            + self.curve[:, None, None] * np.nan_to_num(second) / 12
        )
        return found

    def own(self, values: Array) -> Array:
        """Variance of systematic errors that readings don't share as factors, (N, W)."""
        found: Array = self.own_add + (self.own_times + self.own_gain[:, None]) * values**2
        return found

    def sd(self, values: Array) -> Array:
        """Standard uncertainty of corrected readings, noise included, (N, W)."""
        shared = (self.factors(values) ** 2).sum(axis=0)
        total: Array = np.sqrt(shared + self.own(values) + noise_variance(values, self.noise))
        return total

    def record(self) -> dict[str, Any]:
        """Return it, JSON-able, to nine digits: uncertainties are worth no more."""
        return {f.name: _plain(getattr(self, f.name)) for f in fields(self)}

    @classmethod
    def of_record(cls, said: Mapping[str, Any]) -> SharedErrors:
        """Return what `record` gave."""
        return cls(**{f.name: np.array(said[f.name], dtype=float) for f in fields(cls)})


def _plain(values: Array) -> Any:
    return np.vectorize(lambda v: float(f"{v:.9g}"), otypes=[float])(values).tolist()
