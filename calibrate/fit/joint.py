"""Fits K and S of paints to the readings of their cards."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from ..cards.readings import CardReadings
from ..optics.coefficients import ABSOLUTE, Coefficients
from ..optics.spectra import Array
from .judging.leave_out import LeftOut, leave_steps_out
from .judging.mixtures_out import Conclude, without_mixtures
from .judging.outliers import find
from .judging.part_errors import erring, learnt_part_error
from .judging.quality import nuisance_table, paint_fits
from .judging.trust import of_free_thickness, trust, without
from .judging.wrong_white import wrong_white
from .problem.arrays import Problem
from .problem.finding import Finding
from .problem.noise import reading_noise
from .problem.result import JointFit, WithoutMixtures
from .problem.seen import ratio_only, unread
from .problem.set_aside import Fittable, fittable
from .problem.settings import FitSettings
from .problem.start import starting_values
from .problem.threads import one_thread
from .problem.tube import Tube
from .solver.normal import Normal, Prior
from .solver.solve import Progress, Solution, solve
from .uncertainty.model_errors import first_weight, full_weight, learnt
from .uncertainty.posterior import REST, coefficients, learnt_roughness

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


def fit_paints(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    settings: FitSettings | None = None,
    *,
    leave_out: bool = False,
    progress: Progress | None = None,
) -> JointFit:
    """Fit K and S of every paint on the cards, jointly.

    Parameters
    ----------
    readings : sequence of CardReadings
        Cards whose purpose is ``check`` are passed over; those of ``learn`` hold mixtures that it
        learns from.
    tubes : mapping of nickname to Tube
    settings : FitSettings, optional
    leave_out : bool
        Also predict each step from the others.
    progress : callable, optional
        Called with the step and the cost.

    Returns
    -------
    JointFit

    Raises
    ------
    InputError
        See `tintladder.calibrate.fit.problem.set_aside.fittable`.

    Notes
    -----
    A paint that can't be fitted is set aside with its reason, and so is whatever holds it.

    All wavelengths, paints and nuisance values are one least-squares problem; see
    `tintladder.calibrate.fit.solver.solve`. Uncertainties follow from its curvature at the minimum
    (JCGM 102), so they hold what the nuisance values leave open.

    Where mixtures teach, ladders are solved alone first: what doesn't belong is found among them,
    where steps stand in a row, and ladders are left out of ladders.

    Examples
    --------
    An invented grey of K/S 0.5 and its 4:1 tint in a white of K/S 0.005, both of S 1:

    >>> import numpy as np
    >>> from tintladder.calibrate import Card, Drawdown, Spectra, Surface, Tube
    >>> from tintladder.calibrate import GRID, opaque_reflectance, to_measured
    >>> steps = (
    ...     Drawdown("1", "GREY", {"GREY": 1.0}, over=("white",), white="WHITE", opaque=True),
    ...     Drawdown("2", "GREY", {"GREY": 1.0, "WHITE": 4.0}, over=("white",), white="WHITE",
    ...              opaque=True),
    ... )
    >>> inside = opaque_reflectance(np.array([[0.5], [0.104]]), np.ones((2, 1)))
    >>> values = np.tile(to_measured(inside, Surface.of("di:8")), len(GRID))
    >>> read = Spectra.from_values(GRID, values, ["1/white", "2/white"])
    >>> readings = CardReadings(Card("grey", "", steps), read, Surface.of("di:8"), "grey.txt")
    >>> found = fit_paints([readings], {"GREY": Tube("GREY"), "WHITE": Tube("WHITE")}).coefficients
    >>> round(float(found.k[0, 10] / found.s[0, 10]), 1)
    0.5
    """
    settings = with_noise(settings or FitSettings(), readings)

    can = fittable(readings, tubes, settings)
    with one_thread():
        solved = solved_of(can, lambda problem: (starting_values(problem), ()), settings, progress)
        fit = report(solved, solved.problem.paints, tubes, leave_out)
        fit = replace(fit, aside=can.aside)
        if not (leave_out and solved.taught):
            return fit

        def conclude(solution: Solution, weight: Array) -> Coefficients:
            found = found_of(solved.problem, solution, weight, tubes)
            return erring(found, fit.coefficients.part_error)

        return replace(fit, without=solved.without_mixtures(conclude))


Begin = Callable[[Problem], tuple[Array, Sequence[int]]]
"""Where to start with a problem, and the paints whose K and S are held."""


@dataclass(frozen=True)
class Solved:
    """A problem solved.

    Attributes
    ----------
    problem, solution
    weight : (N, W) array
        Of every patch, as if none had been set aside.
    settings : FitSettings
        As used.
    taught : sequence of CardReadings
        Mixtures that it learnt from.
    ladders : Solved or None
        The same without them.
    """

    problem: Problem
    solution: Solution
    weight: Array
    settings: FitSettings
    taught: Sequence[CardReadings] = ()
    ladders: Solved | None = None

    @property
    def trusted(self) -> Array:
        """Weight of every patch, (N, W): zero where it is set aside."""
        return self.weight * trust(self.problem, self.solution.findings)[:, None]

    def without_mixtures(self, conclude: Conclude) -> tuple[WithoutMixtures, ...]:
        """See `tintladder.calibrate.fit.judging.mixtures_out.without_mixtures`."""
        found = without_mixtures(self.problem, self.solution, self.trusted, self.taught, conclude)
        return tuple(found)


def solved_of(
    can: Fittable, begin: Begin, settings: FitSettings, progress: Progress | None
) -> Solved:
    """Solve the ladders, and then with the mixtures that there are to learn from."""
    ladders, whole, taught, _ = can
    start, held = begin(ladders)
    solution, weight, used = minimise(ladders, start, settings, held, progress)
    alone = Solved(solution.problem, solution, weight, used)
    if not taught:
        return alone
    start, held = begin(whole)
    found = solution.findings
    solution, weight, used = minimise(whole, start, settings, held, progress, found)
    return Solved(solution.problem, solution, weight, used, taught, alone)


def with_noise(settings: FitSettings, readings: Sequence[CardReadings]) -> FitSettings:
    """Return the settings with the reading noise that the repeats show, where none was given."""
    if settings.noise is not None:
        return settings
    return replace(settings, noise=reading_noise(readings))


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
        if settings.model_spread is None:
            way = _errors_learnt(problem, way, kept, progress, by_paint=False)
    return way


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


def report(
    solved: Solved, paints: Sequence[str], tubes: Mapping[str, Tube], leave_out: bool
) -> JointFit:
    """Put a solution into words and tables, some paints of it at length."""
    problem, solution = solved.problem, solved.solution
    found = found_of(problem, solution, solved.trusted, tubes)
    fits = paint_fits(paints, problem, solution, solved.weight, found)
    left: LeftOut | None = None
    if leave_out:
        # A white is on every card; what tells of it are the steps of its own.
        shown = [f.patches[["card", "patch"]] for f in fits.values()]
        wanted = {patch for rows in shown for patch in rows.itertuples(index=False, name=None)}
        of = solved.ladders or solved
        left = leave_steps_out(of.problem, of.solution, of.trusted, wanted)
    settings = solved.settings
    if left is not None and settings.part_error is None:
        least = REST[problem.model][0]
        learnt_of_parts = learnt_part_error(left, found.model_error, least)
        settings = replace(settings, part_error=learnt_of_parts)
    wrong = settings.part_error or 0.0
    return JointFit(
        paints={p: replace(f, coefficients=erring(f.coefficients, wrong)) for p, f in fits.items()},
        coefficients=erring(found, wrong),
        nuisances=nuisance_table(problem, solution),
        settings=settings.as_dict(),
        left_out=None if left is None else left.patches,
    )


def found_of(
    problem: Problem, solution: Solution, trusted: Array, tubes: Mapping[str, Tube]
) -> Coefficients:
    """K and S of every paint; patches that weigh nothing tell nothing."""
    read = without(problem, trusted.max(axis=1))
    return coefficients(read, solution, unread(problem), ratio_only(problem), tubes)


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
    precision = np.zeros((len(start), 2 * n_w, 2 * n_w))
    precision[:, :n_w, :n_w], precision[:, n_w:, n_w:] = rough + anchor
    center = np.repeat(start.mean(axis=2, keepdims=True), n_w, axis=2)
    if problem.scale != ABSOLUTE:
        white = problem.paints.index(problem.scale.removeprefix("relative to "))
        precision[white, n_w:, n_w:] += np.eye(n_w) * HELD
        center[white, 1] = 0.0
    for paint in held:
        precision[paint] = np.eye(2 * n_w) * HELD
        center[paint] = start[paint]
    return Prior(center, precision)
