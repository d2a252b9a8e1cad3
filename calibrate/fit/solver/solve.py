"""Solves the fit: small blocks, one for each paint, coupled by a border that they share.

A paint's log K and log S and the nuisance values it has to itself form a block of some hundred
unknowns. Paints meet only in the border: the whites, and the nuisance values that several of them
share. Each block is eliminated by a Cholesky factor of its own (Schur complement), so the cost of a
fit is linear in the number of paints.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.linalg.lapack import dpotrf, dtrtri, dtrtrs

from ...optics.coefficients import ABSOLUTE
from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.finding import Finding
from ..problem.rows import Ints
from .clusters import batches, clusters
from .forward import Block
from .normal import Equations, Normal, Prior, assemble, normal_equations

Progress = Callable[[int, float], None]
_DAMPED, _LEAST = 1e-4, 1e-7
"""Damping after a step that failed, and the least that isn't dropped. Where readings are very sure,
what they leave open is a valley, in which damping in proportion to their curvature holds a step
back.
"""

_FAR_KS, _FAR = 2.0, 10.0
"""Most that log K or log S moves in one step, for the model is far from linear, and most that a
nuisance value does, in prior standard deviations."""
_MEMORY = 3
"""Last steps that the next learns from."""


@dataclass(frozen=True)
class Solution:
    """The minimum, and the factored curvature there.

    Attributes
    ----------
    theta : (P, 2, W) array
        Log K and log S.
    nu : (M,) array
        Nuisance values in prior standard deviations.
    equations : Equations
        As formed there.
    settled : bool
        Whether it came to a minimum within the steps allowed.
    findings : tuple of Finding
        What was set aside on the way.
    """

    problem: Problem
    theta: Array
    nu: Array
    equations: Equations
    settled: bool
    findings: tuple[Finding, ...] = ()

    @property
    def cost(self) -> float:
        """Weighted squares of residuals and priors."""
        return self.equations.cost

    @property
    def prior(self) -> Prior:
        """Under which it is the minimum."""
        return self.equations.prior

    @property
    def border_scalars(self) -> Ints:
        """Nuisance values that belong to the border."""
        return clusters(self.problem)[1]

    def _by_row(self, what: str) -> Array:
        out = np.full(self.problem.measured.shape, np.nan)
        for n in self.equations.normals:
            for block, values in zip(n.blocks, getattr(n, what), strict=True):
                out[block.rows] = values[: block.rows.size]
        return out

    @cached_property
    def fitted(self) -> Array:
        """Predicted readings, (N, W)."""
        return self._by_row("fitted")

    @cached_property
    def by_bare(self) -> Array:
        """Their slope by the reading of the bare substrate, (N, W)."""
        return self._by_row("by_bare")

    @cached_property
    def mixes(self) -> tuple[Array, Array]:
        """Each drawdown's dry-volume fractions, (D, P), and dry thickness in mm, (D,), as fitted.

        The thickness is NaN where opaque, and where K and S are relative and so is it.
        """
        share = np.zeros(self.problem.fractions.shape)
        thickness = np.full(self.problem.film.size, np.nan)
        for batch in batches(self.problem):
            c, log_x, *_ = batch.mixes(np.append(self.nu, 0.0)[batch.scalars])
            for block, shares, log in zip(batch.blocks, c, log_x, strict=True):
                share[np.ix_(block.drawdowns, block.paints)] = shares[: block.drawdowns.size]
                thickness[block.drawdowns] = np.exp(log[: block.drawdowns.size])
        known = self.problem.film & (self.problem.scale == ABSOLUTE)
        return share, np.where(known, thickness, np.nan)

    @cached_property
    def _eliminated(self) -> tuple[list[EliminatedBlock], Array, Array]:
        return eliminate(self.equations, 0.0)

    @cached_property
    def blocks(self) -> tuple[tuple[Block, Array, Array], ...]:
        """Each block, its own part's lower Cholesky factor, and that part's response to the border.

        The block of hubs alone comes last.
        """
        kept = []
        for block, factor, solved, _ in self._eliminated[0]:
            response = dtrtrs(factor.T, solved[:-1].T)[0] if solved.size else solved[:-1].T
            size = block.own * self.theta[0].size + block.own_scalars
            kept.append((block, np.tril(factor[:size, :size]), response[:size]))
        return tuple(sorted(kept, key=lambda part: (part[0].own == 0, int(part[0].paints[0]))))

    @property
    def curvature(self) -> Array:
        """Inverse of `border`."""
        return self._eliminated[1]

    @cached_property
    def border(self) -> Array:
        """Covariance of the border: hubs' log K and log S, then shared nuisance values, (B, B)."""
        schur = self.curvature
        return np.asarray(np.linalg.inv(schur) if schur.size else schur, dtype=float)


