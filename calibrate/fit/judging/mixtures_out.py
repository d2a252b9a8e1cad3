"""Mixtures left out of a fit that learnt from them: each is predicted by a fit without it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from ...cards.readings import CardReadings
from ...optics.coefficients import Coefficients
from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.result import WithoutMixtures
from ..solver.solve import Solution, solve

FOLDS = 5
"""So many parts of the mixtures, each left out once: a fit each."""
_TOLERANCE = 1e-4

Conclude = Callable[[Solution, Array], Coefficients]
"""From a solution and the weights it was found with to the coefficients of all paints."""


def without_mixtures(
    problem: Problem,
    solution: Solution,
    weight: Array,
    taught: Sequence[CardReadings],
    conclude: Conclude,
) -> Iterator[WithoutMixtures]:
    """Fit again without a part of the mixtures at a time; all else stays as it was chosen.

    Parameters
    ----------
    problem, solution
        With the mixtures.
    weight : (N, W) array
        Zero where a patch was set aside.
    taught : sequence of CardReadings
        The cards of mixtures.
    conclude : callable

    Yields
    ------
    WithoutMixtures

    Notes
    -----
    Mixtures of the same paints are left out together, so that none is predicted by what another of
    its own pair has taught.
    """
    cards = {r.card.name: r.card for r in taught}
    mixes = {
        (name, d.step): frozenset(card.held(d.step))
        for name, card in cards.items()
        for d in card.drawdowns
    }
    kinds = sorted({tuple(sorted(paints)) for paints in mixes.values()})
    folds = min(FOLDS, len(kinds))
    fold_of = {frozenset(kind): i % folds for i, kind in enumerate(kinds)}
    for fold in range(folds):
        left_out = tuple(mix for mix, paints in mixes.items() if fold_of[paints] == fold)
        rows = [i for i, p in enumerate(problem.patches) if (p.card, p.step) in left_out]
        kept = weight.copy()
        kept[rows] = 0.0
        again = solve(
            problem, solution.theta, solution.prior, kept, nu=solution.nu, tolerance=_TOLERANCE
        )
        yield WithoutMixtures(left_out, conclude(again, kept))
