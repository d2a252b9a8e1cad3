"""Spectra: a table of readings over wavelength, with a flag for whatever is odd about one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntFlag

import numpy as np
from numpy.typing import NDArray

from ..errors import CalibrateDo, InputError

Array = NDArray[np.float64]

GRID: Array = np.arange(380.0, 731.0, 10.0)
"""The wavelengths used inside, nm."""

LOWEST, HIGHEST = -0.02, 1.3
"""A reflectance beyond these is impossible for a drawdown and is refused."""


class Flag(IntFlag):
    """What is odd about one value. A flagged value is kept as read.

    Examples
    --------
    >>> Flag.BELOW_ZERO | Flag.OUTLYING
    <Flag.BELOW_ZERO|OUTLYING: 34>
    """

    MISSING = 1
    BELOW_ZERO = 2
    ABOVE_ONE = 4
    BELOW_SURFACE = 8
    """Darker than the surface reflection alone: its inside reflectance is negative."""
    FLUORESCENT = 16
    """Of a bare card that glows: brightened stock, which reads differently under each lamp."""
    OUTLYING = 32
    """Of a reading that doesn't belong to the repeats of its patch."""
    CLIPPED = 64
    """At the end of a scale: a channel of a scanned patch, or an instrument's full scale."""


_OF_SIZE = np.uint16(Flag.BELOW_ZERO | Flag.ABOVE_ONE)


@dataclass(frozen=True)
class Spectra:
    """Reflectance spectra on one wavelength grid.

    Attributes
    ----------
    wavelengths : (W,) array, nm, increasing
    values : (N, W) array
        Reflectance as a fraction; NaN where missing.
    labels : tuple of N str
    flags : (N, W) array of uint16
        `Flag` bits.

    Examples
    --------
    >>> read = Spectra.from_values([400, 500, 600], [[0.1, 0.5, 1.02]], ["tile"])
    >>> len(read), read.values[0, 1].item()
    (1, 0.5)
    """

    wavelengths: Array
    values: Array
    labels: tuple[str, ...]
    flags: NDArray[np.uint16]

    @classmethod
    def from_values(
        cls, wavelengths: Sequence[float] | Array, values: Array, labels: Sequence[str]
    ) -> Spectra:
        """Make spectra and flag missing values and small excursions beyond 0 to 1.

        Parameters
        ----------
        wavelengths : (W,) array, nm
        values : (N, W) array
            Reflectance, 0-1; NaN where missing.
        labels : sequence of N str

        Returns
        -------
        Spectra

        Raises
        ------
        ValueError
            Where shapes disagree or wavelengths don't increase.

        Examples
        --------
        >>> read = Spectra.from_values([400, 410], [[0.2, float("nan")]], ["patch"])
        >>> read.flagged()
        [('patch', 410.0, <Flag.MISSING: 1>)]
        """
        wl = np.asarray(wavelengths, dtype=float)
        v = np.atleast_2d(np.asarray(values, dtype=float))
        if v.shape != (len(labels), wl.size):
            raise ValueError(f"values {v.shape} for {len(labels)} labels and {wl.size} wavelengths")
        if wl.size > 1 and not np.all(np.diff(wl) > 0):
            raise ValueError("wavelengths must increase")
        flags = np.zeros(v.shape, dtype=np.uint16)
        spectra = cls(wl, v, tuple(labels), flags)
        return (
            spectra.flag(np.isnan(v), Flag.MISSING)
            .flag(v < 0, Flag.BELOW_ZERO)
            .flag(v > 1, Flag.ABOVE_ONE)
        )

    def flag(self, where: NDArray[np.bool_], flag: Flag) -> Spectra:
        """Flag the same spectra once more.

        Parameters
        ----------
        where : (N, W) bool array
        flag : Flag

        Returns
        -------
        Spectra

        Examples
        --------
        >>> read = Spectra.from_values([430, 440], [[0.8, 0.9]], ["bare/white"])
        >>> read.flag(read.values > 0.85, Flag.FLUORESCENT).flagged()
        [('bare/white', 440.0, <Flag.FLUORESCENT: 16>)]
        """
        return replace(self, flags=self.flags | np.where(where, np.uint16(flag), np.uint16(0)))

    def with_values(self, values: Array) -> Spectra:
        """Return the same readings with other values (N, W).

        Flags of a value's size follow the new values; what is odd about a reading stays.

        Examples
        --------
        >>> over = Spectra.from_values([400], [[1.01]], ["white"])
        >>> over.with_values(over.values - 0.02).flagged()
        []
        """
        made = Spectra.from_values(self.wavelengths, values, self.labels)
        return replace(made, flags=made.flags | (self.flags & ~_OF_SIZE))

    def __len__(self) -> int:
        return len(self.labels)

    def select(self, rows: Sequence[int] | NDArray[np.intp]) -> Spectra:
        """Return the given rows.

        Examples
        --------
        >>> read = Spectra.from_values([400, 410], [[0.2, 0.3], [0.6, 0.7]], ["tint", "white"])
        >>> read.select([1]).values.tolist()
        [[0.6, 0.7]]
        """
        index = np.asarray(rows, dtype=np.intp)
        labels = tuple(self.labels[i] for i in index)
        return replace(self, values=self.values[index], flags=self.flags[index], labels=labels)

    def flagged(self) -> list[tuple[str, float, Flag]]:
        """List each flagged value as (label, wavelength, flag).

        Examples
        --------
        >>> Spectra.from_values([400], [[1.01]], ["white"]).flagged()
        [('white', 400.0, <Flag.ABOVE_ONE: 4>)]
        """
        rows, columns = np.nonzero(self.flags)
        return [
            (self.labels[r], float(self.wavelengths[c]), Flag(int(self.flags[r, c])))
            for r, c in zip(rows, columns, strict=True)
        ]


