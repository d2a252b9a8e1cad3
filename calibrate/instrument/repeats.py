"""Repeats of a patch: their mean and its standard error, and a test for one that doesn't belong.

Averaging is ASTM E1345's, the test ASTM E178's for a single outlier, both from memory. A reading
that fails the test is flagged, never dropped.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..optics.colour import xyz
from ..optics.spectra import Array, Flag, Spectra, to_grid

ALPHA = 0.001
"""Share of good patches that the test flags: one in a thousand, for a card has dozens."""
_ENOUGH = 10
"""Degrees of freedom from which the other patches tell what scatter is usual."""
_MOST_NOISE = 0.005
"""Reflectance; repeats whose curves differ by more are of different places, and tell of no
noise."""
_EXACT = 1e-9
"""Rounding, for repeats that are alike to the last digit."""


@dataclass(frozen=True)
class Averaged:
    """Patches, each averaged over its repeats.

    Attributes
    ----------
    labels : tuple of P str
    mean : (P, W) array
    sd : (P, W) array
        Standard deviation of one reading; NaN for a patch read once.
    count : (P,) array
    """

    labels: tuple[str, ...]
    mean: Array
    sd: Array
    count: NDArray[np.intp]


def averaged(spectra: Spectra) -> Averaged:
    """Average the repeats of each patch, in the order of first readings."""
    labels = tuple(dict.fromkeys(spectra.labels))
    of = np.array([labels.index(label) for label in spectra.labels])
    count = np.bincount(of, minlength=len(labels))
    total = np.zeros((len(labels), spectra.wavelengths.size))
    np.add.at(total, of, spectra.values)
    mean = total / count[:, None]
    squares = np.zeros_like(total)
    np.add.at(squares, of, (spectra.values - mean[of]) ** 2)
    free = np.where(count > 1, count - 1, np.nan)[:, None]
    return Averaged(labels, mean, np.sqrt(squares / free), count)


def noise_of_repeats(spectra: Spectra) -> tuple[Array, Array, Array] | None:
    """How single values of repeats scatter about the mean of their patch, its level aside.

    Parameters
    ----------
    spectra : Spectra

    Returns
    -------
    level, square, variance : (P,) arrays, or None where no patch was read twice
        Mean and mean square of reflectance, and variance of one value, of each such patch.
    """
    labels = np.array(spectra.labels, dtype=object)
    found = []
    for label in dict.fromkeys(spectra.labels):
        values = spectra.values[labels == label]
        values = values[:, ~np.isnan(values).any(axis=0)]
        if len(values) < 2 or values.shape[1] < 3:
            continue
        mean = values.mean(axis=0)
        off = values - np.outer(values @ mean / (mean @ mean), mean)
        free = (len(values) - 1) * (values.shape[1] - 1)
        variance = (off**2).sum() / free
        if variance < _MOST_NOISE**2:
            found.append((np.abs(mean).mean(), (mean**2).mean(), variance))
    if not found:
        return None
    level, squares, variances = np.array(found).T
    return level, squares, variances


def repeats_needed(sd: float, wanted: float) -> int:
    """Return how many repeats bring the standard error of a mean down to what is wanted.

    Parameters
    ----------
    sd : float
        Standard deviation of one reading.
    wanted : float
        Standard error of the mean.

    Returns
    -------
    int
    """
    return max(1, int(np.ceil((sd / wanted) ** 2 - 1e-9)))


def critical(count: int, alpha: float = ALPHA, free: int | None = None) -> float:
    """Largest deviation from the mean, over the standard deviation, that may be chance; two-sided.

    Parameters
    ----------
    count : int
        Repeats, at least 3 without `free`, at least 2 with it.
    alpha : float
    free : int, optional
        Degrees of freedom of a standard deviation from elsewhere; else it is the repeats' own.

    Returns
    -------
    float
    """
    from scipy.stats import t as student

    if free is not None:
        bound = student.ppf(1 - alpha / (2 * count), free)
        return float(bound * np.sqrt((count - 1) / count))
    bound = student.ppf(1 - alpha / (2 * count), count - 2)
    return float((count - 1) / np.sqrt(count) * np.sqrt(bound**2 / (count - 2 + bound**2)))


def flag_outlying(spectra: Spectra) -> Spectra:
    """Flag readings that don't belong to the repeats of their patch.

    Tried on X, Y and Z, each at a third of `ALPHA`. What scatter is usual is learnt from the other
    patches where there are enough of them, so that two repeats can be told apart from chance; which
    of the two is wrong can't be told, and both are flagged.
    """
    seen = xyz(to_grid(spectra).values)
    labels = np.array(spectra.labels, dtype=object)
    groups = [np.flatnonzero(labels == label) for label in dict.fromkeys(spectra.labels)]
    groups = [rows for rows in groups if rows.size > 1 and not np.isnan(seen[rows]).any()]
    if not groups:
        return spectra
    free = np.array([rows.size - 1 for rows in groups])
    level = np.array([seen[rows].mean(axis=0) for rows in groups])
    squares = np.array(
        [((seen[r] - mean) ** 2).sum(axis=0) for r, mean in zip(groups, level, strict=True)]
    )
    unit = _even(level, squares, free)
    squares = squares / unit**2
    outlying = np.zeros(len(spectra), dtype=bool)
    for i, rows in enumerate(groups):
        others = int(free.sum() - free[i])
        if others >= _ENOUGH:
            sd = np.sqrt((squares.sum(axis=0) - squares[i]) / others)
            limit = critical(rows.size, ALPHA / 3, others) * sd
        elif rows.size > 2:
            limit = critical(rows.size, ALPHA / 3) * np.sqrt(squares[i] / free[i])
        else:
            continue
        off = (np.abs(seen[rows] - level[i]) / unit[i] - limit).max(axis=1)
        # A single outlier drags the mean, so that the others seem off as well: the farthest counts.
        outlying[rows] = (off > _EXACT) & (off >= off.max() - _EXACT)
    return spectra.flag(outlying[:, None], Flag.OUTLYING)


def _even(level: Array, squares: Array, free: NDArray[np.intp]) -> Array:
    """Unit in which the scatter of dark and pale patches is alike, (P, 3).

    Scatter goes as u + level: some instruments add the same to all, some in proportion. The u is
    the likeliest of a few.
    """
    best = np.full(3, -np.inf)
    unit = np.ones_like(level)
    for u in (100.0, 1.0, 0.3, 0.1, 0.03):
        tried = (u + level) / (u + 1)
        variance = (squares / tried**2).sum(axis=0) / free.sum()
        likelihood = -free @ np.log(tried) - free.sum() / 2 * np.log(variance + _EXACT**2)
        better = likelihood > best
        best = np.where(better, likelihood, best)
        unit = np.where(better, tried, unit)
    return unit
