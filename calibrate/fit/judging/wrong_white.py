"""Whether a white is wrong that every ladder was let down with: accused last.

A wrong film of the white contradicts all ladders at once, and what is learnt of the model's error
then holds that mistake. So where that error is large, each film of a white alone is left out in
turn. If without it the error falls to less than half, the film is what was wrong, and not the
model; real paint, which a model holds less well, shows nothing of the kind.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.finding import Finding
from ..problem.settings import FitSettings
from ..solver.solve import Solution
from .trust import say_left

_LARGE = 2.5
"""Learnt model error over the least from which a white is looked at."""
_FALLS = 0.5
"""To what share of itself that must fall without a film of the white."""

Without = Callable[[Finding], tuple[Solution, Array, FitSettings]]
"""Solve again with no say for a step: solution, weights as if it had some, and what was learnt."""


def wrong_white(problem: Problem, settings: FitSettings, without: Without) -> Finding | None:
    """Find the film of a white that all ladders contradict.

    Parameters
    ----------
    problem : Problem
    settings : FitSettings
        As learnt from all that is trusted.
    without : callable

    Returns
    -------
    Finding or None
    """
    if settings.known_spread < _LARGE * settings.least_spread:
        return None
    best, found = _FALLS * settings.known_spread, None
    for trial in _films_of_whites(problem):
        solution, weight, learnt = without(trial)
        if learnt.known_spread < best:
            rows = list(trial.rows)
            off = np.where(weight[rows] > 0, problem.measured[rows] - solution.fitted[rows], 0.0)
            gain = float((weight[rows] * off**2).sum() / 2)
            best, found = learnt.known_spread, (trial, gain)
    if found is None:
        return None
    trial, gain = found
    return replace(trial, gain=gain, say=say_left(gain, len(trial.rows)))


def _films_of_whites(problem: Problem) -> Iterator[Finding]:
    """Each drawdown of a white alone, as what would be said of it."""
    holds = problem.fractions > 0
    alone = (holds.sum(axis=1) == 1) & holds[:, list(problem.hubs)].any(axis=1)
    flag = "doesn't fit the ladders let down with it"
    for d in np.flatnonzero(alone).tolist():
        rows = tuple(np.flatnonzero(problem.drawdown == d).tolist())
        if rows:
            patch = problem.patches[rows[0]]
            words = f"step {patch.step} of card {patch.card} {flag}"
            yield Finding("wrong step", patch.card, (patch.step,), rows, words, flag, 0.0)
