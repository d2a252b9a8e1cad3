"""Fits a studio's paints from what it has read, and keeps the fits and their checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from ...calibrate.cards.readings import CardReadings
from ...calibrate.errors import CalibrateDo, InputError, Sentence
from ...calibrate.fit.joint import fit_paints
from ...calibrate.fit.judging.quality_report import QualityReport, quality_report
from ...calibrate.fit.new_tube import fit_new_tubes
from ...calibrate.fit.problem.result import JointFit, PaintFit
from ...calibrate.fit.problem.settings import FitSettings
from ...calibrate.fit.problem.tube import Tube
from ...calibrate.fit.solver.solve import Progress
from ...calibrate.fit.uncertainty.check import Check, together
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ...calibrate.optics.transport import TRANSPORT
from ..mixing.ladder import white_of
from ..mixing.model_choice import Trial
from ..mixing.strengths import rank
from ..store.lots import of_one_lot
from ..store.readings import StoredReadings
from ..store.store import Store
from .check_mixtures import CheckCard, check_cards, predicted_checks
from .learning import Learning, judged_without, to_learn
from .scan_fitting import ScanFit, fit_scans, unfit_scans


@dataclass(frozen=True)
class ModelFit:
    """A run by one model, how it predicts the studio's check cards, and what it says of paints."""

    number: int
    fit: JointFit
    check: Check
    quality: Mapping[str, QualityReport]


