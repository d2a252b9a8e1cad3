"""Solves a problem with the weights, the smoothness and the findings that it asks for itself.

Weights, smoothness and what the model gets wrong follow from a solution, and a solution from them;
what doesn't belong is looked for between. So they are found in turn.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..optics.coefficients import ABSOLUTE
from ..optics.spectra import Array
from .judging.outliers import find, wrong_white
from .judging.trust import of_free_thickness, trust, without
from .problem.arrays import Problem
from .problem.finding import Finding
from .problem.settings import FitSettings
from .problem.start import starting_values
from .solver.normal import Normal, Prior
from .solver.solve import Progress, Solution, solve
from .uncertainty.film_surfaces import learnt_surface_error, with_room
from .uncertainty.model_errors import first_weight, full_weight, learnt
from .uncertainty.posterior import learnt_roughness

_ANCHOR_SD = 40.0
"""Spread of log K and log S about their starting level. It only keeps the problem solvable where
the readings are silent: a tighter one on hundreds of values would pin the scale all share."""
_STEEPEST = 1.5
"""Spread of log S over wavelength, about the paint's own level: twice that of scattering as the
inverse fourth power of wavelength (Rayleigh's limit, of the smallest particles), which published S
of opaque paints comes to. Where a film only just hides, its readings put no upper end to S; this
does."""
_SMOOTH_AT_FIRST = (0.5, 0.2)
"""Roughness of log K and log S to begin from, where none is given."""
_ROUNDS, _PAINT_ROUNDS = 2, 2
"""How often smoothness and errors are learnt, each from the other's last; then paints' own."""
_LOOKS = 4
"""How often to look for what doesn't belong; each look finds one thing a paint."""
_ROUGHLY, _FINELY = 10.0, 1e-8
"""Falls of the cost at which the first pass, of provisional weights, and the last may stop."""
HELD = 1e13
"""Precision of a log K or log S that is held."""


def minimise(
    problem: Problem,
    start: Array,
    settings: FitSettings,
    held: Sequence[int] = (),
    progress: Progress | None = None,
    known: Sequence[Finding] | None = None,
) -> tuple[Solution, Array, FitSettings]:
    """Solve a problem with the weights and the smoothness that it asks for.

    Parameters
    ----------
    problem : Problem
    start : (P, 2, W) array
    settings : FitSettings
    held : sequence of int
        Paints whose K and S stay as they start.
    progress : callable, optional
    known : sequence of Finding, optional
        What doesn't belong; None: it is looked for.

    Returns
    -------
    solution : Solution
    weight : (N, W) array
        Of every patch, as if none had been set aside.
    settings : FitSettings
        With the smoothness used.
    """
    findings = list(known or ())
    as_read = problem

    def found_with(findings: Sequence[Finding]) -> _Way:
        problem, kept = of_free_thickness(as_read, findings), trust(as_read, findings)
        begin = start
        if findings and known is None:
            # What doesn't belong may have led astray where the fit began.
            begin = starting_values(without(problem, kept))
            begin[list(held)] = start[list(held)]
        return _learnt_on_the_way(problem, start, begin, kept, settings, held, progress)

    way = found_with(findings)
    for _ in range(_LOOKS if known is None else 0):
        more = _more_found(way, findings, settings, held, found_with)
        if not more:
            break
        findings += more
        way = found_with(findings)
    problem, kept = way.solution.problem, trust(as_read, findings)
    # Only now, for a wrong step must not pass for a paint that the model holds badly.
    for _ in range(_PAINT_ROUNDS if settings.model_spread is None else 0):
        way = _errors_learnt(problem, way, kept, progress, by_paint=True)
    # No reading tells the last steps apart, but with weights of the minimum itself they bring other
    # machines to the same values.
    weight = full_weight(problem, way.solution, way.settings)
    at = way.solution
    solution = solve(
        problem, at.theta, way.prior, weight * kept[:, None], nu=at.nu, tolerance=_FINELY
    )
    return replace(solution, findings=tuple(findings)), weight, way.settings


class _Way(NamedTuple):
    """A solution, what it was found with, and the settings learnt so far."""

    solution: Solution
    prior: Prior
    weight: Array
    settings: FitSettings


def _more_found(
    way: _Way,
    findings: Sequence[Finding],
    settings: FitSettings,
    held: Sequence[int],
    found_with: Callable[[Sequence[Finding]], _Way],
) -> list[Finding]:
    """Find what else doesn't belong; a white that all ladders contradict only where nothing does.

    Nothing, where what is found changes nothing.
    """
    problem = way.solution.problem
    kept = trust(problem, findings)
    told = {(f.kind, f.rows) for f in findings}
    new = find(problem, way.prior, way.solution, way.weight * kept[:, None], held)
    new = [f for f in new if (f.kind, f.rows) not in told]
    changed = not np.array_equal(kept, trust(problem, [*findings, *new]))
    if changed or any(f.kind == "film" for f in new) or settings.model_spread is not None:
        return new

    def without_step(trial: Finding) -> tuple[Solution, Array, FitSettings]:
        again = found_with([*findings, trial])
        return again.solution, again.weight, again.settings

    white = wrong_white(problem, way.settings, without_step)
    return new if white is None or (white.kind, white.rows) in told else [*new, white]


def _learnt_on_the_way(
    problem: Problem,
    start: Array,
    begin: Array,
    kept: Array,
    settings: FitSettings,
    held: Sequence[int],
    progress: Progress | None,
) -> _Way:
    """Solve without what was set aside; learn the smoothness and the errors where not given."""
    prior = smooth_prior(problem, start, settings, held)
    rough = first_weight(problem, settings) * kept[:, None]
    solution = solve(
        problem, begin, prior, rough, tolerance=_ROUGHLY, patience=1, progress=progress
    )
    weight = full_weight(problem, solution, settings)
    solution = _onward(problem, solution, prior, weight * kept[:, None], progress)
    way = _Way(solution, prior, weight, settings)
    for _ in range(_ROUNDS):
        if settings.roughness is None:
            used = replace(way.settings, roughness=learnt_roughness(problem, way.solution, held))
            prior = smooth_prior(problem, start, used, held)
            formed = way.solution.equations.normals
            solution = _onward(
                problem, way.solution, prior, way.weight * kept[:, None], progress, formed
            )
            way = _Way(solution, prior, way.weight, used)
        if settings.surface_error is None:
            way = _surfaces_learnt(way, kept, progress)
            problem = way.solution.problem
        if settings.model_spread is None:
            way = _errors_learnt(problem, way, kept, progress, by_paint=False)
    return way


def _surfaces_learnt(way: _Way, kept: Array, progress: Progress | None) -> _Way:
    """Learn how far films' own surfaces lie from the record, and give them that room."""
    trusted = way.weight * kept[:, None]
    error = learnt_surface_error(way.solution, trusted, way.settings)
    used = replace(way.settings, surface_error=error)
    at = with_room(way.solution, used.surface_room)
    return _Way(_onward(at.problem, at, way.prior, trusted, progress), way.prior, way.weight, used)


def _errors_learnt(
    problem: Problem, way: _Way, kept: Array, progress: Progress | None, by_paint: bool
) -> _Way:
    """Learn the model's errors from what a solution leaves over, and go on with them."""
    trusted = full_weight(problem, way.solution, way.settings) * kept[:, None]
    used = learnt(problem, way.solution, trusted, way.settings, by_paint)
    weight = full_weight(problem, way.solution, used)
    solution = _onward(problem, way.solution, way.prior, weight * kept[:, None], progress)
    return _Way(solution, way.prior, weight, used)


def _onward(
    problem: Problem,
    at: Solution,
    prior: Prior,
    weight: Array,
    progress: Progress | None,
    formed: list[Normal] | None = None,
) -> Solution:
    """Go on from a solution under another prior or other weights; more is to come after it."""
    return solve(
        problem,
        at.theta,
        prior,
        weight,
        nu=at.nu,
        formed=formed,
        tolerance=0.1,
        patience=1,
        progress=progress,
    )


def smooth_prior(
    problem: Problem, start: Array, settings: FitSettings, held: Sequence[int] = ()
) -> Prior:
    """Log K and log S vary smoothly over wavelength, as far as `settings.roughness`.

    And log S strays no further than `_STEEPEST`.

    Those of held paints stay as they start, and S of the white that a relative scale names is 1.
    """
    n_w = problem.wavelengths.size
    second = np.diff(np.eye(n_w), 2, axis=0)
    rough = np.stack([second.T @ second / r**2 for r in settings.roughness or _SMOOTH_AT_FIRST])
    anchor = np.eye(n_w) / _ANCHOR_SD**2
    rough[1] += (np.eye(n_w) - 1 / n_w) / _STEEPEST**2
    of_any = np.zeros((2 * n_w, 2 * n_w))
    of_any[:n_w, :n_w], of_any[n_w:, n_w:] = rough + anchor
    # Paints believed alike share one array, however many they are.
    precision = np.broadcast_to(of_any, (len(start), *of_any.shape))
    if held or problem.scale != ABSOLUTE:
        precision = precision.copy()
    center = np.repeat(start.mean(axis=2, keepdims=True), n_w, axis=2)
    if problem.scale != ABSOLUTE:
        white = problem.paints.index(problem.scale.removeprefix("relative to "))
        precision[white, n_w:, n_w:] += np.eye(n_w) * HELD
        center[white, 1] = 0.0
    for paint in held:
        precision[paint] = np.eye(2 * n_w) * HELD
        center[paint] = start[paint]
    return Prior(center, precision)
