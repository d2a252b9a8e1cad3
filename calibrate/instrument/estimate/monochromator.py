"""What a monochromator moves along the wavelengths and smears over them, undone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...optics.spectra import Array


def unshift(wavelengths: Array, values: Array, nm: Array | float) -> Array:
    """Values at the wavelengths they are said to be of, by a cubic spline, (N, W).

    At one end of the range the spline runs on by the shift, a fraction of a step.

    Parameters
    ----------
    wavelengths : (W,) array, nm
    values : (N, W) array
        Reflectance as read.
    nm : float or (W,) array
        What is said to be read at a wavelength was read so much above it.

    Returns
    -------
    (N, W) array
    """
    from scipy.interpolate import CubicSpline

    off = np.broadcast_to(nm, wavelengths.shape)
    return _where_read(values, lambda run, v: CubicSpline(wavelengths[run], v, axis=1)
                       (wavelengths[run] - off[run]))  # fmt: skip


def undo_band(values: Array, wavelengths: Array, square: float) -> Array:
    """Undo a triangular band, (N, W).

    Three-point rule of Stearns and Stearns 1988 (Color Research and Application 13, 257-259),
    R = P - (P[-] - 2 P + P[+]) / 12, with both neighbours about a band away: where the steps are as
    wide as the band they are the readings beside, and where they are finer those some steps off, so
    that noise grows no more than there. The second difference counts in the square of the band over
    that distance. At the ends it runs on in a straight line. Exact where reflectance is a cubic.
    (colour-science 0.4 has the rule too, but corrects in place, each value from a neighbour that is
    corrected already: on a cubic that leaves three fifths of the error.)

    Parameters
    ----------
    values : (N, W) array
        Reflectance as read.
    wavelengths : (W,) array, nm
    square : float
        Square of its full width at half height, nm2; below 0 the readings are too sharp.

    Returns
    -------
    (N, W) array
    """
    from scipy.interpolate import CubicSpline

    def sharpen(run: slice, v: Array) -> Array:
        nm = wavelengths[run]
        step = float(np.diff(nm).max())
        away = step * max(1, round(float(np.sqrt(max(square, 0.0))) / step))
        inside = (nm >= nm[0] + away - 1e-6) & (nm <= nm[-1] - away + 1e-6)
        if inside.sum() < 2:
            return v
        spline, at = CubicSpline(nm, v, axis=1), nm[inside]
        second = spline(at - away) - 2 * v[:, inside] + spline(at + away)
        every = np.stack([np.interp(nm, at, row) for row in second])
        for beyond, (a, b) in ((nm < at[0], (0, 1)), (nm > at[-1], (-1, -2))):
            steep = (second[:, b] - second[:, a]) / (at[b] - at[a])
            every[:, beyond] = second[:, [a]] + steep[:, None] * (nm[beyond] - at[a])
        sharp: Array = v - every * square / away**2 / 12
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
