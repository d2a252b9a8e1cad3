"""Colour of a reflectance: CIELAB, CIEDE2000 and what a display can show of it.

The weights of observers and lights are colour-science's, kept in a table beside this file that
``python -m tests.weights_table`` makes: loading that package takes longer than a prediction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from .spectra import GRID, Array

# CIELAB's cube root gives way to a line below (6/29)^3 (ISO/CIE 11664-4).
_EPSILON = (6 / 29) ** 3
_SLOPE = 1 / (3 * (6 / 29) ** 2)
ILLUMINANTS = ("D50", "D65", "A")
OBSERVERS = (2, 10)
WEIGHTS_TABLE = "weights.csv"
WEIGHTS_GRID: Array = np.arange(360.0, 781.0, 10.0)
"""Wavelengths of the table, nm."""
PERCENT = 2.0
"""No reading is brighter than this as a fraction of the perfect diffuser: it is in percent."""


@dataclass(frozen=True)
class View:
    """An illuminant and an observer; D50 and 2 degrees by default (ISO 13655).

    Attributes
    ----------
    illuminant : {"D50", "D65", "A"}
    observer : {2, 10}
        Field of view in degrees: the CIE 1931 or the CIE 1964 standard observer.
    """

    illuminant: str = "D50"
    observer: int = 2

    def __post_init__(self) -> None:
        if self.illuminant not in ILLUMINANTS or self.observer not in OBSERVERS:
            raise ValueError(
                f"there is no table of {self}; the illuminants are {', '.join(ILLUMINANTS)}, the "
                "observers 2 and 10 degrees"
            )

    def __str__(self) -> str:
        return f"{self.illuminant}/{self.observer}°"


D50 = View()


@cache
def _table() -> dict[View, Array]:
    """Weights of every view over `WEIGHTS_GRID`, (W, 3) each; those of Y sum to 1."""
    text = (files(__package__) / WEIGHTS_TABLE).read_text(encoding="ascii").splitlines()
    columns = np.array([line.split(",")[1:] for line in text[1:]], dtype=float)
    views = [View(light, observer) for light in ILLUMINANTS for observer in OBSERVERS]
    return {view: columns[:, 3 * i : 3 * i + 3] for i, view in enumerate(views)}


@lru_cache(maxsize=256)
def _weights(view: View, wavelengths: bytes) -> tuple[Array, Array]:
    grid = np.frombuffer(wavelengths, dtype=float)
    if not np.isin(grid, WEIGHTS_GRID).all() or not np.allclose(np.diff(grid), 10):
        raise ValueError(
            f"colour needs readings 10 nm apart at whole tens within 360-780 nm, not at "
            f"{', '.join(f'{w:g}' for w in grid[:3])}, ... nm; bring them there with to_grid"
        )
    full = _table()[view]
    # ASTM E308: weights beyond the readings go to the first and the last reading.
    index = np.clip((WEIGHTS_GRID - grid[0]) / 10, 0, grid.size - 1).astype(int)
    folded = np.zeros((grid.size, 3))
    np.add.at(folded, index, full)
    return folded, full.sum(axis=0)


def weights(wavelengths: Array = GRID, view: View = D50) -> tuple[Array, Array]:
    """Weights that turn reflectance into tristimulus values.

    Parameters
    ----------
    wavelengths : (W,) array
        10 nm apart, within 360-780 nm.
    view : View

    Returns
    -------
    weights : (W, 3) array
    white : (3,) array
        Tristimulus values of the perfect diffuser, Y = 1.

    References
    ----------
    ASTM E308 (readings shorter than the observer's range), ASTM E2022 (weights).
    """
    return _weights(view, np.ascontiguousarray(wavelengths, dtype=float).tobytes())


def _readings(reflectance: Array, wavelengths: Array) -> Array:
    """Reflectances as rows (N, W), with one sentence where they can't be those of a paint."""
    r = np.atleast_2d(np.asarray(reflectance, dtype=float))
    if r.ndim != 2 or r.shape[1] != len(wavelengths):
        raise ValueError(
            f"reflectance of shape {np.shape(reflectance)} for {len(wavelengths)} wavelengths "
            f"({wavelengths[0]:g}-{wavelengths[-1]:g} nm); give the wavelengths it was read at"
        )
    return r


def check_fraction(reflectance: Array) -> None:
    """Refuse reflectances in percent with a ValueError, where they are plainly that."""
    most = np.fmax.reduce(np.asarray(reflectance, dtype=float), axis=None, initial=0.0)
    if most > PERCENT:
        raise ValueError(
            f"a reflectance of {most:g} is in percent; divide by 100, for the perfect diffuser is 1"
        )


def xyz(reflectance: Array, wavelengths: Array = GRID, view: View = D50) -> Array:
    """Tristimulus values of reflectances (N, W), Y = 1 for the perfect diffuser; (N, 3).

    Wavelengths at which a row is NaN at either end of its range are treated as unread (ASTM E308);
    a gap inside its range makes the row NaN.
    """
    r = _readings(reflectance, wavelengths)
    read = ~np.isnan(r)
    out = np.empty((r.shape[0], 3))
    masks, which = np.unique(read, axis=0, return_inverse=True)
    for i, mask in enumerate(masks):
        rows = np.flatnonzero(which.ravel() == i)
        good = np.flatnonzero(mask)
        if good.size == 0 or good[-1] - good[0] + 1 != good.size:
            out[rows] = np.nan
            continue
        w, _ = weights(wavelengths[good], view)
        out[rows] = r[np.ix_(rows, good)] @ w
    return out


def _f(t: Array) -> Array:
    return np.where(t > _EPSILON, np.cbrt(np.maximum(t, _EPSILON)), _SLOPE * t + 4 / 29)


def lab(reflectance: Array, wavelengths: Array = GRID, view: View = D50) -> Array:
    """CIELAB of reflectances (N, W): (N, 3)."""
    check_fraction(reflectance)
    return lab_of_xyz(xyz(reflectance, wavelengths, view) / weights(GRID, view)[1])


def lab_jacobian(reflectance: Array, wavelengths: Array = GRID, view: View = D50) -> Array:
    """Derivative of CIELAB by reflectance, (N, 3, W), for rows (N, W).

    Unread wavelengths at the ends of a row move nothing: its colour is that of the rest (`xyz`).
    """
    r = np.atleast_2d(reflectance)
    _, white = weights(GRID, view)
    t = xyz(r, wavelengths, view) / white
    slope = np.where(t > _EPSILON, 1 / (3 * np.cbrt(np.maximum(t, _EPSILON)) ** 2), _SLOPE)
    w = np.zeros((*r.shape, 3))
    masks, which = np.unique(~np.isnan(r), axis=0, return_inverse=True)
    for i, good in enumerate(masks):
        if good.any():
            w[np.ix_(which.ravel() == i, good)] = weights(wavelengths[good], view)[0]
    df = slope[:, :, None] * (w / white).transpose(0, 2, 1)
    return np.stack(
        [116 * df[:, 1], 500 * (df[:, 0] - df[:, 1]), 200 * (df[:, 1] - df[:, 2])], axis=1
    )


def chroma_hue(colours: Array) -> tuple[Array, Array]:
    """Chroma C* and hue angle (degrees, 0-360) of CIELAB colours (..., 3)."""
    a, b = colours[..., 1], colours[..., 2]
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def ciede2000(one: Array, other: Array) -> Array:
    """CIEDE2000 colour difference of CIELAB colours (..., 3), ISO/CIE 11664-6."""
    (l1, a1, b1), (l2, a2, b2) = (np.moveaxis(np.asarray(c, float), -1, 0) for c in (one, other))
    stretch = 1.5 - 0.5 * _fullness((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2)
    c1, c2 = np.hypot(stretch * a1, b1), np.hypot(stretch * a2, b2)
    h1, h2 = (np.degrees(np.arctan2(b, stretch * a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    # A grey has no hue: the difference of hue is none, and the other's hue is the mean.
    grey = c1 * c2 == 0
    turn = np.where(grey, 0.0, h2 - h1)
    turn = turn - 360 * (turn > 180) + 360 * (turn < -180)
    hue = np.where(grey, h1 + h2, h1 + turn / 2) % 360
    light, chroma = ((l1 + l2) / 2 - 50) ** 2, (c1 + c2) / 2
    t = (
        1
        - 0.17 * _cos(hue - 30)
        + 0.24 * _cos(2 * hue)
        + 0.32 * _cos(3 * hue + 6)
        - 0.20 * _cos(4 * hue - 63)
    )
    d_l = (l2 - l1) / (1 + 0.015 * light / np.sqrt(20 + light))
    d_c = (c2 - c1) / (1 + 0.045 * chroma)
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2)) / (1 + 0.015 * chroma * t)
    blue = np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2)))
    rotation = -2 * _fullness(chroma) * np.sin(blue)
    result: Array = np.sqrt(np.maximum(d_l**2 + d_c**2 + d_h**2 + rotation * d_c * d_h, 0))
    return result