def solve(
    problem: Problem,
    start: Array,
    prior: Prior,
    weight: Array,
    *,
    nu: Array | None = None,
    formed: list[Normal] | None = None,
    tolerance: float = 1e-2,
    patience: int = 3,
    most: int = 120,
    progress: Progress | None = None,
) -> Solution:
    """Minimise the weighted squares of residuals and priors by damped Gauss-Newton steps.

    Parameters
    ----------
    problem : Problem
    start : (P, 2, W) array
        Log K and log S to begin from.
    prior : Prior
    weight : (N, W) array
        Inverse variance of each reading; 0 where unread.
    nu : (M,) array, optional
        Nuisance values to begin from.
    formed : list of Normal, optional
        The blocks' equations there under these weights, where a solve before this one left them.
    tolerance, patience, most, progress
        See `descend`.

    Returns
    -------
    Solution
    """

    def form(theta: Array, nu: Array) -> Equations:
        normals = [normal_equations(b, theta, nu, weight) for b in batches(problem)]
        return assemble(problem, normals, theta, nu, prior)

    if formed is None:
        return descend(problem, form, start, nu, tolerance, patience, most, progress)
    here = assemble(problem, formed, start, at_start(problem, nu), prior)
    return descend(problem, form, start, nu, tolerance, patience, most, progress, here)


def at_start(problem: Problem, nu: Array | None) -> Array:
    """Nuisance values to begin from, as believed beforehand where there are none.

    Parameters
    ----------
    problem : Problem
    nu : (M,) array or None
        Nuisance values in prior standard deviations.

    Returns
    -------
    (M,) array
    """
    return np.zeros(len(problem.nuisances)) if nu is None else nu


def descend(
    problem: Problem,
    form: Callable[[Array, Array], Equations],
    start: Array,
    nu: Array | None,
    tolerance: float,
    patience: int,
    most: int,
    progress: Progress | None,
    here: Equations | None = None,
) -> Solution:
    """Go down to the minimum by damped Gauss-Newton steps.

    Parameters
    ----------
    problem : Problem
    form : callable
        The equations at given log K and log S, and nuisance values.
    start : (P, 2, W) array
    nu : (M,) array or None
    tolerance : float
        Fall of the cost below which to stop. The cost is a chi-square: a fall of 0.01 moves no
        combination of unknowns by more than a tenth of its standard uncertainty.
    patience : int
        Damped steps in a row with no more fall than that, after which to stop.
    most : int
        Most steps.
    progress : callable or None
        Called with the step and the cost.
    here : Equations, optional
        Those of the start, where they are formed already.

    Returns
    -------
    Solution
    """
    nuisance = at_start(problem, nu)
    at = np.concatenate([start.ravel(), nuisance])
    farthest = np.repeat([_FAR_KS, _FAR], [start.size, nuisance.size])

    def apart(values: Array) -> tuple[Array, Array]:
        return values[: start.size].reshape(start.shape), values[start.size :]

    here = here or form(*apart(at))
    past: list[tuple[Array, Array]] = []
    damping, count, small, settled = 0.0, 0, 0, False
    while count < most and not settled:
        count += 1
        step, size = newton_step(problem, here, damping)
        way = step = np.clip(step, -farthest, farthest)
        if damping == 0.0:
            if past:
                way = _mixed(at, step, size, past)
            past = [*past[1 - _MEMORY :], (at, step)]
        trial = form(*apart(at + way))
        too_far = trial.cost > here.cost
        if too_far:
            # Half of it teaches the next step by how much.
            way = way / 2
            trial = form(*apart(at + way))
        if trial.cost <= here.cost:
            # A damped step falls little wherever it is taken: only a whole one tells the minimum.
            small = small + 1 if here.cost - trial.cost < tolerance else 0
            settled = small == patience or (small > 0 and damping == 0.0 and not too_far)
            at, here = at + way, trial
            damping = damping / 100 if damping > _LEAST else 0.0
            if progress is not None:
                progress(count, here.cost)
        else:
            damping = max(10 * damping, _DAMPED)
            settled = damping > 1e8  # no step of any length lowers the cost any more
    return Solution(problem, *apart(at), here, settled)


