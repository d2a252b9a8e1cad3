"""What a display shows of a colour: sRGB, from light of D50 and back."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .colour import D50, lab_of_xyz, weights, xyz
from .spectra import GRID, Array


def srgb(reflectance: Array, wavelengths: Array = GRID) -> tuple[Array, NDArray[np.bool_]]:
    """What a display shows of reflectances (N, W) lit by D50.

    Parameters
    ----------
    reflectance : (N, W) or (W,) array, 0-1
    wavelengths : (W,) array, nm

    Returns
    -------
    rgb : (N, 3) array
        sRGB (IEC 61966-2-1), 0-1, adapted from D50 to D65 by the Bradford transform; cut to range.
    out_of_gamut : (N,) bool array
        Where it had to be cut by more than one 8-bit step.

    Examples
    --------
    >>> rgb, out_of_gamut = srgb(np.full(31, 0.18), np.arange(400, 701, 10.0))
    >>> hex_code(rgb[0]), bool(out_of_gamut[0])
    ('#767676', False)
    """
    return srgb_of_xyz(xyz(reflectance, wavelengths, D50))


# IEC 61966-2-1, to the four decimals it gives.
_TO_LINEAR = np.array(
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.204, 1.057]]
)
_FROM_LINEAR = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
_D50_XY, _D65_XY = (0.3457, 0.3585), (0.3127, 0.3290)


def _adapted(start: tuple[float, float], end: tuple[float, float]) -> Array:
    """Matrix that takes tristimulus values from one white to another."""
    whites = (np.array([x / y, 1.0, (1 - x - y) / y]) for x, y in (start, end))
    before, after = (_BRADFORD @ white for white in whites)
    result: Array = np.linalg.solve(_BRADFORD, (after / before)[:, None] * _BRADFORD)
    return result


def srgb_of_xyz(tristimulus: Array) -> tuple[Array, NDArray[np.bool_]]:
    """As `srgb`, from tristimulus values under D50, (N, 3)."""
    linear = np.asarray(tristimulus, dtype=float) @ (_TO_LINEAR @ _adapted(_D50_XY, _D65_XY)).T
    curved = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    rgb = np.where(linear <= 0.0031308, 12.92 * linear, curved)
    cut = np.clip(rgb, 0, 1)
    return cut, np.any(np.abs(rgb - cut) > 1 / 255, axis=-1)


def lab_to_srgb(colours: Array) -> tuple[Array, NDArray[np.bool_]]:
    """As `srgb`, from CIELAB under D50, (N, 3)."""
    c = np.atleast_2d(colours)
    fy = (c[:, 0] + 16) / 116
    f = np.stack([fy + c[:, 1] / 500, fy, fy - c[:, 2] / 200], axis=1)
    t = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    return srgb_of_xyz(t * weights(GRID, D50)[1])


def hex_code(rgb: Array) -> str:
    """Write an sRGB colour as #rrggbb.

    Parameters
    ----------
    rgb : (3,) array, 0-1

    Returns
    -------
    str

    Examples
    --------
    >>> hex_code(np.array([1.0, 0.5, 0.0]))
    '#ff8000'
    """
    return "#" + "".join(f"{round(255 * float(x)):02x}" for x in rgb)


def srgb_to_lab(rgb: Array) -> Array:
    """CIELAB under D50 of sRGB (N, 3), 0-1, adapted from D65 by the Bradford transform."""
    v = np.atleast_2d(np.asarray(rgb, dtype=float))
    linear = np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0) + 0.055) / 1.055) ** 2.4)
    x = linear @ (_adapted(_D65_XY, _D50_XY) @ _FROM_LINEAR).T
    return lab_of_xyz(x / weights(GRID, D50)[1])
