"""What a monochromator moves along the wavelengths and smears over them, undone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...optics.spectra import Array

NODES = np.array([-np.sqrt(0.4), 0.0, np.sqrt(0.4)])
SHARES = np.array([5 / 24, 7 / 12, 5 / 24])
"""Places, in full widths at half height, and weights: a triangle's moments up to the fifth."""
NARROW = 1.0
"""nm2; a narrower band is told by the second derivative alone."""
_TURNS = 2


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


def resolved(values: Array, wavelengths: Array, nm: Array, square: float) -> Array:
    """Undo a shift and a triangular band together, (N, W).

    The rules for either are exact for a cubic alone, and a paint's edge is none: so what the band
    would make of the answer is held against the readings, and what is missing is given back, itself
    seen through the band, so that noise that no reflectance can explain doesn't grow (Landweber
    1951, American Journal of Mathematics 73, 615-624; from memory).

    Parameters
    ----------
    values : (N, W) array
        Reflectance as read.
    wavelengths : (W,) array, nm
    nm : (W,) array
        What is said to be read at a wavelength was read so much above it.
    square : float
        Square of the band's full width at half height, nm2; below 0 the readings are too sharp.

    Returns
    -------
    (N, W) array
    """
    found = undo_band(values, wavelengths, square) if square else values
    if np.any(nm):
        found = unshift(wavelengths, found, nm)
    if square < NARROW:
        return found

    def turn(run: slice, both: Array) -> Array:
        read, now = both[: len(both) // 2], both[len(both) // 2 :]
        at = wavelengths[run], nm[run], square
        left = read - _seen(now, *at)
        return np.concatenate([read, now + _seen(left, at[0], 0 * nm[run], square)])

    for _ in range(_TURNS):
        found = _where_read(np.concatenate([values, found]), turn)[len(values) :]
    return found


def _seen(values: Array, wavelengths: Array, nm: Array, square: float) -> Array:
    """What a band sees of curves, (N, W), which run on in straight lines beyond their ends."""
    from scipy.interpolate import CubicSpline

    spline, total = CubicSpline(wavelengths, values, axis=1), np.zeros(values.shape)
    for node, share in zip(NODES, SHARES, strict=True):
        at = wavelengths + nm + np.sqrt(square) * node
        held = np.clip(at, wavelengths[0], wavelengths[-1])
        total += share * (spline(held) + spline(held, 1) * (at - held))
    return total


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
