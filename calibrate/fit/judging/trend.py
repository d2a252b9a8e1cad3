"""How a ladder's apparent strength runs from step to step, and which story of it is likeliest.

Two fluxes don't hold a paint's absorption quite proportional to its share, but what they get wrong
runs smoothly along a ladder. A step that was weighed wrong, or that bears another step's label,
breaks the run. Each story (all is well; this step is off; these two are swapped) is a normal prior
on the steps' apparent strengths, and stories are compared by their marginal likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..solver.local import LOOSE, Settled

_SWING, _REACH = 0.3, 2.0
"""Standard deviation of the run of log strength, and over how much of log share it bends."""
_ROUGH = np.array([0.01, 0.02, 0.04, 0.08])
_UNLIKELY = np.array([0.0, 5.0, 12.0, 20.0])
"""What a step may lie off the run by itself, and how much less likely each is, in log odds, before
the ladder's own steps have spoken."""
_MASSTONE = 0.5
"""A paint without white is another medium: its strength tells little of the tints'."""
_OFF = 1.0
"""Standard deviation of log strength of a step that is off."""
FEWEST = 4
"""Tints that a run needs before it can speak."""

Story = tuple[str, tuple[int, ...]]


@dataclass(frozen=True)
class ReadLadder:
    """A paint's drawdowns alone and with one other paint.

    Attributes
    ----------
    drawdowns : (D,) int array
    log_share : (D,) array
    masstone : (D,) bool array
    chains : tuple of tuple of int
        Sets of steps, as places in `drawdowns`, that one wrong weighing would move together.
    """

    drawdowns: NDArray[np.intp]
    log_share: Array
    masstone: NDArray[np.bool_]
    chains: tuple[tuple[int, ...], ...]

    @cached_property
    def stories(self) -> tuple[Story, ...]:
        """All is well, one step off, one weighing of a chain off, two steps swapped."""
        each = range(self.drawdowns.size)
        single = [("off", (i,)) for i in each if not self.masstone[i]]
        chain = [("off", c) for c in self.chains]
        swaps = [
            ("swap", pair)
            for pair in combinations(each, 2)
            if self.log_share[pair[0]] != self.log_share[pair[1]]
        ]
        return (("well", ()), *single, *chain, *swaps)

    @cached_property
    def _priors(self) -> tuple[Array, Array, Array]:
        """Log strength in each story: mean (H, 1, D), inverse covariance (H, E, D, D), log size."""
        n = self.drawdowns.size
        order = np.tile(np.arange(n), (len(self.stories), 1))
        moved = np.zeros(order.shape)
        for h, (kind, steps) in enumerate(self.stories):
            if kind == "swap":
                order[h, steps] = steps[::-1]
            elif kind == "off":
                moved[h, steps] = 1.0
        x, masstone = self.log_share[order], self.masstone[order]
        run = _SWING**2 * np.exp(-0.5 * ((x[:, :, None] - x[:, None]) / _REACH) ** 2)
        # The level of a ladder is that of its K: any will do.
        run += 1.0 + _OFF**2 * (moved[:, :, None] * moved[:, None])
        np.einsum("hii->hi", run)[...] += _MASSTONE**2 * masstone
        covariances = run[:, None] + _ROUGH[:, None, None] ** 2 * np.eye(n)
        inverse = np.asarray(np.linalg.inv(covariances), dtype=float)
        size = np.asarray(np.linalg.slogdet(covariances)[1], dtype=float)
        return (x - self.log_share)[:, None], inverse, size

    def evidence(self, settled: Settled) -> Array:
        """Log marginal likelihood of each story, at its likeliest roughness, (H,)."""
        y, covariance = settled.bends(self.drawdowns)
        told = np.linalg.inv(covariance)
        n = y.size
        loose = np.eye(n) / LOOSE**2
        seen, pull = told - loose, told @ y
        mean, inverse, size = self._priors
        by_prior = np.einsum("heij,hkj->hei", inverse, mean)
        total = seen + inverse
        b = pull + by_prior
        fit = np.einsum("hei,hei->he", b, np.linalg.solve(total, b[..., None])[..., 0])
        against = np.einsum("hki,hei->he", mean, by_prior)
        sizes = np.linalg.slogdet(total)[1] + size
        best: Array = (0.5 * (fit - against - sizes) - _UNLIKELY).max(axis=1)
        # Less the same under the loose prior that the block was settled with.
        alone = pull @ np.linalg.solve(told, pull) - np.linalg.slogdet(told)[1]
        return best - 0.5 * (alone - np.linalg.slogdet(np.eye(n) * LOOSE**2)[1])


def ladders(problem: Problem) -> list[ReadLadder]:
    """Ladders among the patches that are long enough to have a run."""
    hubs = set(problem.hubs)
    groups: dict[tuple[int, int], list[int]] = {}
    alone: dict[int, list[int]] = {}
    for d in np.unique(problem.drawdown).tolist():
        used = np.flatnonzero(problem.fractions[d] > 0)
        own = [int(i) for i in used if i not in hubs]
        shared = [int(i) for i in used if i in hubs]
        if len(own) == 1 and not shared:
            alone.setdefault(own[0], []).append(d)
        elif len(own) == 1 and len(shared) == 1:
            groups.setdefault((own[0], shared[0]), []).append(d)
    found = []
    for (paint, _), tints in groups.items():
        if len(tints) < FEWEST:
            continue
        steps = np.array(alone.get(paint, []) + tints, dtype=np.intp)
        chains = {
            tuple(int(i) for i in np.flatnonzero(np.isin(steps, nuisance.drawdowns)))
            for nuisance in problem.nuisances
            if nuisance.kind == "weighing" and set(nuisance.drawdowns) <= set(steps.tolist())
        }
        found.append(
            ReadLadder(
                steps,
                np.log(problem.fractions[steps, paint]),
                (problem.fractions[steps] > 0).sum(axis=1) == 1,
                tuple(sorted(c for c in chains if 1 < len(c) < steps.size - 1)),
            )
        )
    return found
