"""Fits K and S of paints to the readings of their cards."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..cards.readings import CardReadings
from ..optics.coefficients import Coefficients
from ..optics.spectra import Array
from .judging.leave_out import LeftOut, leave_steps_out
from .judging.mixtures_out import Conclude, without_mixtures
from .judging.part_errors import erring, learnt_part_error
from .judging.quality import nuisance_table, paint_fits
from .judging.trust import trust, without
from .minimise import minimise
from .problem.arrays import Problem
from .problem.noise import reading_noise
from .problem.result import JointFit, WithoutMixtures
from .problem.seen import ratio_only, unread
from .problem.set_aside import Fittable, fittable
from .problem.settings import FitSettings
from .problem.start import starting_values
from .problem.threads import one_thread
from .problem.tube import Tube
from .solver.solve import Progress, Solution
from .uncertainty.posterior import REST, coefficients


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
    with one_thread():
        can, solved = _solved(readings, tubes, settings, progress)
        fit = report(solved, solved.problem.paints, tubes, leave_out)
        fit = replace(fit, aside=can.aside)
        if not (leave_out and solved.taught):
            return fit

        def conclude(solution: Solution, weight: Array) -> Coefficients:
            found = found_of(solved.problem, solution, weight, tubes)
            whole = fit.coefficients
            return erring(found, whole.part_error, whole.surface_error)

        return replace(fit, without=solved.without_mixtures(conclude))


def learnt_settings(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    settings: FitSettings | None = None,
    progress: Progress | None = None,
) -> FitSettings:
    """Return the settings that `fit_paints` comes to, without its coefficients and reports.

    Parameters
    ----------
    readings, tubes, settings, progress
        See `fit_paints`.

    Returns
    -------
    FitSettings

    Raises
    ------
    InputError
        As `fit_paints`.
    """
    with one_thread():
        return _solved(readings, tubes, settings, progress)[1].settings


def _solved(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    settings: FitSettings | None,
    progress: Progress | None,
) -> tuple[Fittable, Solved]:
    """What can be fitted, and all of it solved."""
    settings = with_noise(settings or FitSettings(), readings)
    can = fittable(readings, tubes, settings)
    return can, solved_of(can, lambda problem: (starting_values(problem), ()), settings, progress)


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
    wrong = settings.part_error or 0.0, settings.surface_error or 0.0
    return JointFit(
        paints={
            p: replace(f, coefficients=erring(f.coefficients, *wrong)) for p, f in fits.items()
        },
        coefficients=erring(found, *wrong),
        nuisances=nuisance_table(problem, solution),
        settings=settings.as_dict(),
        left_out=None if left is None else left.patches,
    )


def found_of(
    problem: Problem, solution: Solution, trusted: Array, tubes: Mapping[str, Tube]
) -> Coefficients:
    """K and S of every paint; patches that weigh nothing tell nothing.

    Parameters
    ----------
    problem : Problem
    solution : Solution
    trusted : (N, W) array
        Weight of each reading.
    tubes : mapping of nickname to Tube

    Returns
    -------
    Coefficients
    """
    read = without(problem, trusted.max(axis=1))
    return coefficients(read, solution, unread(problem), ratio_only(problem), tubes)
