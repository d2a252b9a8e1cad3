"""Colour of a reflectance: CIELAB, CIEDE2000 and what a display can show of it.

The weights of observers and lights are colour-science's, kept in a table beside this file that
``python -m tests.weights_table`` makes: loading that package takes longer than a prediction.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from .spectra import GRID, Array

# CIELAB's cube root gives way to a line below (6/29)^3 (ISO/CIE 11664-4).
_EPSILON = (6 / 29) ** 3
_DIFFERENT = 5.0
"""CIEDE2000 from which on it is called another colour."""
_SLOPE = 1 / (3 * (6 / 29) ** 2)
ILLUMINANTS = ("D50", "D65", "A", "LED-B3")
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
    illuminant : {"D50", "D65", "A", "LED-B3"}
    observer : {2, 10}
        Field of view in degrees: the CIE 1931 or the CIE 1964 standard observer.

    Examples
    --------
    >>> str(View("D65", 10))
    'D65/10°'
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
    if not set(grid.tolist()) <= set(WEIGHTS_GRID.tolist()) or not np.allclose(np.diff(grid), 10):
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

    Examples
    --------
    The white point of D50 for the 2 degree observer:

    >>> weights()[1].round(4).tolist()
    [0.9642, 1.0, 0.8251]
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


def _read_alike(read: NDArray[np.bool_]) -> Iterator[tuple[NDArray[np.bool_], NDArray[np.intp]]]:
    """Each set of wavelengths that rows (N, W) were read at, (W,), and which rows those are."""
    # Mostly there is one set, and sorting the rows would take longer than their colour.
    if (read == read[:1]).all():
        yield from ((mask, np.arange(len(read))) for mask in read[:1])
        return
    masks, which = np.unique(read, axis=0, return_inverse=True)
    for i, mask in enumerate(masks):
        yield mask, np.flatnonzero(which.ravel() == i)


def xyz(reflectance: Array, wavelengths: Array = GRID, view: View = D50) -> Array:
    """Tristimulus values, Y = 1 for the perfect diffuser.

    Wavelengths at which a row is NaN at either end of its range are treated as unread (ASTM E308);
    a gap inside its range makes the row NaN.

    Parameters
    ----------
    reflectance : (N, W) array
        0-1.
    wavelengths : (W,) array, nm
        10 nm apart.
    view : View
        Illuminant and observer.

    Returns
    -------
    (N, 3) array

    Raises
    ------
    ValueError
        For values that aren't one for each wavelength, or wavelengths that aren't whole tens.

    Examples
    --------
    >>> xyz(np.full(31, 0.18), np.arange(400, 701, 10.0)).round(3).tolist()
    [[0.174, 0.18, 0.149]]
    """
    r = _readings(reflectance, wavelengths)
    read = ~np.isnan(r)
    out = np.empty((r.shape[0], 3))
    for mask, rows in _read_alike(read):
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
    """CIELAB of reflectances.

    Parameters
    ----------
    reflectance : (N, W) array
        0-1.
    wavelengths : (W,) array, nm
        10 nm apart.
    view : View
        Illuminant and observer.

    Returns
    -------
    (N, 3) array
        L*, a*, b*.

    Raises
    ------
    ValueError
        As for `xyz`, and for reflectances in percent.

    Examples
    --------
    A red, dark below 590 nm:

    >>> wavelengths = np.arange(400, 701, 10.0)
    >>> lab(np.where(wavelengths < 590, 0.05, 0.6), wavelengths).round(1).tolist()
    [[51.8, 59.9, 43.2]]
    """
    check_fraction(reflectance)
    return lab_of_xyz(xyz(reflectance, wavelengths, view) / weights(GRID, view)[1])


def lab_jacobian(reflectance: Array, wavelengths: Array = GRID, view: View = D50) -> Array:
    """Derivative of CIELAB by reflectance.

    Unread wavelengths at the ends of a row move nothing: its colour is that of the rest (`xyz`).

    Parameters
    ----------
    reflectance : (N, W) array
        Without gaps inside its range.
    wavelengths : (W,) array, nm
    view : View

    Returns
    -------
    (N, 3, W) array
    """
    r = np.atleast_2d(reflectance)
    _, white = weights(GRID, view)
    t = xyz(r, wavelengths, view) / white
    slope = np.where(t > _EPSILON, 1 / (3 * np.cbrt(np.maximum(t, _EPSILON)) ** 2), _SLOPE)
    w = np.zeros((*r.shape, 3))
    for good, rows in _read_alike(~np.isnan(r)):
        if good.any():
            w[np.ix_(rows, good)] = weights(wavelengths[good], view)[0]
    df = slope[:, :, None] * (w / white).transpose(0, 2, 1)
    return np.stack(
        [116 * df[:, 1], 500 * (df[:, 0] - df[:, 1]), 200 * (df[:, 1] - df[:, 2])], axis=1
    )


def chroma_hue(colours: Array) -> tuple[Array, Array]:
    """Chroma C* and hue angle of CIELAB colours.

    Parameters
    ----------
    colours : (..., 3) array
        CIELAB.

    Returns
    -------
    chroma, hue : (...) array
        Hue in degrees, 0-360.

    Examples
    --------
    >>> chroma, hue = chroma_hue(np.array([50.0, 0.0, -20.0]))
    >>> float(chroma), float(hue)
    (20.0, 270.0)
    """
    a, b = colours[..., 1], colours[..., 2]
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def ciede2000(one: Array, other: Array) -> Array:
    """CIEDE2000 colour difference.

    Parameters
    ----------
    one, other : (..., 3) array
        CIELAB, of shapes that broadcast.

    Returns
    -------
    (...) array

    References
    ----------
    ISO/CIE 11664-6:2014.

    Examples
    --------
    >>> round(float(ciede2000([50, 2.5, 0], [73, 25, -18])), 4)
    27.1492
    """
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


def in_words(difference: float) -> str:
    """A CIEDE2000 difference in everyday words (a rule of thumb, no source).

    Examples
    --------
    >>> in_words(1.4)
    'seen side by side only'
    """
    if difference < 1:
        return "hard to see"
    if difference < 2:
        return "seen side by side only"
    if difference < _DIFFERENT:
        return "a near miss"
    return "a different colour"


def surely_in_words(difference: float, band: float) -> str:
    """Say a CIEDE2000 difference as surely as it is known: no comfort that its band takes back.

    Examples
    --------
    >>> surely_in_words(0.9, 3.0), surely_in_words(0.9, 12.0)
    ('hard to see', 'may be a different colour')
    """
    worst = in_words(band)
    if worst == in_words(_DIFFERENT) != in_words(difference):
        return f"may be {worst}"
    return in_words(difference)


def lab_of_xyz(over_white: Array) -> Array:
    """CIELAB (N, 3) of tristimulus values (N, 3), each divided by the white's."""
    f = _f(over_white)
    return np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1
    )
