"""Solves the fit: small blocks, one for each paint, coupled by a border that they share.

A paint's log K and log S and the nuisance values it has to itself form a block of some hundred
unknowns. Paints meet only in the border: the whites, and the nuisance values that several of them
share. Each block is eliminated by a Cholesky factor of its own (Schur complement), so the cost of a
fit is linear in the number of paints.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from ..optics.spectra import Array
from .finding import Finding
from .forward import Block
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
class Prior:
    """What is believed of log K and log S before the readings, for every paint alike.

    Attributes
    ----------
    center : (P, 2, W) array
    precision : (P, 2, W, W) array
    """

    center: Array
    precision: Array


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


@lru_cache(maxsize=4)
def clusters(problem: Problem) -> tuple[tuple[Block, ...], Ints]:
    """Split the patches into blocks that meet only in hubs and shared nuisance values.

    Returns
    -------
    blocks : tuple of Block
        The last has the patches that hold hubs alone, if there are any.
    shared : int array
        Nuisance values that belong to the border.
    """
    n = len(problem.paints)
    hubs = np.array(problem.hubs, dtype=np.intp)
    free = np.setdiff1d(np.arange(n), hubs)
    group = np.arange(n)
    used = problem.fractions > 0

    for row in used[np.unique(problem.drawdown)]:
        own = np.intersect1d(np.flatnonzero(row), free)
        if own.size > 1:
            group[np.isin(group, group[own])] = group[own].min()
    names = [int(g) for g in np.unique(group[free])] if free.size else []
    home = np.full(problem.fractions.shape[0], -1)
    for d in np.unique(problem.drawdown):
        own = np.intersect1d(np.flatnonzero(used[d]), free)
        if own.size:
            home[d] = names.index(int(group[own[0]]))
    owner = np.array(
        [
            homes.pop() if len(homes := {int(home[d]) for d in nuisance.drawdowns}) == 1 else -1
            for nuisance in problem.nuisances
        ],
        dtype=int,
    )
    shared = np.flatnonzero(owner == -1)
    touches = np.zeros((len(problem.nuisances), home.size), dtype=bool)
    for m, nuisance in enumerate(problem.nuisances):
        touches[m, list(nuisance.drawdowns)] = True
    blocks = []
    row_home = home[problem.drawdown]
    for i in [*range(len(names)), -1]:
        rows = np.flatnonzero(row_home == i)
        if not rows.size:
            continue
        mine = np.flatnonzero(group == names[i]) if i >= 0 else np.array([], dtype=int)
        mine = np.intersect1d(mine, free)
        own_scalars = np.flatnonzero(owner == i) if i >= 0 else np.array([], dtype=int)
        here = touches[shared][:, np.unique(problem.drawdown[rows])].any(axis=1)
        blocks.append(
            Block(
                problem,
                rows,
                np.concatenate([mine, hubs]).astype(np.intp),
                int(mine.size),
                np.concatenate([own_scalars, shared[here]]).astype(np.intp),
                int(own_scalars.size),
            )
        )
    return tuple(blocks), shared


@dataclass
class Normal:
    """One block's normal equations, its own part (L) and the border's (B)."""

    ll: Array
    lb: Array
    bb: Array
    gl: Array
    gb: Array
    cost: float
    fitted: Array


def normal_equations(
    block: Block,
    theta: Array,
    nu: Array,
    weight: Array,
    prior: Prior,
    border_at: Ints,
    size_border: int,
) -> Normal:
    """Form a block's normal equations at the current values."""
    n_w = theta.shape[2]
    a, m, own = block.paints.size, block.scalars.size, block.own
    measured, spectral, scalar, _ = block.predict(
        theta[block.paints, 0], theta[block.paints, 1], nu[block.scalars]
    )
    w = weight[block.rows]
    residual = np.where(w > 0, block.problem.measured[block.rows] - measured, 0.0)
    root = np.sqrt(w)
    js = (spectral.reshape(-1, 2 * a, n_w) * root[:, None, :]).transpose(2, 1, 0)
    jm = (scalar * root[:, None, :]).transpose(2, 1, 0)
    e = (residual * root).T[:, :, None]
    hss = js @ js.transpose(0, 2, 1)
    hsm = js @ jm.transpose(0, 2, 1)
    flat = jm.transpose(1, 0, 2).reshape(m, -1)
    hmm = flat @ flat.T
    gs = (js @ e)[:, :, 0]
    gm = flat @ e.reshape(-1)
    diagonal = np.arange(n_w)
    nl, ns = 2 * own, 2 * a - 2 * own
    ml = block.own_scalars
    size = nl * n_w + ml
    ll = np.zeros((size, size))
    spectral_part = ll[: nl * n_w, : nl * n_w].reshape(nl, n_w, nl, n_w)
    spectral_part[:, diagonal, :, diagonal] = hss[:, :nl, :nl]
    ll[: nl * n_w, nl * n_w :] = hsm[:, :nl, :ml].transpose(1, 0, 2).reshape(nl * n_w, ml)
    ll[nl * n_w :, : nl * n_w] = ll[: nl * n_w, nl * n_w :].T
    ll[nl * n_w :, nl * n_w :] = hmm[:ml, :ml] + np.eye(ml)
    gl = np.concatenate([gs[:, :nl].T.reshape(-1), gm[:ml] - nu[block.scalars[:ml]]])
    cost = float((residual**2 * w).sum() + (nu[block.scalars[:ml]] ** 2).sum())
    for i, paint in enumerate(block.paints[:own]):
        for q in range(2):
            at = slice((2 * i + q) * n_w, (2 * i + q + 1) * n_w)
            ll[at, at] += prior.precision[paint, q]
            off = theta[paint, q] - prior.center[paint, q]
            gl[at] -= prior.precision[paint, q] @ off
            cost += float(off @ prior.precision[paint, q] @ off)
    hub = ns * n_w
    lb = np.zeros((size, size_border))
    lb_spectral = lb[: nl * n_w, :hub].reshape(nl, n_w, ns, n_w)
    lb_spectral[:, diagonal, :, diagonal] = hss[:, :nl, nl:]
    lb[nl * n_w :, :hub] = hsm[:, nl:, :ml].transpose(2, 1, 0).reshape(ml, hub)
    columns = hub + border_at
    lb[: nl * n_w, columns] = hsm[:, :nl, ml:].transpose(1, 0, 2).reshape(nl * n_w, m - ml)
    lb[nl * n_w :, columns] = hmm[:ml, ml:]
    bb = np.zeros((size_border, size_border))
    bb[:hub, :hub].reshape(ns, n_w, ns, n_w)[:, diagonal, :, diagonal] = hss[:, nl:, nl:]
    bb[:hub, columns] = hsm[:, nl:, ml:].transpose(1, 0, 2).reshape(hub, m - ml)
    bb[columns, :hub] = bb[:hub, columns].T
    bb[np.ix_(columns, columns)] = hmm[ml:, ml:]
    gb = np.zeros(size_border)
    gb[:hub] = gs[:, nl:].T.reshape(-1)
    gb[columns] = gm[ml:]
    return Normal(ll, lb, bb, gl, gb, cost, measured)


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
    tolerance : float
        Fall of the cost below which to stop. The cost is a chi-square: a fall of 0.01 moves no
        combination of unknowns by more than a tenth of its standard uncertainty.
    patience : int
        Damped steps in a row with no more fall than that, after which to stop.
    most : int
        Most steps.
    progress : callable, optional
        Called with the step and the cost.
    """
    blocks, shared = clusters(problem)
    hubs = list(problem.hubs)
    n_w = start.shape[2]
    hub_size = 2 * len(hubs) * n_w
    size = hub_size + shared.size
    theta = start.copy()
    nu = np.zeros(len(problem.nuisances)) if nu is None else nu.copy()
    places = [np.searchsorted(shared, b.scalars[b.own_scalars :]) for b in blocks]

    def assemble(theta: Array, nu: Array) -> tuple[list[Normal], Array, Array, float]:
        normals = [
            normal_equations(b, theta, nu, weight, prior, at, size)
            for b, at in zip(blocks, places, strict=True)
        ]
        bb = sum((n.bb for n in normals), np.zeros((size, size)))
        gb = sum((n.gb for n in normals), np.zeros(size))
        cost = sum(n.cost for n in normals) + float((nu[shared] ** 2).sum())
        bb[hub_size:, hub_size:] += np.eye(shared.size)
        gb[hub_size:] -= nu[shared]
        for i, paint in enumerate(hubs):
            for q in range(2):
                at = slice((2 * i + q) * n_w, (2 * i + q + 1) * n_w)
                off = theta[paint, q] - prior.center[paint, q]
                bb[at, at] += prior.precision[paint, q]
                gb[at] -= prior.precision[paint, q] @ off
                cost += float(off @ prior.precision[paint, q] @ off)
        return normals, bb, gb, cost

    normals, bb, gb, cost = assemble(theta, nu)
    damping, step, small, settled = _DAMPED, 0, 0, False
    while step < most:
        step += 1
        parts, schur, right = eliminate(normals, bb, gb, damping)
        new_theta, new_nu = stepped(problem, theta, nu, parts, schur, right)
        trial = assemble(new_theta, new_nu)
        if trial[3] <= cost:
            # A damped step falls little wherever it is taken: only a whole one tells the minimum.
            small = small + 1 if cost - trial[3] < tolerance else 0
            done = small == patience or (small > 0 and damping == 0.0)
            theta, nu = new_theta, new_nu
            normals, bb, gb, cost = trial
            damping = damping / 100 if damping > _LEAST else 0.0
            if progress is not None:
                progress(step, cost)
            if done:
                settled = True
                break
        else:
            damping = max(10 * damping, _DAMPED)
            if damping > 1e8:
                settled = True  # no step of any length lowers the cost any more
                break
    return minimum(problem, theta, nu, normals, bb, gb, prior, cost, settled)


Eliminated = list[tuple[tuple[Array, bool], Array, Array]]
"""Of each block: its own part's Cholesky factor, its response to the border, its own step."""


