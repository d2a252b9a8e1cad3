"""How well the other steps of a ladder predict each one: leave one step out, and predict it.

What a model gets wrong of a paint's part in mixes shows there and nowhere else: a step that is
fitted pulls the paint's K and S towards itself.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from ...optics.colour import ciede2000, lab, lab_jacobian
from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.rows import Ints
from ..problem.spread import each
from ..problem.threads import one_thread
from ..solver.clusters import clusters
from ..solver.forward import Block
from ..solver.normal import Prior
from ..solver.slopes import slopes as block_slopes
from ..solver.solve import Solution, solve
from .quality import root_mean_square

_TOLERANCE = 1e-4
_SETTLED = 0.02
"""Move of a log K, log S or nuisance value's standard deviation below which a refit has arrived."""
_MOST = 30
_FARTHEST = 2.0


@dataclass(frozen=True)
class LeftOut:
    """Steps predicted from all the others.

    Attributes
    ----------
    patches : DataFrame
        A row for each patch: card, patch, step, over, de00 (predicted without its step against the
        reading, D50/2 deg), rms (the same in reflectance).
    mixed : (n,) bool array
        Whether more than one paint is in it, and its uncertainty was worked out.
    off : (n, 3) array
        CIELAB predicted less read.
    covariance : (n, 3, 3) array
        Of that, as far as the other readings, the weighing, the thickness and the noise of the
        reading itself leave it open.
    parts : (n, 3, 3) array
        What is added where the K and the S of each paint in it are off by their own size, each
        independently.
    by_reflectance : (n, 3, W) array
        Slope of CIELAB.
    """

    patches: pd.DataFrame
    mixed: NDArray[np.bool_]
    off: Array
    covariance: Array
    parts: Array
    by_reflectance: Array


def leave_steps_out(
    problem: Problem, solution: Solution, weight: Array, wanted: Collection[tuple[str, str]]
) -> LeftOut:
    """Predict steps from all the others.

    Parameters
    ----------
    problem : Problem
    solution : Solution
        At its minimum.
    weight : (N, W) array
        The inverse variances that it was found with.
    wanted : collection of (card, patch)
        Each of them, with the others of its step.

    Returns
    -------
    LeftOut
        Of each of these patches.

    Notes
    -----
    The step's own block is solved again without its readings, with what the priors and all other
    blocks say summed up as a quadratic. Without a drawdown of the white alone every ladder gives
    way: then all are solved again. Of a step left out, what is its own alone (its thickness,
    its weighings) falls back to what was believed before.
    """
    fitted = np.full(problem.measured.shape, np.nan)
    size = len(fitted)
    covariance, parts = np.zeros((size, 3, 3)), np.zeros((size, 3, 3))
    by_reflectance = np.zeros((size, 3, problem.wavelengths.size))
    told = np.zeros(size, dtype=bool)
    asked = [n for n, p in enumerate(problem.patches) if (p.card, p.label) in wanted]
    drawdowns = np.unique(problem.drawdown[asked])
    with one_thread():
        place = {id(block): i for i, block in enumerate(clusters(problem)[0])}
        # Laid out as they would arrive elsewhere: the order of adding up, and so the last bit,
        # hangs on that.
        blocks = [
            _BlockLeft(
                place[id(block)],
                np.ascontiguousarray(factor),
                np.ascontiguousarray(response),
                np.intersect1d(block.drawdowns, drawdowns),
            )
            for block, factor, response in solution.blocks
        ]
        border = np.ascontiguousarray(solution.curvature)
        known = _Known(problem, solution.theta, solution.nu, solution.prior, weight, border)
        for step in chain.from_iterable(each(_left_out_of, known, blocks)):
            at = step.rows
            fitted[at], told[at] = step.fitted, step.told
            covariance[at], parts[at] = step.covariance, step.parts
            by_reflectance[at] = step.by_reflectance
    rows = np.flatnonzero(np.isin(problem.drawdown, drawdowns))
    patches, measured = [problem.patches[n] for n in rows], problem.measured[rows]
    fitted = np.where(np.isnan(measured), np.nan, fitted[rows])
    wavelengths = problem.wavelengths
    made, seen = lab(fitted, wavelengths), lab(measured, wavelengths)
    table = pd.DataFrame(
        {
            "card": [p.card for p in patches],
            "patch": [p.label for p in patches],
            "step": [p.step for p in patches],
            "over": [p.over for p in patches],
            "de00": ciede2000(made, seen),
            "rms": root_mean_square(measured - fitted),
        }
    )
    return LeftOut(
        table, told[rows], made - seen, covariance[rows], parts[rows], by_reflectance[rows]
    )


