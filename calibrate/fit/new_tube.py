"""Fits new tubes against paints that are known already, which stay as they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..cards.readings import CardReadings
from ..errors import InputError
from ..optics.coefficients import ABSOLUTE, Coefficients
from ..optics.spectra import Array
from .joint import Solved, found_of, report, solved_of, with_noise
from .judging.part_errors import erring
from .problem.arrays import Problem
from .problem.result import JointFit
from .problem.set_aside import Fittable, fittable
from .problem.settings import FitSettings
from .problem.start import starting_values
from .problem.threads import one_thread
from .problem.tube import Tube
from .solver.solve import Progress, Solution
from .uncertainty.posterior import OWN_FACTORS, reduced


def fit_new_tubes(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    known: Coefficients,
    settings: FitSettings | None = None,
    *,
    leave_out: bool = False,
    progress: Progress | None = None,
) -> JointFit:
    """Fit the paints of some cards that aren't known yet, with the known ones held.

    Parameters
    ----------
    readings : sequence of CardReadings
        Cards of the new tubes alone.
    tubes : mapping of nickname to Tube
    known : Coefficients
        Of the paints that they were mixed with.
    settings : FitSettings, optional
        The model's errors are best those that the joint fit of the known paints learnt.
    leave_out : bool
        Also predict each step from the others.
    progress : callable, optional

    Returns
    -------
    JointFit
        Of the new paints. Its coefficients' factors bear the names of the known ones' factors: what
        isn't sure of the white isn't sure of a paint let down with it.

    Raises
    ------
    InputError
        As `fit_paints`, and where no paint is new, or a film is to be fitted with a white whose K
        and S are relative.
    """
    with one_thread():
        can, solved, beside = _solved(readings, tubes, known, settings, progress)
        problem, settings = solved.problem, solved.settings
        new = [p for p in problem.paints if p not in beside.paints]
        fit = replace(report(solved, new, tubes, leave_out), aside=can.aside)
        wrong = settings.part_error or 0.0, settings.surface_error or 0.0

        def conclude(solution: Solution, weight: Array) -> Coefficients:
            found = erring(found_of(problem, solution, weight, tubes), *wrong)
            return with_known(problem, solution, found, beside, new)

        found = with_known(problem, solved.solution, fit.coefficients, beside, new)
        if leave_out and solved.taught:
            fit = replace(fit, without=solved.without_mixtures(conclude))
    paints = {
        p: replace(fit.paints[p], coefficients=found.select(fit.paints[p].coefficients.paints))
        for p in new
    }
    return replace(fit, paints=paints, coefficients=found)


def learnt_settings_against(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    known: Coefficients,
    settings: FitSettings | None = None,
    progress: Progress | None = None,
) -> FitSettings:
    """Return the settings that `fit_new_tubes` comes to, without its coefficients and reports.

    Parameters
    ----------
    readings, tubes, known, settings, progress
        See `fit_new_tubes`.

    Returns
    -------
    FitSettings

    Raises
    ------
    InputError
        As `fit_new_tubes`.
    """
    with one_thread():
        return _solved(readings, tubes, known, settings, progress)[1].settings


def _solved(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    known: Coefficients,
    settings: FitSettings | None,
    progress: Progress | None,
) -> tuple[Fittable, Solved, Coefficients]:
    """What can be fitted, all of it solved, and the known paints on its cards."""
    settings = with_noise(settings or FitSettings(), readings)
    # One ladder can't tell the model's error from its painter's: that is learnt by joint fits.
    part_error = settings.part_error
    if part_error is None:
        part_error = float(known.part_error.max(initial=0.0))
    surface_error = settings.surface_error
    if surface_error is None:
        surface_error = float(known.surface_error.max(initial=0.0))
    settings = replace(
        settings,
        crowding=float(known.crowding.mean()),
        model_spread=settings.known_spread,
        part_error=part_error,
        surface_error=surface_error,
    )
    cards = [r.card for r in readings if r.card.purpose != "check"]
    weighed = list(dict.fromkeys(p for card in cards for p in card.paints))
    if not set(weighed) - set(known.paints):
        raise InputError(
            cards[0].file if cards else None,
            None,
            "every paint on these cards is known already",
            "fit them all together instead, or name the new tube",
        )
    film = next((c for c in cards if any(not d.opaque for d in c.drawdowns)), None)
    if known.scale != ABSOLUTE and film is not None:
        raise InputError(
            film.file,
            None,
            f"this card has films, but the known paints' K and S are {known.scale}",
            "fit all paints together, so that films and white come to one scale",
        )
    beside = known.select([p for p in weighed if p in known.paints])

    can = fittable(readings, tubes, settings, beside)
    solved = solved_of(can, lambda problem: _held(problem, beside), settings, progress)
    return can, solved, beside


def _held(problem: Problem, known: Coefficients) -> tuple[Array, list[int]]:
    """Where a problem begins, and the known paints on its cards, which are held."""
    start, held = starting_values(problem), []
    for paint in known.paints:
        if paint in problem.paints:
            held.append(i := problem.paints.index(paint))
            start[i] = known_log(known, paint, start[i])
    return start, held


def known_log(known: Coefficients, paint: str, otherwise: Array) -> Array:
    """Log K and log S of a known paint, (2, W); where it was never read, a typical value.

    Parameters
    ----------
    known : Coefficients
    paint : str
        Nickname.
    otherwise : (2, W) array
        Where it was never read.

    Returns
    -------
    (2, W) array
    """
    i = known.index(paint)
    both = np.stack([known.k[i], known.s[i]])
    logs = np.log(np.where(both > 0, both, 1.0))
    return np.where(both > 0, logs, otherwise)


def with_known(
    problem: Problem,
    solution: Solution,
    found: Coefficients,
    known: Coefficients,
    new: Sequence[str],
) -> Coefficients:
    """Give the new paints what is unsure of the known ones, and put both together.

    Parameters
    ----------
    problem, solution
        In which the known paints were held.
    found : Coefficients
        Of all paints of the problem, as if the known ones were sure.
    known : Coefficients
        Of the known paints of the problem.
    new : sequence of str

    Returns
    -------
    Coefficients
    """
    n_w = problem.wavelengths.size
    hub_size = 2 * len(problem.hubs) * n_w
    curvature = solution.curvature
    scalars = slice(hub_size, None)
    # Where a known value moves, the shared nuisance values follow, and the new paints both.
    follow = -np.linalg.solve(curvature[scalars, scalars], curvature[scalars, :hub_size])
    hub_rows = np.concatenate(
        [
            np.arange(2 * i * n_w, 2 * (i + 1) * n_w)
            for p in known.paints
            for i in [problem.hubs.index(problem.paints.index(p))]
        ]
    )
    both = np.stack([known.k, known.s], axis=1)
    relative = np.divide(1.0, both, out=np.zeros_like(both), where=both > 0)
    shared = (known.factors * relative).reshape(len(known.factors), -1)
    private = np.zeros((len(known.paints), 2 * n_w, len(known.paints), known.own.shape[1]))
    alone = np.zeros((len(known.paints), 2, n_w, len(known.paints), 2, n_w))
    index = np.arange(n_w)
    for i in range(len(known.paints)):
        own = known.own[i] * relative[i]
        private[i, :, i] = own.reshape(own.shape[0], -1).T
        block = known.local[i] * relative[i][:, None] * relative[i][None]
        alone[i, :, index, i, :, index] = block.transpose(2, 0, 1)
    own_known = private.reshape(2 * n_w * len(known.paints), -1)
    local_known = alone.reshape(2 * n_w * len(known.paints), -1)
    rows = {p: i for i, p in enumerate(found.paints)}
    local, own = found.local.copy(), found.own.copy()
    factors = np.zeros((len(known.factors), len(found.paints), 2, n_w))
    for block, _, response in solution.blocks:
        for i, paint in enumerate(block.paints[: block.own]):
            name = problem.paints[paint]
            at = slice(2 * i * n_w, 2 * (i + 1) * n_w)
            by_known = -(response[at, :hub_size] + response[at, scalars] @ follow)[:, hub_rows]
            value = np.stack([found.k[rows[name]], found.s[rows[name]]])
            logs = (found.own[rows[name]] / value).reshape(OWN_FACTORS, -1)
            logs = np.concatenate([logs, (found.factors[:, rows[name]] / value).reshape(
                len(found.factors), -1)])  # fmt: skip
            moved = by_known @ own_known
            rest = by_known @ local_known @ by_known.T + moved @ moved.T + logs.T @ logs
            block_own, block_local = reduced(rest, value)
            own[rows[name]] = block_own
            local[rows[name]] = found.local[rows[name]] + block_local
            felt = (by_known @ shared.T).T.reshape(-1, 2, n_w)
            factors[:, rows[name]] = felt * value
    alone_new = replace(
        found, local=local, own=own, factors=factors, factor_names=known.factor_names
    ).select(list(new))
    # The new tubes belong to the surface that the known ones were fitted with, and what the model
    # gets wrong of their mixes these have shown.
    here = replace(
        alone_new,
        surface=known.surface,
        mix_error=np.full(len(new), known.mix_error.max()),
    )
    return Coefficients.concat([here, known])
