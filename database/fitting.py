"""Fits a studio's paints from what it has read, and keeps the fits and their checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ..calibrate.cards.readings import CardReadings
from ..calibrate.errors import InputError
from ..calibrate.fit.check import Check, check_mixtures
from ..calibrate.fit.fit import fit_paints
from ..calibrate.fit.new_tube import fit_new_tubes
from ..calibrate.fit.quality_report import QualityReport, quality_report
from ..calibrate.fit.result import JointFit, PaintFit
from ..calibrate.fit.settings import FitSettings
from ..calibrate.fit.solve import Progress
from ..calibrate.fit.tube import Tube
from ..calibrate.optics.coefficients import Coefficients
from .card_store import StoredReadings
from .store import Store
from .tinting import white_of
from .tinting_strength import rank


@dataclass(frozen=True)
class StudioFit:
    """A run of the fit, as kept.

    Attributes
    ----------
    number : int
        Of the run in the studio.
    fit : JointFit
    check : Check
        Against the studio's check cards; of no rows where there are none.
    readings : sequence of CardReadings
        What it was fitted to.
    quality : mapping of nickname to QualityReport
    """

    number: int
    fit: JointFit
    check: Check
    readings: Sequence[CardReadings]
    quality: Mapping[str, QualityReport]


def run_fit(
    readings: Sequence[CardReadings],
    tubes: Mapping[str, Tube],
    known: Coefficients | None,
    settings: FitSettings | None,
    progress: Progress | None = None,
    leave_out: bool = False,
) -> JointFit:
    """Fit all paints of the readings, or those that aren't known, against the known.

    Raises
    ------
    InputError
        See `tintladder.calibrate.fit.fit.fit_paints` and
        `tintladder.calibrate.fit.new_tube.fit_new_tubes`.
    """
    said: dict[str, Any] = {"leave_out": leave_out, "progress": progress}
    if known is None:
        return _symmetric(fit_paints(readings, tubes, settings, **said))
    return _symmetric(fit_new_tubes(readings, tubes, known, settings, **said))


def _symmetric(fit: JointFit) -> JointFit:
    """Make the covariance of K with S that of S with K to the last bit, as a release keeps one."""
    local = fit.coefficients.local.copy()
    local[:, 1, 0] = local[:, 0, 1]
    found = replace(fit.coefficients, local=local)
    paints = {
        nickname: replace(paint, coefficients=found.select(paint.coefficients.paints))
        for nickname, paint in fit.paints.items()
    }
    return replace(fit, coefficients=found, paints=paints)


def recorded_settings(recorded: Mapping[str, Any]) -> FitSettings:
    """Return the settings of a recorded fit, as they were used."""
    said: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in recorded.items()}
    return FitSettings(**said)


def fit_studio(
    store: Store,
    paints: Sequence[str] = (),
    settings: FitSettings | None = None,
    progress: Progress | None = None,
) -> StudioFit:
    """Fit paints from the studio's cards, judge the fit on its check cards, keep all that is said.

    Parameters
    ----------
    store : Store
    paints : sequence of str
        Nicknames of new tubes, fitted against the current fits of the others, which stay as they
        are. None: every paint is fitted anew, jointly.
    settings : FitSettings, optional
    progress : callable, optional

    Raises
    ------
    InputError
        See `run_fit`.
    """
    readings = store.card_readings("fit")
    if paints:
        readings = [r for r in readings if set(paints).intersection(r.card.paints)]
        beside = [p for r in readings for p in r.card.paints if p not in paints]
        if not readings:
            raise InputError(
                None, ", ".join(paints), "no card of it was read", "read its card first"
            )
        if not beside:
            raise InputError(
                None,
                ", ".join(paints),
                "its cards hold no other paint, so there is nothing to fit it against",
                "fit all paints together: tintladder fit",
            )
        known = store.current_coefficients(beside)
    else:
        known = None
    tubes = store.tubes()
    learnt = run_fit(readings, tubes, known, settings, progress)
    # Once chosen, noise and smoothness are settings: what is kept follows from what is recorded.
    used = recorded_settings(learnt.settings)
    fit = run_fit(readings, tubes, known, used, progress, leave_out=True)
    quality = _quality(store, fit, readings, used)
    with store.transaction():
        number = store.record_fit(fit, readings, tubes, known, quality)
        current = store.current_coefficients()
        checks = [
            r
            for r in store.card_readings("check")
            if set(current.paints).issuperset(r.card.paints)
            and set(fit.paints).intersection(r.card.paints)
        ]
        judged = check_mixtures(current, checks, settings)
        store.record_checks(number, judged.patches)
    return StudioFit(number, fit, judged, readings, quality)


def _quality(
    store: Store, fit: JointFit, readings: Sequence[StoredReadings], settings: FitSettings
) -> dict[str, QualityReport]:
    """Report on each paint: strength against one of them all, drift against the lot before."""
    against = _reference(store, fit)
    return {
        nickname: quality_report(
            paint,
            readings,
            left_out=fit.left_out,
            reference=against if white_of(paint) else None,
            old=store.lot_before(nickname, readings),
            settings=settings,
        )
        for nickname, paint in fit.paints.items()
    }


def _reference(store: Store, fit: JointFit) -> PaintFit | None:
    """Return the paint that strengths are stated against: that of the fits before, else the middle.

    One that stays lets strengths of different days stand side by side.
    """
    before = store.strength_reference()
    if before is not None and before in fit.paints:
        return fit.paints[before]
    if before is not None and before in store.current_fits():
        return store.fit_of(before)
    whites = {name: white for name, paint in fit.paints.items() if (white := white_of(paint))}
    ranked, _ = rank(fit.coefficients, whites)
    return fit.paints[ranked[len(ranked) // 2].paint] if ranked else None
