"""What an instrument makes of a reflectance, with derivatives, and the way back.

In the order of light and electronics: the monochromator moves and smears, the detector bends (Berns
and Petersen 1988, Color Research and Application 13, 243-256; the form is from memory), multiplies,
by a gain that drifts, and adds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from .curves import Curve
from .monochromator import resolved

MIDDLE, HALF = 555.0, 175.0
"""nm; a slope over wavelength is nought at the middle, and full at so much beside it."""
_SMOOTH, _PARTS = 70.0, 6
"""nm over which what is smooth keeps its shape; parts that it is made of."""
_FINE = 48
"""Most parts that are told apart along the wavelengths."""
FAULTS = (
    "zero_level", "zero_smooth", "zero_fine", "gain_level", "gain_smooth", "gain_fine", "drift",
    "tilt", "bend", "shift", "slope", "band",
)  # fmt: skip
"""What may be wrong with an instrument; the rest are tiles' own errors."""


def sloped(wavelengths: Array) -> Array:
    """A straight line over wavelength, from -1 to 1 over the inside grid, (W,)."""
    line: Array = (wavelengths - MIDDLE) / HALF
    return line


def smooth_parts(wavelengths: Array) -> Array:
    """Shapes that vary smoothly over wavelength with no mean, (W, K), each as usual as its size."""
    apart = wavelengths[:, None] - wavelengths[None, :]
    covariance = np.exp(-0.5 * (apart / _SMOOTH) ** 2)
    even = np.eye(wavelengths.size) - 1 / wavelengths.size
    sizes, shapes = np.linalg.eigh(even @ covariance @ even)
    most = min(_PARTS, wavelengths.size - 1)
    found: Array = shapes[:, -most:] * np.sqrt(np.maximum(sizes[-most:], 0.0))
    return found


def fine_parts(wavelengths: Array) -> Array:
    """Hats over wavelength, (W, F): each wavelength by itself where there are few."""
    if wavelengths.size <= _FINE:
        return np.eye(wavelengths.size)
    knots = np.linspace(wavelengths[0], wavelengths[-1], _FINE)
    return np.stack([np.interp(wavelengths, knots, row) for row in np.eye(_FINE)], axis=1)


@dataclass(frozen=True)
class Seen:
    """One reading of a tile, as the estimate takes it.

    Attributes
    ----------
    tile : int
        Which curve.
    values : (W,) array
    share : (nodes,) array
        Of each moment in its gain.
    """

    tile: int
    values: Array
    share: Array


