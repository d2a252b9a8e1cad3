"""One paint's part of a fit, solved with its mixes' absorption left loose.

To ask whether a step of a ladder is wrong, only its own paint and the whites need be solved again.
Each mix's absorption is left loose, so that a step of the wrong make-up bends its own value and not
the fit, and each film has a surface of its own, so that an underbound one is not taken for another
paint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ...cards.card import SUBSTRATES
from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.rows import Ints, Nuisance, Weighing
from .forward import Block
from .normal import Prior
from .solve import Solution, inverse, solve

LOOSE = 0.5
"""Prior standard deviation of log K of each mix while steps are judged."""
OWN_SURFACE = 0.006
"""How far a film's surface may lie from the card's while its step is judged: what indices from 1.46
to 1.55 make, and half of what underbound and resinous films of oil paint were seen to."""
_OWN_SURFACES = {"": OWN_SURFACE} | dict.fromkeys(SUBSTRATES, OWN_SURFACE / 3)
"""The same, and how far its halves over black and over white may lie from that."""


def loosened(problem: Problem, blocks: Sequence[Block]) -> tuple[Problem, Ints, Ints]:
    """The problem of some blocks alone, with each mix's absorption loose.

    Parameters
    ----------
    problem : Problem
    blocks : sequence of Block
        Those to be solved alone.

    Returns
    -------
    problem : Problem
    rows, paints : int array
        Which of the whole problem's it has.
    """
    rows, paints, kept = (
        np.unique(np.concatenate(parts))
        for parts in zip(*((b.rows, b.paints, b.scalars) for b in blocks), strict=True)
    )

    read = np.unique(problem.drawdown[rows])
    fractions = np.zeros((len(problem.fractions), paints.size))
    fractions[read] = problem.fractions[np.ix_(read, paints)]
    kept = kept[[problem.nuisances[m].kind != "own surface" for m in kept]]
    surfaces = [
        Nuisance(f"{d}: own surface {over}", "own surface", spread, "", (d,), over=over)
        for d in read.tolist()
        for over, spread in _OWN_SURFACES.items()
    ]

    def loose(n: Nuisance) -> Nuisance:
        if n.kind in ("dry volume", "surface"):
            return replace(n, target=int(np.searchsorted(paints, n.target)))
        return replace(n, spread=LOOSE) if n.kind == "two fluxes" else n

    alone = replace(
        problem,
        paints=tuple(problem.paints[p] for p in paints),
        hubs=tuple(int(i) for i in np.flatnonzero(np.isin(paints, problem.hubs))),
        fractions=fractions,
        nuisances=(*(loose(problem.nuisances[m]) for m in kept), *surfaces),
        weighing={
            i: Weighing(np.arange(paints.size), problem.weighing[m].of(paints))
            for i, m in enumerate(kept.tolist())
            if m in problem.weighing
        },
        dry_volume=problem.dry_volume[paints],
        inverse_density=problem.inverse_density[paints],
        surface_offset=problem.surface_offset[paints],
        patches=tuple(problem.patches[n] for n in rows),
        drawdown=problem.drawdown[rows],
        measured=problem.measured[rows],
        variance=problem.variance[rows],
        bare=problem.bare[rows],
        bare_variance=problem.bare_variance[rows],
        surfaces=tuple(problem.surfaces[n] for n in rows),
    )
    return alone, rows, paints


@dataclass(frozen=True)
class Settled:
    """A loosened problem at its minimum.

    Attributes
    ----------
    problem : Problem
    solution : Solution
    """

    problem: Problem
    solution: Solution

    @cached_property
    def covariances(self) -> tuple[Array, ...]:
        """Covariance of each block's own unknowns, then of the border."""
        border = self.solution.border
        out = []
        for block, factor, response in self.solution.blocks:
            if not block.own:
                out.append(border)
                continue
            whitened = inverse(factor)
            across = response @ border
            own = whitened.T @ whitened + across @ response.T
            out.append(np.block([[own, -across], [-across.T, border]]))
        return tuple(out)

    def places(self, drawdowns: Ints) -> Ints:
        """Which nuisance values are the log strength of some mixes, (D,)."""
        scalar = {
            n.drawdowns[0]: m
            for m, n in enumerate(self.problem.nuisances)
            if n.kind == "two fluxes"
        }
        return np.array([scalar[int(d)] for d in drawdowns], dtype=np.intp)

    def bends(self, drawdowns: Ints) -> tuple[Array, Array]:
        """Log strength of some mixes of one block, (D,), and its covariance, (D, D)."""
        wanted = self.places(drawdowns)
        n_w = self.solution.theta.shape[2]
        for (block, _, _), covariance in zip(self.solution.blocks, self.covariances, strict=True):
            own = block.scalars[: block.own_scalars].tolist()
            if wanted[0] in own:
                at = 2 * block.own * n_w + np.array([own.index(m) for m in wanted])
                return LOOSE * self.solution.nu[wanted], LOOSE**2 * covariance[np.ix_(at, at)]
        raise KeyError(wanted[0])

    def felt(self, block: Block, faults: Array) -> Array:
        """How a block's unknowns, then the border, would feel a fault in each patch.

        Parameters
        ----------
        block : Block
            One of the solution's.
        faults : (N, F, W) array
            Changes of each patch's reading times its weight.

        Returns
        -------
        (N, F, X) array
        """
        theta, nu, own = self.solution.theta, self.solution.nu, block.own
        _, by_theta, by_nu, _ = block.predict(
            theta[block.paints, 0], theta[block.paints, 1], nu[block.scalars]
        )
        spectral = faults[:, :, None, None] * by_theta[:, None]
        scalar = np.einsum("nfw,nmw->nfm", faults, by_nu)
        mine = block.own_scalars
        shared = np.zeros((*faults.shape[:2], self.solution.border_scalars.size))
        places = np.searchsorted(self.solution.border_scalars, block.scalars[mine:])
        shared[:, :, places] = scalar[:, :, mine:]
        flat = (*faults.shape[:2], -1)
        return np.concatenate(
            [
                spectral[:, :, :own].reshape(flat),
                scalar[:, :, :mine],
                spectral[:, :, own:].reshape(flat),
                shared,
            ],
            axis=2,
        )


def settle(
    problem: Problem, prior: Prior, weight: Array, theta: Array, nu: Array | None = None
) -> Settled:
    """Solve a loosened problem from some values.

    Parameters
    ----------
    problem : Problem
    prior : Prior
    weight : (N, W) array
        Inverse variance of each reading; 0 for what has no say.
    theta : (P, 2, W) array
        Log K and log S.
    nu : (M,) array, optional
        Nuisance values in prior standard deviations.

    Returns
    -------
    Settled
    """
    return Settled(problem, solve(problem, theta, prior, weight, nu=nu, tolerance=0.5))
