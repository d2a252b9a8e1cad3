"""Solves the fit: small blocks, one for each paint, coupled by a border that they share.

A paint's log K and log S and the nuisance values it has to itself form a block of some hundred
unknowns. Paints meet only in the border: the whites, and the nuisance values that several of them
share. Each block is eliminated by a Cholesky factor of its own (Schur complement), so the cost of a
fit is linear in the number of paints.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.linalg.lapack import dpotrf, dtrtrs

from ..optics.spectra import Array
from .clusters import batches, clusters
from .finding import Finding
from .forward import Block
from .normal import Equations, Prior, assemble, normal_equations
from .problem import Ints, Problem

Progress = Callable[[int, float], None]
_DAMPED, _LEAST = 1e-4, 1e-7
"""Damping after a step that failed, and the least that isn't dropped. Where readings are very sure,
what they leave open is a valley, in which damping in proportion to their curvature holds a step
back.
"""

_FAR_KS, _FAR = 2.0, 10.0
"""Most that log K or log S moves in one step, for the model is far from linear, and most that a
nuisance value does, in prior standard deviations."""
_MEMORY = 2
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
    fitted : (N, W) array
        Predicted readings.
    by_bare : (N, W) array
        Their slope by the reading of the bare substrate.
    share : (D, P) array
        Dry-volume fraction of each paint in each drawdown, as fitted.
    thickness : (D,) array, mm
        Dry thickness of each drawdown, as fitted; NaN where opaque.
    blocks : tuple
        For each block: (block, Cholesky factor of its own part, its own part's response to the
        border).
    border : (B, B) array
        Covariance of the border: hubs' log K and log S, then shared nuisance values.
    curvature : (B, B) array
        Its inverse.
    border_scalars : int array
    prior : Prior
        Under which it is the minimum.
    cost : float
    settled : bool
        Whether it came to a minimum within the steps allowed.
    findings : tuple of Finding
        What was set aside on the way.
    """

    theta: Array
    nu: Array
    fitted: Array
    by_bare: Array
    share: Array
    thickness: Array
    blocks: tuple[tuple[Block, tuple[Array, bool], Array], ...]
    border: Array
    curvature: Array
    border_scalars: Ints
    prior: Prior
    cost: float
    settled: bool
    findings: tuple[Finding, ...] = ()


