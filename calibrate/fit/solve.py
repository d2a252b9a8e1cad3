"""Solves the fit: small blocks, one for each paint, coupled by a border that they share.

A paint's log K and log S and the nuisance values it has to itself form a block of some hundred
unknowns. Paints meet only in the border: the whites, and the nuisance values that several of them
share. Each block is eliminated by a Cholesky factor of its own (Schur complement), so the cost of a
fit is linear in the number of paints.
"""

from __future__ import annotations

from collections.abc import Callable
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

_FAR = 10.0
"""Most that a nuisance value moves in one step, in prior standard deviations."""


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
        normals = [normal_equations(b, theta, nu, weight, prior) for b in batches(problem)]
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
    theta = start.copy()
    nu = np.zeros(len(problem.nuisances)) if nu is None else nu.copy()
    here = form(theta, nu)
    damping, step, small, settled = _DAMPED, 0, 0, False
    while step < most and not settled:
        step += 1
        new_theta, new_nu = stepped(problem, theta, nu, eliminate(here, damping))
        trial = form(new_theta, new_nu)
        if trial.cost <= here.cost:
            # A damped step falls little wherever it is taken: only a whole one tells the minimum.
            small = small + 1 if here.cost - trial.cost < tolerance else 0
            settled = small == patience or (small > 0 and damping == 0.0)
            theta, nu, here = new_theta, new_nu, trial
            damping = damping / 100 if damping > _LEAST else 0.0
            if progress is not None:
                progress(step, here.cost)
        else:
            damping = max(10 * damping, _DAMPED)
            settled = damping > 1e8  # no step of any length lowers the cost any more
    return minimum(problem, theta, nu, here, prior, settled)


class Eliminated(NamedTuple):
    """Equations without the blocks' own unknowns.

    Attributes
    ----------
    parts : list of (block, factor, across, right)
        The Cholesky factor L of a block's own part, and ``inv(L)`` times its equations' other two.
    schur : (B, B) array
    right : (B,) array
    """

    parts: list[tuple[Block, Array, Array, Array]]
    schur: Array
    right: Array


def eliminate(equations: Equations, damping: float) -> Eliminated:
    """Eliminate each block's own unknowns; what is left are the border's equations."""
    schur, right = equations.bb.copy(), equations.gb.copy()
    np.einsum("ii->i", schur)[...] *= 1 + damping
    parts = []
    for n in equations.normals:
        for block, ll, lb, gl in zip(n.blocks, n.ll, n.lb, n.gl, strict=True):
            if not gl.size:
                parts.append((block, ll, lb, gl))
                continue
            own = ll.copy()
            np.einsum("ii->i", own)[...] *= 1 + damping
            factor, bad = dpotrf(own.T, lower=1, overwrite_a=1)
            if bad:
                raise np.linalg.LinAlgError("a block of the fit isn't positive definite")
            both = dtrtrs(factor, np.vstack([lb.T, gl]).T, lower=1, overwrite_b=1)[0]
            schur -= both[:, :-1].T @ both[:, :-1]
            right -= both[:, :-1].T @ both[:, -1]
            parts.append((block, factor, both[:, :-1], both[:, -1]))
    return Eliminated(parts, schur, right)


def stepped(
    problem: Problem, theta: Array, nu: Array, eliminated: Eliminated
) -> tuple[Array, Array]:
    """Values after one step, from the eliminated equations; a far step is cut short."""
    shared, hubs = clusters(problem)[1], list(problem.hubs)
    schur, right = eliminated.schur, eliminated.right
    border = np.asarray(np.linalg.solve(schur, right) if right.size else right, dtype=float)
    theta, nu = theta.copy(), nu.copy()
    hub = border.size - shared.size
    theta[hubs] += _limit(border[:hub].reshape(theta[hubs].shape))
    nu[shared] += np.clip(border[hub:], -_FAR, _FAR)
    for block, factor, across, own in eliminated.parts:
        if not own.size:
            continue
        delta = dtrtrs(factor, own - across @ border, lower=1, trans=1)[0]
        paints, scalars = block.paints[: block.own], block.scalars[: block.own_scalars]
        mine = theta[paints].size
        theta[paints] += _limit(delta[:mine].reshape(theta[paints].shape))
        nu[scalars] += np.clip(delta[mine : mine + scalars.size], -_FAR, _FAR)
    return theta, nu


def minimum(
    problem: Problem, theta: Array, nu: Array, here: Equations, prior: Prior, settled: bool
) -> Solution:
    """Collect a solution at its minimum, where its equations were last formed."""
    fitted, by_bare = np.full((2, *problem.measured.shape), np.nan)
    share = np.zeros(problem.fractions.shape)
    thickness = np.full(problem.film.size, np.nan)
    kept = {}
    parts, schur, _ = eliminate(here, 0.0)
    for block, factor, across, own in parts:
        response = dtrtrs(factor, across, lower=1, trans=1)[0] if own.size else across
        size = theta[block.paints[: block.own]].size + block.own_scalars
        kept[id(block)] = (block, (factor[:size, :size], True), response[:size])
    for n in here.normals:
        for block, made, slope in zip(n.blocks, n.fitted, n.by_bare, strict=True):
            fitted[block.rows], by_bare[block.rows] = (
                made[: block.rows.size],
                slope[: block.rows.size],
            )
    for batch in batches(problem):
        for block, c, log_x in zip(
            batch.blocks, *batch.mixes(np.append(nu, 0.0)[batch.scalars])[:2], strict=True
        ):
            share[np.ix_(block.drawdowns, block.paints)] = c[: block.drawdowns.size]
            thickness[block.drawdowns] = np.exp(log_x[: block.drawdowns.size])
    thickness[~problem.film] = np.nan
    border = np.asarray(np.linalg.inv(schur) if schur.size else schur, dtype=float)
    blocks = tuple(kept[id(b)] for b in clusters(problem)[0])
    shared = clusters(problem)[1]
    return Solution(
        theta, nu, fitted, by_bare, share, thickness, blocks, border, schur, shared, prior,
        here.cost, settled,
    )  # fmt: skip


def _limit(step: Array) -> Array:
    """Keep a step in log K or log S below a factor of e^2, where the model is far from linear."""
    return np.clip(step, -2.0, 2.0)