class _Known(NamedTuple):
    """A solution, as every step is left out of it."""

    problem: Problem
    theta: Array
    nu: Array
    prior: Prior
    weight: Array
    border: Array
    """Precision of the border."""


class _BlockLeft(NamedTuple):
    """A block, by its place, its factor and response, and the drawdowns to leave out of it."""

    place: int
    factor: Array
    response: Array
    drawdowns: Ints


class _StepLeft(NamedTuple):
    """What the others predict of a step; its rows are those of the problem."""

    rows: Ints
    fitted: Array
    told: bool
    covariance: Array | float
    parts: Array | float
    by_reflectance: Array | float


def _left_out_of(known: _Known, of: _BlockLeft) -> list[_StepLeft]:
    """Leave steps out of one block, each by itself."""
    problem, block = known.problem, clusters(known.problem)[0][of.place]
    rest = _Rest(known, block, of.factor, of.response) if block.own else None
    found = []
    for drawdown in of.drawdowns:
        rows = np.flatnonzero(problem.drawdown[block.rows] == drawdown)
        at = block.rows[rows]
        if rest is None:
            found.append(_StepLeft(at, _solved_without(known, at), False, 0.0, 0.0, 0.0))
            continue
        fitted, by, precision = rest.without(rows)
        slope = _slope(fitted, problem.measured[at], problem.wavelengths)
        moved, noise = slope @ by, slope * np.nan_to_num(problem.variance[at])[:, None]
        covariance = moved @ np.linalg.solve(precision, moved.transpose(0, 2, 1))
        covariance += noise @ slope.transpose(0, 2, 1)
        moved = slope @ rest.by_part(by)
        told = bool((problem.fractions[drawdown] > 0).sum() > 1)
        parts = moved @ moved.transpose(0, 2, 1)
        found.append(_StepLeft(at, fitted, told, covariance, parts, slope))
    return found


def _slope(fitted: Array, measured: Array, wavelengths: Array) -> Array:
    """Slope of CIELAB by reflectance, (n, 3, W); 0 where nothing was read."""
    read = ~np.isnan(measured)
    slope = lab_jacobian(np.where(read, fitted, np.nan), wavelengths)
    return np.where(read[:, None], slope, 0.0)


def _solved_without(known: _Known, rows: Ints) -> Array:
    """Readings of some patches as a fit of all the others predicts them."""
    weight = known.weight.copy()
    weight[rows] = 0.0
    again = solve(
        known.problem, known.theta, known.prior, weight, nu=known.nu, tolerance=_TOLERANCE
    )
    return again.fitted[rows]


