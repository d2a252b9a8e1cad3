"""What a model gets wrong of readings, learnt from what a fit leaves over.

At each wavelength the model's error is ``dark_spread``, and ``model_spread`` times R (1 - R) of the
reflectance inside: what a relative error of K/S does to a film that hides. Both are learnt by
marginal likelihood: of what a fit leaves over, that share counts which the fit could not take up
(MacKay 1992). One step gone wrong, or a few, must not pass for the model's error, so a step's own
scale is Student's: how much it says falls with how far it is off. Then each paint's own factor is
learnt, drawn towards one.

References
----------
D. J. C. MacKay, Bayesian interpolation, Neural Computation 4 (1992) 415.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from ...optics.spectra import Array
from ...optics.surface import to_inside
from ..problem.arrays import Problem
from ..problem.rows import Ints
from ..problem.settings import FitSettings
from ..solver.slopes import fitted_variance
from ..solver.solve import Solution

FREEDOM = 4.0
"""Of Student's distribution of steps, under which one gone wrong says little (our choice; from 4 to
16 little changes)."""
_ROUNDS = 4
_LEAST_FREE = 0.02
"""Least share of a reading that a fit is said not to take up."""
INDEPENDENT = 4.0
"""Independent values that a patch's residuals come to, for neighbours err alike (our choice)."""
_ALIKE = 12.0
"""Independent values that a paint must show before its own scale counts as much as all paints'."""
_MOST_SPREAD, _MOST_DARK = 1.0, 0.03


def first_weight(problem: Problem, settings: FitSettings) -> Array:
    """Inverse variance before any fit, (N, W): the reading's noise and a share of its value.

    Parameters
    ----------
    problem : Problem
    settings : FitSettings

    Returns
    -------
    (N, W) array
    """
    total = problem.variance + (settings.known_spread * problem.measured) ** 2
    return np.where(np.isnan(total), 0.0, 1 / np.where(np.isnan(total), 1.0, total))


class Errors(NamedTuple):
    """Variances of readings at a fit, (N, W): of reading, and what model errors are scaled by.

    Attributes
    ----------
    read : (N, W) array
        Of the patch's own noise and of the bare substrate's as it reaches the patch.
    bend : (N, W) array
        Change of the reading with a relative change of what is inside: slope times R (1 - R).
    owner : (N,) int array
        The paint whose ladder a patch belongs to; else its colour, or the white of a white alone.
    """

    read: Array
    bend: Array
    owner: Ints

    def variance(self, settings: FitSettings, paints: tuple[str, ...]) -> Array:
        """Variance of each reading about the model's, (N, W).

        Parameters
        ----------
        settings : FitSettings
        paints : tuple of str
            Nicknames in the order of `owner`.

        Returns
        -------
        (N, W) array
        """
        factor = np.array([settings.paint_errors.get(p, 1.0) for p in paints])[self.owner, None]
        of_model = settings.dark_spread**2 + (settings.known_spread * self.bend) ** 2
        result: Array = self.read + factor**2 * of_model
        return result


def errors_at(problem: Problem, solution: Solution) -> Errors:
    """What readings scatter by at a fit.

    Parameters
    ----------
    problem : Problem
    solution : Solution

    Returns
    -------
    Errors
    """
    bend = np.empty(problem.measured.shape)
    for surface in dict.fromkeys(problem.surfaces):
        rows = np.array([s == surface for s in problem.surfaces])
        r = to_inside(solution.fitted[rows], surface)
        bend[rows] = surface.tau / (1 - surface.k2 * r) ** 2 * r * (1 - r)
    colour = problem.fractions[problem.drawdown].copy()
    # A white counts where nothing else is in the mix.
    colour[:, list(problem.hubs)] *= 1e-9
    column = {paint: i for i, paint in enumerate(problem.paints)}
    for n, patch in enumerate(problem.patches):
        if patch.paint in column:
            colour[n, column[patch.paint]] = 2.0
    read = problem.variance + solution.by_bare**2 * problem.bare_variance
    return Errors(read, bend, colour.argmax(axis=1))


def full_weight(problem: Problem, solution: Solution, settings: FitSettings) -> Array:
    """Inverse variance at a fit, (N, W): of reading noise and of the model's error together.

    Parameters
    ----------
    problem : Problem
    solution : Solution
    settings : FitSettings

    Returns
    -------
    (N, W) array
    """
    total = errors_at(problem, solution).variance(settings, problem.paints)
    good = ~np.isnan(problem.measured) & ~np.isnan(total)
    return np.where(good, 1 / np.where(good, total, 1.0), 0.0)


