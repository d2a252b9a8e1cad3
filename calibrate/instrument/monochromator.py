"""What a monochromator moves along the wavelengths, and what it smears over them.

A shift is found from the edges of coloured tiles. The regression on first and second derivative of
their certified curves is Berns and Petersen's (1988, Color Research and Application 13, 243-256;
from memory): the second derivative stands for the band, so that it isn't taken for a shift.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..optics.spectra import Array
from .tiles import Tile

FARTHEST = 3.0
"""nm; what looks like a larger shift is another tile, or an instrument to be mended."""
THERMOCHROMIC = 0.1
"""nm a degree by which the edge of a red or orange tile moves (common practice, no source)."""


@dataclass(frozen=True)
class Shift:
    """By how much the wavelength scale is off.

    Attributes
    ----------
    nm : float
        What is said to be read at a wavelength was read so much above it.
    uncertainty : float
        Standard uncertainty, from how far the tiles stay off their certificates.
    before, after : float
        RMS difference of the tiles from their certificates.
    """

    nm: float
    uncertainty: float
    before: float
    after: float


def find_shift(wavelengths: Array, read: Sequence[Array], tiles: Sequence[Tile]) -> Shift:
    """Find the one shift that explains readings of coloured tiles, by Gauss-Newton steps.

    Parameters
    ----------
    wavelengths : (W,) array, nm
    read : sequence of (W,) arrays
        Zero, scale and linearity corrected, not the band.
    tiles : sequence of Tile

    Returns
    -------
    Shift
    """
    from scipy.interpolate import CubicSpline

    curves = [CubicSpline(t.wavelengths, t.values) for t in tiles]
    # A shift of some nm must not leave the certificate.
    inside = [
        (wavelengths >= t.wavelengths[0] + FARTHEST) & (wavelengths <= t.wavelengths[-1] - FARTHEST)
        for t in tiles
    ]
    found = np.concatenate([values[ok] for values, ok in zip(read, inside, strict=True)])

    def certified(nm: float, order: int) -> Array:
        return np.concatenate(
            [c(wavelengths[ok] + nm, order) for c, ok in zip(curves, inside, strict=True)]
        )

    nm, band = 0.0, 0.0
    for _ in range(10):
        off = found - certified(nm, 0) - band * certified(nm, 2)
        jacobian = np.stack([certified(nm, 1), certified(nm, 2)], axis=1)
        step, *_ = np.linalg.lstsq(jacobian, off, rcond=None)
        nm, band = float(np.clip(nm + step[0], -FARTHEST, FARTHEST)), band + float(step[1])
        if abs(step[0]) < 1e-6:
            break
    rest = found - certified(nm, 0) - band * certified(nm, 2)
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * (rest @ rest) / max(rest.size - 2, 1)
    before = found - certified(0.0, 0)
    return Shift(
        nm,
        float(np.sqrt(covariance[0, 0])),
        float(np.sqrt(np.mean(before**2))),
        float(np.sqrt(np.mean(rest**2))),
    )


def unshift(wavelengths: Array, values: Array, nm: float) -> Array:
    """Values at the wavelengths they are said to be of, by a cubic spline, (N, W).

    At one end of the range the spline runs on by the shift, a fraction of a step.

    Parameters
    ----------
    wavelengths : (W,) array, nm
    values : (N, W) array
        Reflectance as read.
    nm : float
        Shift, nm.

    Returns
    -------
    (N, W) array
    """
    from scipy.interpolate import CubicSpline

    return _where_read(values, lambda run, v: CubicSpline(wavelengths[run], v, axis=1)
                       (wavelengths[run] - nm))  # fmt: skip


def undo_band(values: Array) -> Array:
    """Undo a triangular band as wide as the step, (N, W).

    Three-point rule of Stearns and Stearns 1988 (Color Research and Application 13, 257-259),
    R = P - (P[-1] - 2 P + P[+1]) / 12; at the ends the second difference runs on in a straight
    line. Exact where reflectance is a cubic over five steps. (colour-science 0.4 has the rule too,
    but corrects in place, each value from a neighbour that is corrected already: on a cubic that
    leaves three fifths of the error.)
    """

    def sharpen(_: slice, v: Array) -> Array:
        second = v[:, :-2] - 2 * v[:, 1:-1] + v[:, 2:]
        first, last = 2 * second[:, :1] - second[:, 1:2], 2 * second[:, -1:] - second[:, -2:-1]
        sharp: Array = v - np.concatenate([first, second, last], axis=1) / 12
        return sharp

    return _where_read(values, sharpen)


def _where_read(values: Array, change: Callable[[slice, Array], Array]) -> Array:
    """Change each unbroken run of four values or more; what stands alone stays as it is."""
    out = values.copy()
    missing = np.isnan(values)
    patterns, of = np.unique(missing, axis=0, return_inverse=True)
    for i, pattern in enumerate(patterns):
        rows = np.flatnonzero(of.ravel() == i)
        edges = np.flatnonzero(np.diff(np.concatenate([[True], pattern, [True]]).astype(int)))
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            if stop - start >= 4:
                run = slice(int(start), int(stop))
                out[rows, run] = change(run, values[rows, run])
    return out