def eliminate(
    normals: Sequence[Normal], bb: Array, gb: Array, damping: float
) -> tuple[Eliminated, Array, Array]:
    """Eliminate each block's own unknowns; what is left are the border's equations."""
    schur, right = bb + damping * np.diag(np.diag(bb)), gb.copy()
    parts: Eliminated = []
    for n in normals:
        if not n.gl.size:
            parts.append(((np.zeros((0, 0)), True), np.zeros((0, gb.size)), n.gl))
            continue
        factor = cho_factor(n.ll + damping * np.diag(np.diag(n.ll)), lower=True)
        both = cho_solve(factor, np.column_stack([n.lb, n.gl]))
        response, own = both[:, :-1], both[:, -1]
        schur -= n.lb.T @ response
        right -= n.lb.T @ own
        parts.append((factor, response, own))
    return parts, schur, right


def stepped(
    problem: Problem, theta: Array, nu: Array, parts: Eliminated, schur: Array, right: Array
) -> tuple[Array, Array]:
    """Values after one step, from the eliminated equations; a far step is cut short."""
    blocks, shared = clusters(problem)
    n_w = theta.shape[2]
    across = np.asarray(np.linalg.solve(schur, right) if right.size else right, dtype=float)
    theta, nu = theta.copy(), nu.copy()
    for i, paint in enumerate(problem.hubs):
        theta[paint] += _limit(across[2 * i * n_w : 2 * (i + 1) * n_w].reshape(2, n_w))
    nu[shared] += np.clip(across[2 * len(problem.hubs) * n_w :], -_FAR, _FAR)
    for block, (_, response, own) in zip(blocks, parts, strict=True):
        delta = own - response @ across
        mine = 2 * block.own * n_w
        theta[block.paints[: block.own]] += _limit(delta[:mine].reshape(block.own, 2, n_w))
        nu[block.scalars[: block.own_scalars]] += np.clip(delta[mine:], -_FAR, _FAR)
    return theta, nu


