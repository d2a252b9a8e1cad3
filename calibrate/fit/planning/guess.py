"""What to expect of a paint before any of it is read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ...optics.coefficients import ABSOLUTE, Coefficients
from ...optics.spectra import GRID, Array
from ..problem.tube import Tube

Strength = Literal["weak", "ordinary", "strong"]

PEAK_K: dict[Strength, float] = {"weak": 30.0, "ordinary": 120.0, "strong": 400.0}
"""1/mm of dry film at the absorption maximum. Invented, after common practice: an earth green, a
cadmium or ultramarine, a phthalocyanine or carbon black."""
_CENTRES = (430.0, 540.0, 630.0)
"""nm: a yellow, a red and a blue, since an unknown tube may be any of them."""
_WIDTH, _WINDOW = 45.0, 60.0
_SCATTERING = 20.0


@dataclass(frozen=True)
class Guess:
    """A paint's K and S as far as they can be guessed.

    Attributes
    ----------
    k, s : (H, W) array, 1/mm
        H paints that it may turn out to be alike, all as likely.
    """

    tube: Tube
    k: Array
    s: Array

    @classmethod
    def typical(cls, tube: Tube, strength: Strength = "ordinary") -> Guess:
        """Guess an unknown tube from its strength: a yellow, a red and a blue of it.

        Parameters
        ----------
        tube : Tube
        strength : Strength

        Returns
        -------
        Guess
        """
        peak = PEAK_K[strength]
        band = np.exp(-0.5 * ((GRID - np.array(_CENTRES)[:, None]) / _WIDTH) ** 2)
        k = peak * (1 / _WINDOW + (1 - 1 / _WINDOW) * band)
        return cls(tube, k, np.broadcast_to(_SCATTERING * 550 / GRID, k.shape))

    @classmethod
    def typical_white(cls, tube: Tube) -> Guess:
        """Guess a titanium white (rutile's edge near 400 nm; levels invented)."""
        k = 0.2 + 150 / (1 + np.exp((GRID - 396) / 6))
        return cls(tube, k[None], np.full((1, GRID.size), 150.0))

    @classmethod
    def like(cls, tube: Tube, coefficients: Coefficients, paint: str) -> Guess:
        """Guess that it is like a paint already fitted.

        Parameters
        ----------
        tube : Tube
        coefficients : Coefficients
        paint : str
            Nickname.

        Returns
        -------
        Guess

        Raises
        ------
        ValueError
            Where K and S aren't in 1/mm.
        KeyError
            For a paint that the coefficients don't have.
        """
        if coefficients.scale != ABSOLUTE:
            raise ValueError(f"a plan needs K and S in 1/mm; these are {coefficients.scale}")
        return cls.of_fit(tube, coefficients, paint)

    @classmethod
    def of_fit(cls, tube: Tube, coefficients: Coefficients, paint: str) -> Guess:
        """The paint as it was fitted, on whichever scale.

        Parameters
        ----------
        tube : Tube
        coefficients : Coefficients
        paint : str
            Nickname.

        Returns
        -------
        Guess

        Raises
        ------
        KeyError
            For a paint that the coefficients don't have.
        """
        i = coefficients.index(paint)
        return cls(tube, filled(coefficients.k[i])[None], filled(coefficients.s[i])[None])


def filled(values: Array) -> Array:
    """Unread wavelengths take the nearest read value: good enough to plan by, for nothing else."""
    read = np.flatnonzero(~np.isnan(values))
    result: Array = values[read[np.abs(np.arange(values.size)[:, None] - read).argmin(axis=1)]]
    return result