@dataclass(frozen=True)
class StudioFit:
    """A run of the fit, as kept: on an instrument's readings by each model, then on scans.

    Attributes
    ----------
    number : int
        Of the run by two fluxes; where nothing but scans was fitted, of the first of these.
    fit : JointFit
        Of that run.
    check : Check
        Against the studio's check cards; of no rows where there are none.
    readings : sequence of CardReadings
        Of an instrument, that it was fitted to.
    by_two_fluxes : mapping of nickname to QualityReport
        Of every paint fitted.
    scanned : tuple of ScanFit
    unfit : mapping of card to words
        Cards that no fit took, and why.
    transport : ModelFit or None
        The same readings by transport; none where they were of scans alone, or a known paint has
        no such fit.
    model : str
        By which mixes of the paints fitted are calculated from now on.
    trial : Trial
        How far off each model was where both were tried.
    learning : Learning
        The mixtures that it learnt from.
    """

    number: int
    fit: JointFit
    check: Check
    readings: Sequence[CardReadings]
    by_two_fluxes: Mapping[str, QualityReport]
    scanned: tuple[ScanFit, ...] = ()
    unfit: Mapping[str, str | Sentence] = field(default_factory=dict)
    transport: ModelFit | None = None
    model: str = TWO_FLUX
    trial: Trial = field(default_factory=lambda: Trial({}))
    learning: Learning = field(default_factory=Learning)

    @property
    def aside(self) -> dict[str, InputError]:
        """Paints that could not be fitted, and why."""
        runs = [self.fit, *(run.fit for run in self.scanned)]
        return {paint: why for run in runs for paint, why in run.aside.items()}

    @property
    def in_use(self) -> ModelFit:
        """The run by the model that mixes are calculated by."""
        if self.model == TRANSPORT and self.transport is not None:
            return self.transport
        return ModelFit(self.number, self.fit, self.check, self.by_two_fluxes)

    @property
    def judges(self) -> tuple[str, ...]:
        """The cards of mixtures that judged it and that it didn't learn from."""
        cards = dict.fromkeys(self.judged.patches["card"])
        return tuple(card for card in cards if card not in self.learning.cards)

    @property
    def judged(self) -> Check:
        """How mixtures came out: by the model in use, or by two fluxes where a scan has only it."""
        return self.check if self.in_use.check.patches.empty else self.in_use.check

    @property
    def paints(self) -> dict[str, PaintFit]:
        """Every paint that was fitted, by the model that its mixes are calculated by."""
        runs = [self.fit, *(run.fit for run in self.scanned), self.in_use.fit]
        return {nickname: paint for run in runs for nickname, paint in run.paints.items()}

    @property
    def quality(self) -> dict[str, QualityReport]:
        """What is to be said of each of them, by the same model."""
        return {**self.by_two_fluxes, **self.in_use.quality}


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
        See `tintladder.calibrate.fit.joint.fit_paints` and
        `tintladder.calibrate.fit.new_tube.fit_new_tubes`.
    """
    said: dict[str, Any] = {"leave_out": leave_out, "progress": progress}
    if known is None:
        return fit_paints(readings, tubes, settings, **said)
    return fit_new_tubes(readings, tubes, known, settings, **said)


def recorded_settings(recorded: Mapping[str, Any]) -> FitSettings:
    """Return the settings of a recorded fit, as they were used."""
    said: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in recorded.items()}
    # Fits recorded before surfaces were fitted took all to be alike; those before brushed films
    # had a thickness took them to hide.
    return FitSettings(**{"surface_spread": 0.0, "coat_spread": 0.0} | said)


def fit_studio(
    store: Store,
    paints: Sequence[str] = (),
    settings: FitSettings | None = None,
    progress: Progress | None = None,
    learn: Sequence[str] = (),
) -> StudioFit:
    """Fit paints from the studio's cards, judge the fit on its check cards, keep all that is said.

    Parameters
    ----------
    store : Store
    paints : sequence of str
        Nicknames of new tubes, fitted against the current fits of the others, which stay as they
        are. None: every paint is fitted anew, jointly.
    settings : FitSettings, optional
        Of the fit by two fluxes; that by transport takes its own.
    progress : callable, optional
    learn : sequence of str
        Cards of mixtures to learn from; the others judge, or else each mixture is judged by a fit
        that left it out.

    Raises
    ------
    InputError
        See `run_fit`, and `tintladder.database.fits.learning.to_learn`.
    """
    readings = store.readings.all("fit")
    if paints:
        readings = [r for r in readings if set(paints).intersection(r.card.paints)]
    one = of_one_lot(store.paints.all(), readings, paints)
    learning = to_learn(store, learn, one.readings, one.lots, paints)
    readings, tubes = [*one.readings, *learning.taught], store.paints.tubes(one.lots)
    made = _fit_measured(store, readings, tubes, paints, settings, progress) if readings else None
    again = _fit_transport(store, readings, tubes, paints, made, progress) if made else None
    with store.transaction():
        runs, quality = list[tuple[int, JointFit]](), dict[str, QualityReport]()
        transport = None
        if made is not None:
            fit, known, quality = made
            runs.append((store.fits.record(fit, readings, tubes, known, quality), fit))
        if again is not None:
            fit, known, said = again
            number = store.fits.record(fit, readings, tubes, known, said)
            judged = _judge(store, [(number, fit)], None, TRANSPORT, learning)
            transport = ModelFit(number, fit, judged, said)
        measured = made[0].paints if made is not None else {}
        rest = [paint for paint in paints if paint not in measured]

        def report(fit: JointFit, tubes: Mapping[str, Tube]) -> dict[str, QualityReport]:
            against = _reference(store, fit)
            said = _quality(store, fit, [], tubes, recorded_settings(fit.settings), against)
            quality.update(said)
            return said

        scanned = []
        if rest or not paints:
            scanned = fit_scans(store, rest, measured, None, progress, report)
        runs += [(run.number, run.fit) for run in scanned]
        unfit = {**one.left_out, **unfit_scans(store)}
        if not runs:
            raise _nothing_read(paints, unfit)
        judged = _judge(store, runs, settings, TWO_FLUX, learning)
        model, trial = store.fits.model_for(measured), store.fits.trial()
    return StudioFit(
        *runs[0],
        judged,
        readings,
        quality,
        tuple(scanned),
        unfit | dict(learning.not_learnt or {}),
        transport,
        model,
        trial,
        learning,
    )


_Made = tuple[JointFit, Coefficients | None, dict[str, QualityReport]]


def _fit_measured(
    store: Store,
    readings: Sequence[StoredReadings],
    tubes: Mapping[str, Tube],
    paints: Sequence[str],
    settings: FitSettings | None,
    progress: Progress | None,
) -> _Made:
    """Fit to an instrument's readings: the fit, what was known, what is to be said."""
    known = None
    if paints:
        beside = _beside(readings, paints)
        if not beside:
            raise InputError(
                None,
                ", ".join(paints),
                "its cards hold no other paint, so there is nothing to fit it against",
                CalibrateDo.FIT_TOGETHER(),
            )
        known = store.fits.coefficients(beside, TWO_FLUX)
        settings = settings or _as_learnt(store, beside, TWO_FLUX)
    learnt = run_fit(readings, tubes, known, settings, progress)
    # Once chosen, noise and smoothness are settings: what is kept follows from what is recorded.
    used = recorded_settings(learnt.settings)
    fit = run_fit(readings, tubes, known, used, progress, leave_out=True)
    return fit, known, _quality(store, fit, readings, tubes, used, _reference(store, fit))