def check_possible(spectra: Spectra, file: str | None = None) -> None:
    """Refuse reflectances that no drawdown can have.

    Parameters
    ----------
    spectra : Spectra
    file : str, optional
        To be named.

    Raises
    ------
    InputError
        Naming the first value below `LOWEST` or above `HIGHEST`.
    """
    with np.errstate(invalid="ignore"):
        bad = (spectra.values < LOWEST) | (spectra.values > HIGHEST)
    if bad.any():
        row, column = np.argwhere(bad)[0]
        raise InputError(
            file,
            f"{spectra.labels[row]} at {spectra.wavelengths[column]:g} nm",
            f"expected a reflectance from {LOWEST} to {HIGHEST}, "
            f"got {spectra.values[row, column]:g}",
            CalibrateDo.CHECK_UNIT(),
        )


_SPRAGUE = (
    np.array(
        [
            [0, 0, 24, 0, 0, 0],
            [2, -16, 0, 16, -2, 0],
            [-1, 16, -30, 16, -1, 0],
            [-9, 39, -70, 66, -33, 7],
            [13, -64, 126, -124, 61, -12],
            [-5, 25, -50, 50, -25, 5],
        ]
    )
    / 24.0
)
# Sprague's boundary points (CIE 167:2005): two before the first reading, from six readings.
_SPRAGUE_EDGE = (
    np.array([[884, -1960, 3033, -2648, 1080, -180], [508, -540, 488, -367, 144, -24]]) / 209.0
)


def _sprague(wl: Array, values: Array, at: Array) -> Array:
    step = wl[1] - wl[0]
    head = values[:, :6] @ _SPRAGUE_EDGE.T
    tail = (values[:, :-7:-1] @ _SPRAGUE_EDGE.T)[:, ::-1]
    padded = np.concatenate([head, values, tail], axis=1)
    position = (at - wl[0]) / step
    i = np.clip(np.floor(position + 1e-9).astype(int), 0, wl.size - 2)
    x = position - i
    powers = x[:, None] ** np.arange(6)
    weights = powers @ _SPRAGUE
    window = padded[:, i[:, None] + np.arange(6)]
    result: Array = np.einsum("aj,naj->na", weights, window)
    return result