def _fullness(chroma: Array) -> Array:
    result: Array = np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    return result


def _cos(degrees: Array) -> Array:
    result: Array = np.cos(np.radians(degrees))
    return result


def ciede2000_metric(colours: Array) -> Array:
    """CIEDE2000 near a colour as a quadratic form, (N, 3, 3): ``dE^2 = d @ metric @ d``.

    Notes
    -----
    Taken by small steps along and between the axes; CIEDE2000 has no closed metric.
    """
    c = np.atleast_2d(colours)
    h = 1e-2
    steps = np.eye(3) * h
    square = np.empty((3, 3, len(c)))
    for i in range(3):
        for j in range(i, 3):
            step = steps[i] if i == j else steps[i] + steps[j]
            square[i, j] = ciede2000(c - step / 2, c + step / 2) ** 2 / h**2
    metric = np.empty((len(c), 3, 3))
    for i in range(3):
        for j in range(i, 3):
            mixed = square[i, j] if i == j else (square[i, j] - square[i, i] - square[j, j]) / 2
            metric[:, i, j] = metric[:, j, i] = mixed
    return metric


def ciede2000_band(colours: Array, covariance: Array) -> Array:
    """CIEDE2000 that a colour stays within with 95 % probability, (N,).

    Parameters
    ----------
    colours : (N, 3) array
        CIELAB.
    covariance : (N, 3, 3) array
        Of CIELAB.

    Notes
    -----
    The squared distance is a sum of squared normal variables; its 95th percentile is that of a
    scaled chi-square of the same mean and variance (Welch-Satterthwaite, JCGM 100, G.4).
    """
    product = ciede2000_metric(colours) @ np.atleast_3d(covariance)
    mean = np.trace(product, axis1=1, axis2=2)
    spread = 2 * np.trace(product @ product, axis1=1, axis2=2)
    # A colour that is sure has no freedom, and no band.
    freedom = np.where(mean > 0, 2 * mean**2 / np.maximum(spread, 1e-300), 1.0)
    result: Array = np.sqrt(mean * chi_square_95(freedom) / freedom)
    return result