class _Rest:
    """A block and what is known of its unknowns beside its own readings.

    Its unknowns X stand in the order of the solver: own log K and log S, own nuisance values, then
    the border's.
    """

    def __init__(self, known: _Known, block: Block, factor: Array, response: Array) -> None:
        problem = known.problem
        self.block, self.n_w = block, problem.wavelengths.size
        self.measured, self.weight = problem.measured[block.rows], known.weight[block.rows]
        self.spectral = 2 * block.own * self.n_w
        self.hubs = 2 * (block.paints.size - block.own) * self.n_w
        self.border_scalars = clusters(problem)[1]
        self.shared = np.searchsorted(self.border_scalars, block.scalars[block.own_scalars :])
        theta = known.theta[block.paints]
        self.start = np.concatenate(
            [
                theta[: block.own].ravel(),
                known.nu[block.scalars[: block.own_scalars]],
                theta[block.own :].ravel(),
                known.nu[self.border_scalars],
            ]
        )
        self.inner = self.spectral + block.own_scalars
        own = factor @ factor.T
        across = own @ response
        border = known.border + response.T @ across
        whole = np.block([[own, across], [across.T, border]])
        residual, slopes = self._linear(self.start, self.weight)
        # At the minimum the rest pulls just as hard as the block's readings, the other way.
        self.pull = slopes.T @ residual
        self.precision = whole - slopes.T @ slopes

    def _linear(self, x: Array, weight: Array) -> tuple[Array, Array]:
        """Weighted residuals (N W,) and slopes (N W, X) of the block's patches."""
        b = self.block
        fitted, spectral, scalar = self._predict(x)
        root = np.sqrt(weight)
        residual = np.where(weight > 0, self.measured - fitted, 0.0) * root
        by = block_slopes(b, spectral, scalar, self.border_scalars) * root[:, :, None]
        return residual.ravel(), by.reshape(b.rows.size * self.n_w, x.size)

    def _predict(self, x: Array) -> tuple[Array, Array, Array]:
        b, hubs = self.block, slice(self.inner, self.inner + self.hubs)
        theta = np.concatenate([x[: self.spectral], x[hubs]]).reshape(-1, 2, self.n_w)
        nu = np.concatenate([x[self.spectral : self.inner], x[hubs.stop :][self.shared]])
        return b.predict(theta[:, 0], theta[:, 1], nu)[:3]

    def by_part(self, by: Array) -> Array:
        """Change of readings with the whole K, and S, of each paint: (n, W, X) to (n, W, 2 A)."""
        hubs = slice(self.inner, self.inner + self.hubs)
        logs = np.concatenate([by[:, :, : self.spectral], by[:, :, hubs]], axis=2)
        whole: Array = logs.reshape(*logs.shape[:2], -1, self.n_w).sum(axis=3)
        return whole

    def without(self, rows: Ints) -> tuple[Array, Array, Array]:
        """Readings of some of the block's patches as everything else predicts them.

        Returns
        -------
        fitted : (n, W) array
        slopes : (n, W, X) array
            By the unknowns.
        precision : (X, X) array
            Of these, without the readings left out.
        """
        weight = self.weight.copy()
        weight[rows] = 0.0
        x = self.start
        residual, slopes = self._linear(x, weight)
        cost, damping = float(residual @ residual), 0.0
        for _ in range(_MOST):
            moved = x - self.start
            normal = slopes.T @ slopes + self.precision
            right = slopes.T @ residual - self.pull - self.precision @ moved
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right)
            trial = x + np.clip(step, -_FARTHEST, _FARTHEST)
            moved = trial - self.start
            new_residual, new_slopes = self._linear(trial, weight)
            new_cost = float(
                new_residual @ new_residual + 2 * self.pull @ moved + moved @ self.precision @ moved
            )
            if new_cost > cost + 1e-9:
                damping = max(10 * damping, 1e-3)
                continue
            x, residual, slopes, cost = trial, new_residual, new_slopes, new_cost
            # A damped step is short wherever it is taken: only a whole one tells the minimum.
            if damping == 0.0 and np.abs(step).max() < _SETTLED:
                break
            damping = damping / 100 if damping > 1e-7 else 0.0
        fitted, spectral, scalar = self._predict(x)
        by = block_slopes(self.block, spectral, scalar, self.border_scalars)
        return fitted[rows], by[rows], slopes.T @ slopes + self.precision