class Model:
    """Readings of tiles as a function of faults and of tiles' own errors.

    Parameters
    ----------
    wavelengths : (W,) array, nm
    curves : sequence of T Curve
    seen : sequence of Seen
    nodes : int
        Moments at which the gain has a value of its own.
    used : (T, W) bool array
        Where a tile's readings count.
    band_nm : float
        Declared full width at half height; 0 where there is none.
    """

    def __init__(
        self,
        wavelengths: Array,
        curves: list[Curve],
        seen: list[Seen],
        nodes: int,
        used: NDArray[np.bool_],
        band_nm: float,
    ) -> None:
        self.wavelengths, self.curves, self.seen, self.nodes = wavelengths, curves, seen, nodes
        self.used, self.square = used, band_nm**2
        self.smooth, self.fine = smooth_parts(wavelengths), fine_parts(wavelengths)
        self.line = sloped(wavelengths)
        k, f, t = self.smooth.shape[1], self.fine.shape[1], len(curves)
        sizes = {
            "zero_level": 1, "zero_smooth": k, "zero_fine": f,
            "gain_level": 1, "gain_smooth": k, "gain_fine": f,
            "drift": nodes, "tilt": nodes, "bend": 2, "shift": 1, "slope": 1, "band": 1,
            "tile_scale": t, "tile_smooth": t * k, "tile_dark": t, "tile_warm": t,
            "laid": len(seen),
        }  # fmt: skip
        ends = np.cumsum(list(sizes.values()))
        self.at: Mapping[str, slice] = {
            name: slice(int(end - size), int(end))
            for (name, size), end in zip(sizes.items(), ends, strict=True)
        }
        self.size = int(ends[-1])
        self.faults = slice(0, self.at["band"].stop)

    def zero(self, theta: Array) -> Array:
        """What is added, (W,)."""
        part: Array = (
            theta[self.at["zero_level"]]
            + self.smooth @ theta[self.at["zero_smooth"]]
            + self.fine @ theta[self.at["zero_fine"]]
        )
        return part

    def log_gain(self, theta: Array, share: Array) -> Array:
        """Log of what is multiplied by, (N, W), where nodes have a share each, (N, nodes)."""
        steady = (
            theta[self.at["gain_level"]]
            + self.smooth @ theta[self.at["gain_smooth"]]
            + self.fine @ theta[self.at["gain_fine"]]
        )
        moved = (share @ theta[self.at["drift"]])[:, None]
        tilted = (share @ theta[self.at["tilt"]])[:, None] * self.line
        total: Array = steady + moved + tilted
        return total

    def shift(self, theta: Array) -> Array:
        """By how much each wavelength is off, nm, (W,)."""
        off: Array = theta[self.at["shift"]] + theta[self.at["slope"]] * self.line
        return off

    def band(self, theta: Array) -> float:
        """Square of the band's full width at half height, nm2, over that of the certificates."""
        return self.square + float(theta[self.at["band"]][0])

    def read(self, theta: Array) -> tuple[Array, Array]:
        """Calculate every reading of a tile, (R, W), and its derivatives, (R, W, P)."""
        shape = (len(self.seen), self.wavelengths.size)
        values, by = np.zeros(shape), np.zeros((*shape, self.size))
        share = np.array([one.share for one in self.seen])
        gains = np.exp(self.log_gain(theta, share))
        zero, square = self.zero(theta), self.band(theta)
        c, d = theta[self.at["bend"]]
        k = self.smooth.shape[1]
        warm = theta[self.at["tile_warm"]]
        of_tile = [
            curve.smeared(self.wavelengths + self.shift(theta) - warm[t], square)
            for t, curve in enumerate(self.curves)
        ]
        for r, one in enumerate(self.seen):
            t, own = one.tile, slice(one.tile * k, (one.tile + 1) * k)
            u, slope, wide = of_tile[t]
            off = theta[self.at["tile_smooth"]][own]
            certified = 1 + theta[self.at["tile_scale"]][t] + self.smooth @ off
            v = u * certified + theta[self.at["tile_dark"]][t]
            bent = v + c * v * (1 - v) + d * v * (1 - v) * (1 - 2 * v)
            steep = 1 + c * (1 - 2 * v) + d * (1 - 6 * v + 6 * v**2)
            gain = gains[r] * np.exp(theta[self.at["laid"]][r])
            said = bent * gain
            values[r] = said + zero
            to = by[r]
            to[:, self.at["zero_level"]] = 1.0
            to[:, self.at["zero_smooth"]] = self.smooth
            to[:, self.at["zero_fine"]] = self.fine
            to[:, self.at["gain_level"]] = said[:, None]
            to[:, self.at["gain_smooth"]] = said[:, None] * self.smooth
            to[:, self.at["gain_fine"]] = said[:, None] * self.fine
            to[:, self.at["drift"]] = said[:, None] * one.share
            to[:, self.at["tilt"]] = (said * self.line)[:, None] * one.share
            to[:, self.at["bend"].start] = v * (1 - v) * gain
            to[:, self.at["bend"].start + 1] = v * (1 - v) * (1 - 2 * v) * gain
            passed = steep * gain
            edge = passed * certified * slope
            to[:, self.at["shift"].start] = edge
            to[:, self.at["slope"].start] = edge * self.line
            to[:, self.at["band"].start] = passed * certified * wide
            to[:, self.at["tile_scale"].start + t] = passed * u
            first = self.at["tile_smooth"].start + t * k
            to[:, first : first + k] = (passed * u)[:, None] * self.smooth
            to[:, self.at["tile_dark"].start + t] = passed
            to[:, self.at["tile_warm"].start + t] = -edge
            to[:, self.at["laid"].start + r] = said
        return values, by

    def undo(self, theta: Array, values: Array, share: Array, moved: Array | None = None) -> Array:
        """Return the reflectance behind readings, (N, W).

        Parameters
        ----------
        theta : (P,) array
        values : (N, W) array
            As read; NaN where missing.
        share : (N, nodes) array
            Of each node in each reading's gain.
        moved : (N,) array, optional
            Log of a gain besides, as of a jump.
        """
        gain = self.log_gain(theta, share)
        if moved is not None:
            gain = gain + moved[:, None]
        bent = (values - self.zero(theta)) * np.exp(-gain)
        c, d = theta[self.at["bend"]]
        v = bent
        if c or d:
            for _ in range(6):
                off = v + c * v * (1 - v) + d * v * (1 - v) * (1 - 2 * v) - bent
                v = v - off / (1 + c * (1 - 2 * v) + d * (1 - 6 * v + 6 * v**2))
        return resolved(v, self.wavelengths, self.shift(theta), self.band(theta))
