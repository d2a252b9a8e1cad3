"""What no film that absorbs and scatters can do: paints for which no K and S hold.

A film gives back no more light than the whites beside it let it, at any wavelength: what lies above
them is light that the paint took in elsewhere, and fluoresces. Whoever lifts an instrument and sets
it down again reads a film of pigment alike; flakes of metal, of pearl or of interference pigment
mirror another way at every place. Both limits are our own choice: wide enough for sound
instruments, and far from what such paints show.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from ..problem.arrays import Problem

_MORE = 0.04
"""Reflectance above the lightest white beside it from which a patch glows."""
_BESIDE = 3
"""Neighbouring wavelengths that must show it."""
_APART = 0.03
"""Relative standard deviation of a patch's repeats from which they disagree."""
_THAN_OTHERS = 4.0
"""How many times as far apart they must be as those of patches without the paint."""


def beyond_films(problem: Problem, paint: int) -> list[str]:
    """What a paint's patches show that no K and S can hold for.

    Parameters
    ----------
    problem : Problem
    paint : int
        Column of the problem.

    Returns
    -------
    list of str
        A sentence each; none of a sound paint.
    """
    holds = problem.fractions[problem.drawdown, paint] > 0
    if paint in problem.hubs or not holds.any():
        return []
    return [*_glows(problem, holds), *_glints(problem, holds)]


def _glows(problem: Problem, holds: NDArray[np.bool_]) -> list[str]:
    """Where the paint's patches are lighter than every white."""
    with np.errstate(invalid="ignore"):
        above = problem.measured[holds] - np.maximum(_lightest(problem), 0.5) > _MORE
    run = np.lib.stride_tricks.sliding_window_view(above, _BESIDE, axis=1).all(axis=2)
    if not run.any():
        return []
    at = problem.wavelengths[int(run.sum(axis=0).argmax()) + _BESIDE // 2]
    return [
        f"near {at:.0f} nm it gives off more light than the whites beside it: it is fluorescent, "
        "and no K and S hold for that; don't mix by it"
    ]


@lru_cache(maxsize=4)
def _lightest(problem: Problem) -> Array:
    """What the lightest white of all cards reads, bare ones included, (W,)."""
    white = problem.fractions[problem.drawdown][:, list(problem.hubs)].sum(axis=1) > 1 - 1e-9
    whites = np.concatenate([problem.measured[white], problem.bare])
    return np.asarray(np.nan_to_num(whites, nan=-1.0).max(axis=0))


def _glints(problem: Problem, holds: NDArray[np.bool_]) -> list[str]:
    """Whether readings of the paint's patches, lifted and set down again, disagree."""
    read_again, apart = _repeats(problem)
    own, rest = apart[holds & read_again], apart[~holds & read_again]
    if own.size < 2:
        return []
    # In most patches, that is: one reading gone wrong is no flake.
    level, usual = _level(own), _level(rest)
    if level < max(_APART, _THAN_OTHERS * usual) or np.median(own) < _APART / 2:
        return []
    return [
        f"readings of one patch differ by {100 * level:.0f} %: metallic, pearl or interference "
        "flakes do that, and no K and S hold for them; don't mix by it, or lift the instrument and "
        "read again"
    ]


@lru_cache(maxsize=4)
def _repeats(problem: Problem) -> tuple[NDArray[np.bool_], Array]:
    """Which patches were read more than once, and how far their readings are apart, (N,) each."""
    again = np.array([p.repeats > 1 for p in problem.patches])
    return again, np.array([p.apart for p in problem.patches])


def _level(apart: Array) -> float:
    return float(np.sqrt(np.mean(apart**2))) if apart.size else 0.0