def _triangular(wl: Array, values: Array, at: Array) -> Array:
    off = wl[None, :] - at[:, None]
    weights = np.clip(1 - np.abs(off) / 10.0, 0, None)
    # A triangle cut by the end of the range leans inwards: weigh so that a straight line stays one.
    m0, m1, m2 = ((weights * off**n).sum(axis=1, keepdims=True) for n in range(3))
    weights = weights * (m2 - m1 * off) / (m0 * m2 - m1**2)
    result: Array = values @ weights.T
    return result


def to_grid(spectra: Spectra, grid: Array = GRID) -> Spectra:
    """Bring spectra to another grid; nothing is extrapolated.

    Equal steps of 10 nm or more are interpolated by Sprague's method, finer equal steps averaged
    over a triangle of 10 nm half-width, unequal steps interpolated by a monotone cubic. Grid points
    outside the readings, or beside a missing one, are NaN and flagged missing.

    Parameters
    ----------
    spectra : Spectra
    grid : (G,) array, nm

    Returns
    -------
    Spectra
        Of the same readings; values (N, G).

    References
    ----------
    CIE 167:2005, Recommended practice for tabulating spectral data for use in colour computations.

    Examples
    --------
    Readings of 400-700 nm by 20 nm, on the grid of 380-730 nm by 10 nm:

    >>> wavelengths = np.arange(400, 701, 20.0)
    >>> read = to_grid(Spectra.from_values(wavelengths, [wavelengths / 1000], ["ramp"]))
    >>> read.values[0, :4].round(3).tolist()
    [nan, nan, 0.4, 0.41]
    """
    wl, v = spectra.wavelengths, spectra.values
    inside = (grid >= wl[0] - 1e-9) & (grid <= wl[-1] + 1e-9)
    at = np.clip(grid[inside], wl[0], wl[-1])
    nearest = np.abs(at[:, None] - wl[None, :]).argmin(axis=1)
    out = np.full((len(spectra), grid.size), np.nan)
    flags = np.zeros(out.shape, dtype=np.uint16)
    steps = np.diff(wl)
    equal = wl.size > 1 and bool(np.allclose(steps, steps[0], atol=1e-6))
    gaps = np.isnan(v).any(axis=1)
    if np.allclose(wl[nearest], at, atol=1e-6) and (not equal or steps[0] >= 10 - 1e-6):
        out[:, inside] = v[:, nearest]
    else:
        from scipy.interpolate import PchipInterpolator  # slow to load, and seldom needed

        whole = np.flatnonzero(~gaps)
        if equal and steps[0] < 10 - 1e-6:
            out[np.ix_(whole, inside)] = _triangular(wl, v[whole], at)
        elif equal and wl.size >= 6:
            out[np.ix_(whole, inside)] = _sprague(wl, v[whole], at)
        elif whole.size:
            out[np.ix_(whole, inside)] = PchipInterpolator(wl, v[whole], axis=1)(at)
        left = np.clip(np.searchsorted(wl, at, side="right") - 1, 0, wl.size - 2)
        on_reading = np.isclose(wl[nearest], at, atol=1e-6)
        for row in np.flatnonzero(gaps):
            good = ~np.isnan(v[row])
            if good.sum() >= 2:
                filled = PchipInterpolator(wl[good], v[row, good], extrapolate=False)(at)
                whole_step = good[left] & good[left + 1]
                filled[~np.where(on_reading, good[nearest], whole_step)] = np.nan
                out[row, inside] = filled
    flags[:, inside] = spectra.flags[:, nearest]
    flags[~np.isnan(out)] &= ~np.uint16(Flag.MISSING)
    return Spectra(grid, out, spectra.labels, flags).flag(np.isnan(out), Flag.MISSING)
