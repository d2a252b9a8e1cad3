"""Finds patches and steps that don't belong, and says which and why.

The likeliest explanation is reported (`tintladder.calibrate.fit.judging.explanations`); what one
leaves odd, the next look finds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.finding import Finding
from ..problem.settings import FitSettings
from ..problem.spread import each
from ..solver.clusters import clusters
from ..solver.normal import Prior
from ..solver.solve import Solution
from .explanations import Inquiry
from .trust import say_left


def find(
    problem: Problem,
    prior: Prior,
    solution: Solution,
    weight: Array,
    held: Sequence[int] = (),
) -> list[Finding]:
    """Look for what doesn't belong: the likeliest among each paint's patches and the whites'.

    A wrong step of one ladder pulls at its white: the white is blamed only where most ladders do.

    Parameters
    ----------
    problem : Problem
    prior : Prior
    solution : Solution
    weight : (N, W) array
        Inverse variance of each reading; 0 for what has no say.
    held : sequence of int
        Places of paints that are given and not judged.

    Returns
    -------
    list of Finding
    """
    blocks = clusters(problem)[0]
    whites = [block for block in blocks if not block.own]
    ladders = [block for block in blocks if block.own]
    of_whites = {int(n) for block in whites for n in block.rows}
    asked = [i for i, block in enumerate(blocks) if block.own or not ladders]
    shared = _Asked(problem, prior, solution.theta, weight, held)
    likely = [found for found in each(_findings_of, shared, asked) if found]
    blame = sum(bool(of_whites & set(found[0].rows)) for found in likely)
    if ladders and 2 * blame <= len(ladders):
        likely = [[f for f in found if not of_whites & set(f.rows)] for found in likely]
    return list({found[0].rows: found[0] for found in likely if found}.values())


class _Asked(NamedTuple):
    """What every ladder is looked at with."""

    problem: Problem
    prior: Prior
    theta: Array
    weight: Array
    held: Sequence[int]


def _findings_of(asked: _Asked, place: int) -> list[Finding]:
    """What doesn't belong in one block of the problem, seen with the whites'."""
    blocks = clusters(asked.problem)[0]
    block = blocks[place]
    together = [block, *(other for other in blocks if not other.own and other is not block)]
    problem, prior, theta, weight, held = asked
    return Inquiry(problem, together, prior, theta, weight, held).findings()


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
