"""Certified curves at any wavelength, seen through a band, with their derivatives."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from ..tiles import Tile
from .monochromator import NARROW, NODES, SHARES


class Curve:
    """A tile's certified reflectance, running on in straight lines beyond its ends.

    Parameters
    ----------
    tile : Tile
    """

    def __init__(self, tile: Tile) -> None:
        from scipy.interpolate import CubicSpline

        self._spline = CubicSpline(tile.wavelengths, tile.values)
        self._ends = float(tile.wavelengths[0]), float(tile.wavelengths[-1])

    def __call__(self, nm: Array, order: int = 0) -> Array:
        """Return the curve, or its derivative of an order up to 2, at wavelengths."""
        held = np.clip(nm, *self._ends)
        found: Array = self._spline(held, order)
        if order == 0:
            found = found + self._spline(held, 1) * (nm - held)
        elif order == 2:
            found = np.where(nm == held, found, 0.0)
        return found

    def covers(self, nm: Array, margin: float) -> NDArray[np.bool_]:
        """Whether the certificate reaches so far to both sides of wavelengths, (W,) bool."""
        reaches: NDArray[np.bool_] = (nm >= self._ends[0] + margin) & (nm <= self._ends[1] - margin)
        return reaches

    def smeared(self, nm: Array, square: float) -> tuple[Array, Array, Array]:
        """Return what a triangular band sees of it at wavelengths.

        Parameters
        ----------
        nm : (W,) array
        square : float
            Square of the band's full width at half height, nm2; below 0 where the instrument sees
            more sharply than the one that the certificate was made with.

        Returns
        -------
        seen, by_nm, by_square : (W,) arrays
            Reflectance, and its derivatives by the wavelength and by `square`.
        """
        if square < NARROW:
            bent = self(nm, 2) / 12
            return self(nm) + square * bent, self(nm, 1), bent
        width = float(np.sqrt(square))
        at = nm[:, None] + width * NODES
        slope = self(at, 1)
        return self(at) @ SHARES, slope @ SHARES, slope @ (SHARES * NODES) / (2 * width)
