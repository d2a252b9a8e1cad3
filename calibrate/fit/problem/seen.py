"""What the readings can tell, and what is odd about them."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from ...optics.coefficients import ABSOLUTE
from ...optics.spectra import Flag
from .arrays import Problem

FLAG_WORDS = {
    Flag.MISSING: "some wavelengths unread",
    Flag.BELOW_ZERO: "below zero",
    Flag.ABOVE_ONE: "above one",
    Flag.BELOW_SURFACE: "darker than the surface alone",
    Flag.FLUORESCENT: "on a card that glows near 440 nm",
    Flag.OUTLYING: "a reading unlike its repeats",
    Flag.CLIPPED: "a channel of its scan known from one side only",
}
"""What each flag of a patch says."""


def unread(problem: Problem) -> NDArray[np.bool_]:
    """Paints and wavelengths that no patch tells anything about, (P, W)."""
    film = problem.film[problem.drawdown][:, None]
    read = ~np.isnan(problem.measured) & ~(film & np.isnan(problem.bare))
    holds = problem.fractions[problem.drawdown] > 0
    result: NDArray[np.bool_] = ~((holds.T.astype(float) @ read.astype(float)) > 0)
    return result


def ratio_only(problem: Problem) -> NDArray[np.bool_]:
    """Paints and wavelengths of which only K/S follows, (P, W)."""
    if problem.scale != ABSOLUTE:
        return np.zeros((len(problem.paints), problem.wavelengths.size), dtype=bool)
    return ~sees_substrate(problem) & ~in_mixture(problem)[:, None]


def sees_substrate(problem: Problem) -> NDArray[np.bool_]:
    """Where some film of a paint alone shows its substrate by over three standard uncertainties.

    Returns
    -------
    (P, W) bool array
    """
    seen = np.zeros((len(problem.paints), problem.wavelengths.size), dtype=bool)
    pairs: dict[int, dict[str, int]] = defaultdict(dict)
    for n, patch in enumerate(problem.patches):
        pairs[patch.drawdown][patch.over] = n
    for drawdown, over in pairs.items():
        alone = np.flatnonzero(problem.fractions[drawdown] > 0)
        if len(over) == 2 and alone.size == 1 and problem.film[drawdown]:
            b, w = over["black"], over["white"]
            sd = np.sqrt(problem.variance[b] + problem.variance[w])
            with np.errstate(invalid="ignore"):
                difference = problem.measured[w] - problem.measured[b]
                seen[alone[0]] |= np.abs(difference) > 3 * sd
    return seen


def in_mixture(problem: Problem) -> NDArray[np.bool_]:
    """Whether each paint was read in a mix with another, (P,)."""
    holds = problem.fractions[problem.drawdown] > 0
    mixed = (holds.sum(axis=1) > 1) & ~np.isnan(problem.measured).all(axis=1)
    return np.asarray((holds & mixed[:, None]).any(axis=0))


def surface_darker(problem: Problem) -> NDArray[np.bool_]:
    """Readings darker than the surface reflection alone, beyond their own noise, (N, W)."""
    floor = np.array([s.alpha * s.k1 for s in problem.surfaces])
    with np.errstate(invalid="ignore"):
        below = problem.measured + 3 * np.sqrt(problem.variance) < floor[:, None]
    return below