def minimum(
    problem: Problem,
    theta: Array,
    nu: Array,
    normals: Sequence[Normal],
    bb: Array,
    gb: Array,
    prior: Prior,
    cost: float,
    settled: bool,
) -> Solution:
    """Collect a solution at its minimum, where its normal equations were last formed."""
    blocks, shared = clusters(problem)
    parts, schur, _ = eliminate(normals, bb, gb, 0.0)
    fitted = np.full(problem.measured.shape, np.nan)
    share = np.zeros(problem.fractions.shape)
    thickness = np.full(problem.film.size, np.nan)
    for block, n in zip(blocks, normals, strict=True):
        fitted[block.rows] = n.fitted
        c, log_x, _, _ = block.mixes(nu[block.scalars])
        share[np.ix_(block.drawdowns, block.paints)] = c
        thickness[block.drawdowns] = np.exp(log_x)
    thickness[~problem.film] = np.nan
    border = np.asarray(np.linalg.inv(schur) if gb.size else schur, dtype=float)
    kept = tuple((b, f, r) for b, (f, r, _) in zip(blocks, parts, strict=True))
    return Solution(
        theta, nu, fitted, share, thickness, kept, border, schur, shared, prior, cost, settled
    )


def _limit(step: Array) -> Array:
    """Keep a step in log K or log S below a factor of e^2, where the model is far from linear."""
    return np.clip(step, -2.0, 2.0)