def solve(
    problem: Problem,
    start: Array,
    prior: Prior,
    weight: Array,
    *,
    nu: Array | None = None,
    tolerance: float = 1e-2,
    patience: int = 3,
    most: int = 60,
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
    tolerance, patience, most, progress
        See `descend`.
    """

    def form(theta: Array, nu: Array) -> Equations:
        normals = [normal_equations(b, theta, nu, weight) for b in batches(problem)]
        return assemble(problem, normals, theta, nu, prior)

    return descend(problem, form, start, nu, prior, tolerance, patience, most, progress)


def descend(
    problem: Problem,
    form: Callable[[Array, Array], Equations],
    start: Array,
    nu: Array | None,
    prior: Prior,
    tolerance: float,
    patience: int,
    most: int,
    progress: Progress | None,
) -> Solution:
    """Go down to the minimum by damped Gauss-Newton steps.

    Parameters
    ----------
    problem : Problem
    form : callable
        The equations at given log K and log S, and nuisance values.
    start : (P, 2, W) array
    nu : (M,) array or None
    prior : Prior
    tolerance : float
        Fall of the cost below which to stop. The cost is a chi-square: a fall of 0.01 moves no
        combination of unknowns by more than a tenth of its standard uncertainty.
    patience : int
        Damped steps in a row with no more fall than that, after which to stop.
    most : int
        Most steps.
    progress : callable or None
        Called with the step and the cost.
    """
    nuisance = np.zeros(len(problem.nuisances)) if nu is None else nu
    # Log K and log S, then the nuisance values, then one that stands for none.
    at = np.concatenate([start.ravel(), nuisance, [0.0]])
    farthest = np.repeat([_FAR_KS, _FAR], [start.size, nuisance.size + 1])

    def apart(values: Array) -> tuple[Array, Array]:
        return values[: start.size].reshape(start.shape), values[start.size : -1]

    here = form(*apart(at))
    places = _places(problem, here, start)
    past: list[tuple[Array, Array]] = []
    damping, count, small, settled = 0.0, 0, 0, False
    while count < most and not settled:
        count += 1
        step, size = np.zeros((2, at.size))
        step[places], size[places] = newton_step(here, damping)
        way = step = np.clip(step, -farthest, farthest)
        step[-1] = size[-1] = 0.0
        if damping == 0.0:
            if past:
                way = _mixed(at, step, size, past)
            past = [*past[1 - _MEMORY :], (at, step)]
        trial = form(*apart(at + way))
        if trial.cost <= here.cost:
            # A damped step falls little wherever it is taken: only a whole one tells the minimum.
            small = small + 1 if here.cost - trial.cost < tolerance else 0
            settled = small == patience or (small > 0 and damping == 0.0)
            at, here = at + way, trial
            damping = damping / 100 if damping > _LEAST else 0.0
            if progress is not None:
                progress(count, here.cost)
        else:
            damping = max(10 * damping, _DAMPED)
            settled = damping > 1e8  # no step of any length lowers the cost any more
    return minimum(problem, *apart(at), here, prior, settled)


def _places(problem: Problem, equations: Equations, theta: Array) -> Ints:
    """Where the border's unknowns, then each block's, stand among all; -1 for those of none."""
    each = theta[0].size

    def of(paints: Ints, scalars: Ints, size: int) -> Ints:
        found = (paints[:, None] * each + np.arange(each)).ravel()
        found = np.append(found, theta.size + scalars)
        return np.pad(found, (0, size - found.size), constant_values=-1)

    hubs, shared = np.array(problem.hubs, dtype=np.intp), clusters(problem)[1]
    return np.concatenate(
        [of(hubs, shared, equations.gb.size)]
        + [
            of(b.paints[: b.own], b.scalars[: b.own_scalars], n.gl.shape[1])
            for n in equations.normals
            for b in n.blocks
        ]
    )


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


class Eliminated(NamedTuple):
    """Equations without the blocks' own unknowns.

    Attributes
    ----------
    parts : list of (block, factor, solved)
        The Cholesky factor L of a block's own part, and ``inv(L)`` times its equations' other two,
        transposed: (B + 1, L), the right-hand side last.
    schur : (B, B) array
    right : (B,) array
    curvature : array
        Diagonal of the border's equations, then of each own part.
    """

    parts: list[tuple[Block, Array, Array]]
    schur: Array
    right: Array
    curvature: Array


def eliminate(equations: Equations, damping: float) -> Eliminated:
    """Eliminate each block's own unknowns; what is left are the border's equations."""
    schur, right = equations.bb.copy(), equations.gb.copy()
    curvature = [np.diag(schur).copy()]
    np.einsum("ii->i", schur)[...] *= 1 + damping
    width, parts = equations.pull.shape[1], []
    for n in equations.normals:
        for g, block in enumerate(n.blocks):
            factor, bl = n.own(g)
            both = np.concatenate([bl, n.gl[g : g + 1]])
            for i, paint in enumerate(block.paints[: block.own]):
                at = slice(i * width, (i + 1) * width)
                factor[at, at] += equations.prior.precision[paint]
                both[-1, at] -= equations.pull[paint]
            diagonal = np.einsum("ii->i", factor)
            curvature.append(diagonal.copy())
            diagonal *= 1 + damping
            if diagonal.size:
                # LAPACK reads by columns, so what is lower to us is upper to it.
                if dpotrf(factor.T, overwrite_a=1)[1]:
                    raise np.linalg.LinAlgError("a block of the fit isn't positive definite")
                dtrtrs(factor.T, both.T, trans=1, overwrite_b=1)
            schur -= both[:-1] @ both[:-1].T
            right -= both[:-1] @ both[-1]
            parts.append((block, factor, both))
    return Eliminated(parts, schur, right, np.concatenate(curvature))


def newton_step(equations: Equations, damping: float) -> tuple[Array, Array]:
    """Step of the border's unknowns, then each block's, and the root of each one's curvature."""
    parts, schur, right, curvature = eliminate(equations, damping)
    border = np.asarray(np.linalg.solve(schur, right) if right.size else right, dtype=float)
    steps = [border]
    for _, factor, both in parts:
        own = both[-1] - border @ both[:-1]
        steps.append(dtrtrs(factor.T, own)[0] if own.size else own)
    return np.concatenate(steps), np.sqrt(curvature)


def minimum(
    problem: Problem, theta: Array, nu: Array, here: Equations, prior: Prior, settled: bool
) -> Solution:
    """Collect a solution at its minimum, where its equations were last formed."""
    fitted, by_bare = np.full((2, *problem.measured.shape), np.nan)
    share = np.zeros(problem.fractions.shape)
    thickness = np.full(problem.film.size, np.nan)
    kept = {}
    parts, schur, *_ = eliminate(here, 0.0)
    for block, factor, both in parts:
        response = dtrtrs(factor.T, both[:-1].T)[0] if both.size else both[:-1].T
        size = theta[block.paints[: block.own]].size + block.own_scalars
        kept[id(block)] = (block, (factor[:size, :size], True), response[:size])
    for n in here.normals:
        for block, made, slope in zip(n.blocks, n.fitted, n.by_bare, strict=True):
            fitted[block.rows] = made[: block.rows.size]
            by_bare[block.rows] = slope[: block.rows.size]
    for batch in batches(problem):
        c, log_x, *_ = batch.mixes(np.append(nu, 0.0)[batch.scalars])
        for block, shares, log in zip(batch.blocks, c, log_x, strict=True):
            share[np.ix_(block.drawdowns, block.paints)] = shares[: block.drawdowns.size]
            thickness[block.drawdowns] = np.exp(log[: block.drawdowns.size])
    thickness[~problem.film] = np.nan
    border = np.asarray(np.linalg.inv(schur) if schur.size else schur, dtype=float)
    blocks = tuple(kept[id(b)] for b in clusters(problem)[0])
    shared = clusters(problem)[1]
    return Solution(
        theta, nu, fitted, by_bare, share, thickness, blocks, border, schur, shared, prior,
        here.cost, settled,
    )  # fmt: skip
