"""How far films' own surfaces lie from the surface record, learnt from the dark films of a fit.

An underbound film is matt and a resinous one glossier than the record says, each by itself. That
shows where a film is dark. Where it is light, what the model gets wrong is wrong at all wavelengths
alike, as far as half, and hides its surface.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import minimize_scalar

from ...optics.spectra import Array
from ..problem.settings import FitSettings
from ..solver.solve import Solution
from .model_errors import FREEDOM, errors_at

KIND = "own surface"
_ALIKE = 0.5
"""Share of the model's error that is the same at all wavelengths, as predictions have it."""
_LEAST, _MOST = 1e-5, 0.02
_FARTHEST = 3.0
"""Standard deviations of its prior that a surface begins from at most: steps towards a far narrower
one would be many."""
_BELIEVED, _SPREAD = 0.001, 1.0
"""Median and spread of its logarithm before any film is seen (our choice)."""


def learnt_surface_error(solution: Solution, weight: Array, settings: FitSettings) -> float:
    """Return how far films' own surfaces lie from the record, by likelihood.

    Parameters
    ----------
    solution : Solution
    weight : (N, W) array
        0 for what has no say.
    settings : FitSettings
        With the errors learnt so far.

    Returns
    -------
    float
        Standard deviation of reflectance. A film far from all others says little: Student's
        distribution.
    """
    problem = solution.problem
    own = np.zeros(problem.film.size)
    for value, n in zip(solution.nu.tolist(), problem.nuisances, strict=True):
        if n.kind == KIND:
            own[n.drawdowns[0]] = n.spread * value
    errors = errors_at(problem, solution)
    both = errors.variance(settings, problem.paints)
    good = (weight > 0) & np.isfinite(both)
    alike = np.where(good, _ALIKE * (both - errors.read), 0.0)
    each = np.where(good, both, 1.0) - alike
    felt = np.where(good, 1 - solution.fitted, 0.0)
    left = np.where(good, problem.measured - solution.fitted, 0.0)
    # A level common to all wavelengths, beside what each has to itself (Sherman and Morrison 1950).
    level = np.sqrt(alike)
    across, beside = (felt * level / each).sum(axis=1), 1 + (level**2 / each).sum(axis=1)
    told = (felt**2 / each).sum(axis=1) - across**2 / beside
    says = (felt * left / each).sum(axis=1) - across * (level * left / each).sum(axis=1) / beside
    told, says = (np.bincount(problem.drawdown, of, own.size) for of in (told, says))
    films = np.flatnonzero(told > 1 / _MOST**2)
    if not films.size:
        return 0.0
    square = (own[films] + says[films] / told[films]) ** 2

    def unlikeliness(log_error: float) -> float:
        total = np.exp(2 * log_error) + 1 / told[films]
        each = np.log(total) + (FREEDOM + 1) * np.log1p(square / total / FREEDOM)
        return float(each.sum() + ((log_error - np.log(_BELIEVED)) / _SPREAD) ** 2)

    bounds = (np.log(_LEAST), np.log(_MOST))
    found = minimize_scalar(unlikeliness, bounds=bounds, method="bounded").x
    return round(float(np.exp(found)), 6)


def with_room(solution: Solution, spread: float) -> Solution:
    """Give films' own surfaces another prior; they stay where they are, as far as that lets them.

    Parameters
    ----------
    solution : Solution
    spread : float
        Standard deviation of reflectance.

    Returns
    -------
    Solution
        A place to go on from, with the problem so changed.
    """
    nuisances, nu = list(solution.problem.nuisances), solution.nu.copy()
    for m, n in enumerate(nuisances):
        if n.kind == KIND:
            nuisances[m] = replace(n, spread=spread)
            nu[m] = np.clip(nu[m] * n.spread / spread, -_FARTHEST, _FARTHEST)
    problem = replace(solution.problem, nuisances=tuple(nuisances))
    return replace(solution, problem=problem, nu=nu)