def _fit_transport(
    store: Store,
    readings: Sequence[StoredReadings],
    tubes: Mapping[str, Tube],
    paints: Sequence[str],
    made: _Made,
    progress: Progress | None,
) -> _Made | None:
    """Fit to the same readings by transport, where what is known is known by it too."""
    known, beside = None, _beside(readings, paints) if paints else []
    settings = _as_learnt(store, beside, TRANSPORT)
    if not store.fits.current(TRANSPORT).keys() >= set(beside):
        return None
    if beside:
        known = store.fits.coefficients(beside, TRANSPORT)
    learnt = run_fit(readings, tubes, known, settings, progress)
    used = recorded_settings(learnt.settings)
    fit = run_fit(readings, tubes, known, used, progress, leave_out=True)
    # Strengths of both models stand side by side.
    against = _reference(store, made[0])
    return fit, known, _quality(store, fit, readings, tubes, used, against)


def _as_learnt(store: Store, beside: Sequence[str], model: str) -> FitSettings:
    """Settings of a fit against known paints: what the model gets wrong is as theirs learnt it."""
    recorded = store.fits.settings(beside, model)
    of_model = {
        name: recorded[name]
        for name in ("model_spread", "dark_spread", "part_error")
        if name in recorded
    }
    return FitSettings(model=model, **of_model)  # type: ignore[arg-type]


def _beside(readings: Sequence[StoredReadings], paints: Sequence[str]) -> list[str]:
    return [p for r in readings for p in r.card.paints if p not in paints]


def _nothing_read(paints: Sequence[str], unfit: Mapping[str, str | Sentence]) -> InputError:
    named = ", ".join(paints) or None
    if unfit:
        card, why = next(iter(unfit.items()))
        first, *rest = Sentence(why).parts
        said, _, do = str(first).partition("; ")
        do_all = Sentence(do, *rest)
        return InputError(None, named, f"card {card} was scanned, but {said}", do_all)
    return InputError(
        None, named, f"no card of {'it' if paints else 'any paint'} was read", "read its card first"
    )


def _judge(
    store: Store,
    runs: Sequence[tuple[int, JointFit]],
    settings: FitSettings | None,
    model: str,
    learning: Learning,
) -> Check:
    """Judge the fits on mixtures that none of them saw, each by the last one that holds its paints.

    A mixture of which a paint has no fit by the model says nothing of it. Where every card that an
    instrument read has taught, each of its mixtures is predicted by a fit that left it out.
    """
    current = set(store.fits.current(model))
    cards = [each for each in check_cards(store) if current.issuperset(each.card.paints)]
    cards = [each for each in cards if each.card.name not in learning.cards]
    of_run: list[list[CheckCard]] = [[] for _ in runs]
    for card in cards:
        holding = [i for i, (_, fit) in enumerate(runs) if set(fit.paints) & set(card.card.paints)]
        if holding:
            of_run[holding[-1]].append(card)
    fitted = dict.fromkeys(p for each in of_run for card in each for p in card.card.paints)
    known = store.fits.coefficients(fitted or runs[0][1].paints, model)
    found = []
    for (number, fit), mine in zip(runs, of_run, strict=True):
        checks = [predicted_checks(known, mine, settings)]
        if not any(isinstance(each, StoredReadings) for each in mine):
            checks += judged_without(learning.taught, fit.without, settings)
        found += checks
        for check in checks:
            store.fits.record_checks(number, check.patches)
    return together(found)


def _quality(
    store: Store,
    fit: JointFit,
    readings: Sequence[StoredReadings],
    tubes: Mapping[str, Tube],
    settings: FitSettings,
    against: str | None,
) -> dict[str, QualityReport]:
    """Report on each paint: strength against one of them all, drift against the lot before."""
    model, reference = fit.coefficients.model, None
    if against is not None and against in fit.paints:
        reference = fit.paints[against]
    elif against is not None and against in store.fits.current(model):
        reference = store.fits.of(against, model)
    return {
        nickname: quality_report(
            paint,
            readings,
            left_out=fit.left_out,
            reference=reference if white_of(paint) else None,
            old=store.fits.lot_before(nickname, tubes[nickname].lot, model),
            settings=settings,
        )
        for nickname, paint in fit.paints.items()
    }


def _reference(store: Store, fit: JointFit) -> str | None:
    """Name the paint that strengths are stated against: that of the fits before, else the middle.

    One that stays lets strengths of different days stand side by side.
    """
    before = store.fits.strength_reference()
    if before is not None and (before in fit.paints or before in store.fits.current()):
        return before
    whites = {name: white for name, paint in fit.paints.items() if (white := white_of(paint))}
    ranked, _ = rank(fit.coefficients, whites)
    return ranked[len(ranked) // 2].paint if ranked else None