def _mixed(at: Array, step: Array, size: Array, past: Sequence[tuple[Array, Array]]) -> Array:
    """A step that mends how the last steps missed (Anderson 1965).

    Where what is left over bends the cost more than squares of slopes know, each step overshoots by
    the same share; what the last ones have in common tells that share.

    References
    ----------
    D. G. Anderson, Iterative procedures for nonlinear integral equations, J. ACM 12 (1965) 547.
    """
    by_at, by_step = (np.array([now - p[i] for p in past]).T for i, now in enumerate((at, step)))
    share = np.linalg.lstsq(by_step * size[:, None], step * size, rcond=1e-8)[0]
    return np.asarray(step - (by_at + by_step) @ share)


class EliminatedBlock(NamedTuple):
    """A block's own unknowns, eliminated.

    Attributes
    ----------
    factor : (L, L) array
        Lower Cholesky factor of its own equations.
    solved : (B + 1, L) array
        Its inverse times how the border meets them, and, last, their right-hand side.
    curvature : (L,) array
        Their diagonal.
    """

    block: Block
    factor: Array
    solved: Array
    curvature: Array


def eliminate(equations: Equations, damping: float) -> tuple[list[EliminatedBlock], Array, Array]:
    """Eliminate each block's own unknowns; what is left are the border's equations.

    Parameters
    ----------
    equations : Equations
    damping : float
        Added to the curvature, in proportion to it.

    Returns
    -------
    parts : list of EliminatedBlock
    curvature : (B, B) array
        The border's.
    right : (B,) array
        Its right side.
    """
    size = equations.gb.size
    whole = np.zeros((size + 1, size + 1))
    whole[:-1, :-1], whole[:-1, -1], whole[-1, :-1] = equations.bb, equations.gb, equations.gb
    np.einsum("ii->i", whole)[...] *= 1 + damping
    width, parts = equations.pull.shape[1], []
    for n in equations.normals:
        for g, block in enumerate(n.blocks):
            factor, both = n.own(g)
            for i, paint in enumerate(block.paints[: block.own]):
                at = slice(i * width, (i + 1) * width)
                factor[at, at] += equations.prior.precision[paint]
                both[-1, at] -= equations.pull[paint]
            diagonal = np.einsum("ii->i", factor)
            curvature = diagonal.copy()
            diagonal *= 1 + damping
            if diagonal.size:
                # LAPACK reads by columns, so what is lower to us is upper to it.
                if dpotrf(factor.T, overwrite_a=1)[1]:
                    raise np.linalg.LinAlgError("a block of the fit isn't positive definite")
                dtrtrs(factor.T, both.T, trans=1, overwrite_b=1)
            whole -= both @ both.T
            parts.append(EliminatedBlock(block, factor, both, curvature))
    return parts, whole[:-1, :-1], whole[:-1, -1]


def inverse(factor: Array) -> Array:
    """Inverse of a lower Cholesky factor."""
    return np.asarray(dtrtri(factor, lower=1)[0]) if factor.size else factor


def newton_step(problem: Problem, equations: Equations, damping: float) -> tuple[Array, Array]:
    """Step of log K and log S, then of the nuisance values; and the root of their curvatures.

    Parameters
    ----------
    problem : Problem
    equations : Equations
    damping : float
        Added to the curvature, in proportion to it.

    Returns
    -------
    step, root : (2PW + M,) array
    """
    parts, schur, right = eliminate(equations, damping)
    border = np.asarray(np.linalg.solve(schur, right) if right.size else right, dtype=float)
    width = equations.pull.shape[1]
    step, size = np.zeros((2, equations.pull.size + len(problem.nuisances)))

    def put(paints: Ints, scalars: Ints, values: Array, curvature: Array) -> None:
        at = (paints[:, None] * width + np.arange(width)).ravel()
        at = np.append(at, equations.pull.size + scalars)
        step[at], size[at] = values[: at.size], np.sqrt(curvature[: at.size])

    hubs = np.array(problem.hubs, dtype=np.intp)
    put(hubs, clusters(problem)[1], border, np.diag(equations.bb))
    for block, factor, solved, curvature in parts:
        own = solved[-1] - border @ solved[:-1]
        if own.size:
            own = dtrtrs(factor.T, own)[0]
        put(block.paints[: block.own], block.scalars[: block.own_scalars], own, curvature)
    return step, size