def chi_square_95(freedom: Array) -> Array:
    """95th percentile of chi-square for 1 to 3 degrees of freedom, whole or not.

    Notes
    -----
    Newton's steps on the series of the incomplete gamma function; scipy's takes longer to load
    than a prediction takes in all.
    """
    half = np.asarray(freedom, dtype=float) / 2
    over_gamma = np.exp([-math.lgamma(h + 1) for h in half.ravel()]).reshape(half.shape)
    x = np.full(half.shape, 3.0)  # half the percentile
    for _ in range(8):
        term = total = np.ones_like(x)
        for n in range(1, 40):
            term = term * x / (half + n)
            total = total + term
        density = x**half * np.exp(-x) * over_gamma
        x = x - (density * total - 0.95) / (density * half / x)
    return 2 * x


def srgb(reflectance: Array, wavelengths: Array = GRID) -> tuple[Array, NDArray[np.bool_]]:
    """What a display shows of reflectances (N, W) lit by D50.

    Returns
    -------
    rgb : (N, 3) array
        sRGB (IEC 61966-2-1), 0-1, adapted from D50 to D65 by the Bradford transform; cut to range.
    out_of_gamut : (N,) bool array
        Where it had to be cut by more than one 8-bit step.
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
    t = np.where(f > 6 / 29, f**3, (f - 4 / 29) / _SLOPE)
    return srgb_of_xyz(t * weights(GRID, D50)[1])


def hex_code(rgb: Array) -> str:
    """Write an sRGB colour (3,), 0-1, as #rrggbb."""
    return "#" + "".join(f"{round(255 * float(x)):02x}" for x in rgb)


def in_words(difference: float) -> str:
    """A CIEDE2000 difference in everyday words (a rule of thumb, no source)."""
    if difference < 1:
        return "hard to see"
    if difference < 2:
        return "seen side by side only"
    if difference < 5:
        return "a near miss"
    return "a different colour"


def srgb_to_lab(rgb: Array) -> Array:
    """CIELAB under D50 of sRGB (N, 3), 0-1, adapted from D65 by the Bradford transform."""
    v = np.atleast_2d(np.asarray(rgb, dtype=float))
    linear = np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0) + 0.055) / 1.055) ** 2.4)
    x = linear @ (_adapted(_D65_XY, _D50_XY) @ _FROM_LINEAR).T
    return lab_of_xyz(x / weights(GRID, D50)[1])


def lab_of_xyz(over_white: Array) -> Array:
    """CIELAB (N, 3) of tristimulus values (N, 3), each divided by the white's."""
    f = _f(over_white)
    return np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1
    )
