"""How much say patches keep of which something was found.

A step or patch that doesn't belong is set aside. A paint alone is never: nothing else tells what it
does alone, and on real paint it is the step that a model holds least well. It keeps as much say as
its misfit leaves it, and a film that is only thinner than it was taken for keeps all of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.finding import Finding
from ..uncertainty.model_errors import FREEDOM, INDEPENDENT

FREE = 1.0
"""Prior standard deviation of the log thickness of a film that was found thin."""


def trust(problem: Problem, findings: Sequence[Finding]) -> Array:
    """Factor on each patch's weight, (N,): 0 where it is set aside.

    Parameters
    ----------
    problem : Problem
    findings : sequence of Finding
        What was found. One that would leave a paint without any reading changes nothing.

    Returns
    -------
    (N,) array
    """
    kept = np.ones(len(problem.patches))
    if all(finding.kind == "film" for finding in findings):
        return kept
    holds = problem.fractions > 0
    alone = holds.sum(axis=1) == 1
    told = holds[problem.drawdown].any(axis=0)
    # Of how many patches with some say each paint is a part.
    count = np.bincount(problem.drawdown, minlength=len(holds)) @ holds
    for finding in findings:
        if finding.kind == "film":
            continue
        rows = np.unique(finding.rows)
        of, before = problem.drawdown[rows], kept[rows] > 0
        if np.all((count > holds[of[before]].sum(axis=0))[told]):
            kept[rows] *= np.where(alone[of], finding.say, 0.0)
            count = count - holds[of[before & (kept[rows] == 0)]].sum(axis=0)
    return kept


def of_free_thickness(problem: Problem, findings: Sequence[Finding]) -> Problem:
    """The problem with the thickness free of each film that was found thin.

    Parameters
    ----------
    problem : Problem
    findings : sequence of Finding

    Returns
    -------
    Problem
        With the same nuisance values, in the same places.
    """
    rows = [row for finding in findings if finding.kind == "film" for row in finding.rows]
    places = own_thickness(problem, problem.drawdown[rows].tolist()).values()
    return freed(problem, places) if places else problem


def freed(problem: Problem, places: Iterable[int]) -> Problem:
    """The problem with some nuisance values free that are the thickness of films.

    Parameters
    ----------
    problem : Problem
    places : iterable of int
        See `own_thickness`.

    Returns
    -------
    Problem
    """
    nuisances = list(problem.nuisances)
    for m in places:
        nuisances[m] = replace(nuisances[m], spread=FREE)
    return replace(problem, nuisances=tuple(nuisances))


def say_left(gain: float, patches: int) -> float:
    """What say a misfit leaves to patches that aren't set aside, by Student's distribution.

    Parameters
    ----------
    gain : float
        Log likelihood that the rest gains without them.
    patches : int
        How many they are.

    Returns
    -------
    float
    """
    values = FREEDOM + INDEPENDENT * patches
    return values / (values + 2 * max(gain, 0.0))


def own_thickness(problem: Problem, drawdowns: Sequence[int]) -> dict[int, int]:
    """Which nuisance value is the thickness of each of some drawdowns alone.

    Parameters
    ----------
    problem : Problem
    drawdowns : sequence of int

    Returns
    -------
    mapping of drawdown to place
        Without those whose thickness isn't fitted, or was brushed.
    """
    asked = set(drawdowns)
    return {
        n.drawdowns[0]: m
        for m, n in enumerate(problem.nuisances)
        if n.kind == "thickness"
        and len(n.drawdowns) == 1
        and n.drawdowns[0] in asked
        and not problem.brushed[n.drawdowns[0]]
    }


def without(problem: Problem, kept: Array) -> Problem:
    """The problem with what is set aside unread.

    Parameters
    ----------
    problem : Problem
    kept : (N,) array
        Factor on the weight of each patch; 0 where set aside.

    Returns
    -------
    Problem
    """
    return replace(problem, measured=np.where(kept[:, None] > 0, problem.measured, np.nan))
