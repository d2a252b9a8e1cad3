"""Fits a studio's paints from what it has read, and keeps the fits and their checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from ...calibrate.cards.readings import CardReadings
from ...calibrate.errors import CalibrateDo, InputError, Sentence
from ...calibrate.fit.joint import fit_paints, learnt_settings
from ...calibrate.fit.judging.quality_report import QualityReport
from ...calibrate.fit.new_tube import fit_new_tubes, learnt_settings_against
from ...calibrate.fit.problem.result import JointFit, PaintFit
from ...calibrate.fit.problem.settings import FitSettings
from ...calibrate.fit.problem.tube import Tube
from ...calibrate.fit.solver.solve import Progress
from ...calibrate.fit.uncertainty.check import Check
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ...calibrate.optics.transport import TRANSPORT
from ..mixing.model_choice import Trial, choose
from ..store.lots import of_one_lot
from ..store.readings import StoredReadings
from ..store.store import Store
from .judging import judge, quality_reports, reference
from .learning import Learning, to_learn
from .scan_fitting import ScanFit, fit_scans, unfit_scans


@dataclass(frozen=True)
class ModelFit:
    """Runs by one model, how they predict the studio's check cards, and what they say of paints.

    Attributes
    ----------
    number : int
    fit : JointFit
        Of the instrument's readings; where nothing but scans was fitted, of the first of these.
    check : Check
    quality : mapping of nickname to QualityReport
    scanned : tuple of ScanFit
    """

    number: int
    fit: JointFit
    check: Check
    quality: Mapping[str, QualityReport]
    scanned: tuple[ScanFit, ...] = ()


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
        The same by transport; none where a known paint has no such fit.
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
        return ModelFit(self.number, self.fit, self.check, self.by_two_fluxes, self.scanned)

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
        of_scans = [run.fit for run in self.scanned], [run.fit for run in self.in_use.scanned]
        runs = [self.fit, *of_scans[0], self.in_use.fit, *of_scans[1]]
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
    # had a thickness took them to hide, and those before pigments crowded took none to.
    kinds = ("surface_spread", "surface_error", "coat_spread", "crowding")
    before: dict[str, Any] = dict.fromkeys(kinds, 0.0)
    return FitSettings(**before | said)


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
    readings = store.readings.all("fit", paints)
    named = {p for r in readings for p in r.card.paints}.union(paints) if paints else None
    one = of_one_lot(store.paints.all(named), readings, paints)
    learning = to_learn(store, learn, one.readings, one.lots, paints)
    readings = [*one.readings, *learning.taught]
    named = named and named.union(*(r.card.paints for r in readings))
    tubes = store.paints.tubes(one.lots, named)
    made = again = None
    if readings:
        of = (store, readings, tubes, paints)
        made = _fit_by(TWO_FLUX, *of, settings, progress)
        again = _fit_by(TRANSPORT, *of, None, progress, made[0]) if made else None
    measured = made[0].paints if made is not None else {}
    rest = [paint for paint in paints if paint not in measured]
    with store.transaction():
        by_model = {}
        for model, run in ((TWO_FLUX, made), (TRANSPORT, again)):
            runs, quality = list[tuple[int, JointFit]](), dict[str, QualityReport]()
            if run is not None:
                fit, known, quality = run
                runs.append((store.fits.record(fit, readings, tubes, known, quality), fit))
            scanned = []
            if (rest or not paints) and (run is not None or made is None):
                report = partial(_scan_quality, store, quality)
                scanned = fit_scans(
                    store, rest, measured, model, progress, report, learning.scanned
                )
            by_model[model] = [*runs, *((run.number, run.fit) for run in scanned)], quality, scanned
        unfit = {**one.left_out, **unfit_scans(store)}
        runs, quality, scanned = by_model[TWO_FLUX]
        if not runs:
            raise _nothing_read(paints, unfit)
        transport = None
        if by_model[TRANSPORT][0]:
            further, said, of_scans = by_model[TRANSPORT]
            judged = judge(store, further, None, TRANSPORT, learning)
            transport = ModelFit(*further[0], judged, said, tuple(of_scans))
        judged = judge(store, runs, settings, TWO_FLUX, learning)
        fitted = {paint for _, fit in runs for paint in fit.paints}
        by_transport, trial = store.fits.current(TRANSPORT, fitted), store.fits.trial()
        model = choose(list(by_transport), by_transport, trial)
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


def _scan_quality(
    store: Store,
    quality: dict[str, QualityReport],
    fit: JointFit,
    tubes: Mapping[str, Tube],
) -> dict[str, QualityReport]:
    """What is to be said of scanned paints; it is added to what is said of the others."""
    settings = recorded_settings(fit.settings)
    said = quality_reports(store, fit, [], tubes, settings, reference(store, fit))
    quality.update(said)
    return said


_Made = tuple[JointFit, Coefficients | None, dict[str, QualityReport]]


def _fit_by(
    model: str,
    store: Store,
    readings: Sequence[StoredReadings],
    tubes: Mapping[str, Tube],
    paints: Sequence[str],
    settings: FitSettings | None,
    progress: Progress | None,
    first: JointFit | None = None,
) -> _Made | None:
    """Fit to an instrument's readings by a model: the fit, what was known, what is to be said.

    After the `first` by two fluxes, where what is known is known by this one too; strengths of both
    stand side by side.
    """
    beside = [p for r in readings for p in r.card.paints if p not in paints] if paints else []
    if paints and not beside:
        raise InputError(
            None,
            ", ".join(paints),
            "its cards hold no other paint, so there is nothing to fit it against",
            CalibrateDo.FIT_TOGETHER(),
        )
    if first is not None and not store.fits.current(model, beside).keys() >= set(beside):
        return None
    known = store.fits.coefficients(beside, model) if beside else None
    chosen = settings or _as_learnt(store, beside, model)
    # Once chosen, noise and smoothness are settings: what is kept follows from what is recorded.
    if known is None:
        used = learnt_settings(readings, tubes, chosen, progress)
    else:
        used = learnt_settings_against(readings, tubes, known, chosen, progress)
    fit = run_fit(readings, tubes, known, used, progress, leave_out=True)
    against = reference(store, first or fit)
    return fit, known, quality_reports(store, fit, readings, tubes, used, against)


def _as_learnt(store: Store, beside: Sequence[str], model: str) -> FitSettings:
    """Settings of a fit against known paints: what the model gets wrong is as theirs learnt it."""
    recorded = store.fits.settings(beside, model)
    of_model = {
        name: recorded[name]
        for name in ("model_spread", "dark_spread", "part_error", "surface_error")
        if name in recorded
    }
    return FitSettings(model=model, **of_model)  # type: ignore[arg-type]


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