def learnt(
    problem: Problem, solution: Solution, weight: Array, settings: FitSettings, by_paint: bool
) -> FitSettings:
    """Return the settings with the errors that a fit's own residuals show.

    Parameters
    ----------
    problem : Problem
    solution : Solution
    weight : (N, W) array
        Inverse variances that it was found with; 0 for what has no say.
    settings : FitSettings
        The errors to begin from.
    by_paint : bool
        Whether each paint's own factor is learnt too.

    Returns
    -------
    FitSettings
    """
    left = _LeftOver(problem, solution, weight)
    if not left.good.any():
        return settings
    least = settings.least_spread
    at = np.log([max(settings.known_spread, least), max(settings.dark_spread, 1e-4)])
    bounds = [(np.log(least), np.log(_MOST_SPREAD)), (np.log(1e-5), np.log(_MOST_DARK))]
    say = np.ones(len(weight))
    for _ in range(_ROUNDS):
        found = minimize(left.unlikeliness, at, args=(say,), jac=True, bounds=bounds).x
        say = left.say(found)
        if np.allclose(found, at, atol=0.01):
            break
        at = found
    spread, dark = (float(x) for x in np.exp(found))
    own = left.by_paint(found) if by_paint else {}
    return replace(settings, model_spread=spread, dark_spread=dark, paint_errors=own)


class _LeftOver:
    """What a fit leaves over, and what that says of errors."""

    def __init__(self, problem: Problem, solution: Solution, weight: Array) -> None:
        self.problem, self.errors = problem, errors_at(problem, solution)
        self.good: NDArray[np.bool_] = weight > 0
        self.square = np.where(self.good, problem.measured - solution.fitted, 0.0) ** 2
        taken = fitted_variance(solution) * weight
        self.free = np.where(self.good, np.maximum(1 - taken, _LEAST_FREE), 0.0)
        self.read = np.where(self.good, self.errors.read, 1.0)
        self.bend = np.where(self.good, self.errors.bend, 0.0)
        self.steps, self.first, self.step = np.unique(
            problem.drawdown, return_index=True, return_inverse=True
        )

    def _variance(self, logs: Array) -> Array:
        spread, dark = np.exp(2 * logs)
        result: Array = self.read + dark + spread * self.bend**2
        return result

    def unlikeliness(self, logs: Array, say: Array) -> tuple[float, Array]:
        """Twice the negative log likelihood of log spread and log dark, and its slopes."""
        variance = self._variance(logs)
        free, square = self.free * say[:, None], self.square * say[:, None]
        value = float((free * np.log(variance) + square / variance)[self.good].sum())
        by = np.where(self.good, free / variance - square / variance**2, 0.0)
        spread, dark = np.exp(2 * logs)
        slopes: Array = 2 * np.array([spread * (by * self.bend**2).sum(), dark * by.sum()])
        size = max(float(self.free.sum()), 1.0)
        return value / size, np.asarray(slopes / size, dtype=float)

    def _ratios(self, logs: Array) -> tuple[Array, Array]:
        """Each step's squares over what is expected of them, and how many values that rests on."""
        of = self.square / self._variance(logs)
        total, free = (
            np.bincount(self.step, np.where(self.good, v, 0.0).sum(axis=1), self.steps.size)
            for v in (of, self.free)
        )
        share = np.bincount(self.step, self.free.mean(axis=1), self.steps.size)
        ratio = np.asarray(total / np.maximum(free, 1e-9), dtype=float)
        values = np.asarray(INDEPENDENT * share, dtype=float)
        return ratio, values

    def say(self, logs: Array) -> Array:
        """How much each patch says, (N,): less, the further its step is off."""
        ratio, values = self._ratios(logs)
        each: Array = (FREEDOM + values) / (FREEDOM + values * ratio)
        return each[self.step]

    def by_paint(self, logs: Array) -> dict[str, float]:
        """Factor of each paint's errors, never below one's that suit all paints."""
        ratio, values = self._ratios(logs)
        owner = self.errors.owner[self.first]
        factors = {}
        for i in np.unique(owner):
            mine = owner == i
            square = (_ALIKE + (values * ratio)[mine].sum()) / (_ALIKE + values[mine].sum())
            factors[self.problem.paints[int(i)]] = round(float(np.sqrt(max(square, 1.0))), 6)
        return factors
