"""Fits paints from their scans, where no instrument has read them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ...calibrate.cards.channels import CardChannels
from ...calibrate.errors import Sentence
from ...calibrate.fit.judging.quality import FIRST_GUESS, GOOD_TO_MIX
from ...calibrate.fit.judging.quality_report import QualityReport
from ...calibrate.fit.problem.result import JointFit, PaintFit
from ...calibrate.fit.problem.settings import FitSettings
from ...calibrate.fit.problem.tube import Tube
from ...calibrate.fit.scans.prior import ScanPrior
from ...calibrate.fit.scans.recovery import fit_scan
from ...calibrate.fit.solver.solve import Progress
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ...calibrate.optics.sensors import Sensors
from ..store.lots import of_one_lot
from ..store.scans import StoredChannels
from ..store.store import Store
from .check_mixtures import unjudged, why_not_seen

FEWEST_LEARNT = 6
"""Measured colours from which on scanned paints are believed to be like them: fewer would each be
taken for one of so few."""


@dataclass(frozen=True)
class ScanFit:
    """A run of the fit on the scans of one device, as kept.

    Attributes
    ----------
    number : int
        Of the run in the studio.
    fit : JointFit
    device : str
    """

    number: int
    fit: JointFit
    device: str


Report = Callable[[JointFit, Mapping[str, Tube]], Mapping[str, QualityReport]]
"""Says at length what is to be said of a fit's paints, which is kept with them."""


def run_scan_fit(
    scans: Sequence[CardChannels],
    tubes: Mapping[str, Tube],
    sensors: Sensors,
    known: Coefficients | None,
    learnt: Coefficients | None,
    white: str | None,
    settings: FitSettings | None = None,
    progress: Progress | None = None,
) -> JointFit:
    """Fit the paints of scanned cards that aren't known.

    Parameters
    ----------
    scans : sequence of CardChannels
        By one device.
    tubes : mapping of nickname to Tube
    sensors : Sensors
    known : Coefficients, optional
        Of paints on these cards that are held.
    learnt, white : Coefficients and str, optional
        Measured paints that scanned ones are believed to be like, and the white among them.
    settings, progress : optional

    Raises
    ------
    InputError
        See `tintladder.calibrate.fit.scans.recovery.fit_scan`.
    """
    prior = None
    if learnt is not None and white is not None:
        prior = ScanPrior.invented().learnt_from(learnt, white)
    return fit_scan(scans, tubes, sensors, prior, settings, known=known, progress=progress)


def fit_scans(
    store: Store,
    paints: Collection[str] = (),
    measured: Collection[str] = (),
    settings: FitSettings | None = None,
    progress: Progress | None = None,
    report: Report = lambda fit, tubes: {},
) -> list[ScanFit]:
    """Fit paints that only scans tell of, a device at a time, and keep the runs.

    Parameters
    ----------
    store : Store
    paints : collection of str
        Nicknames to fit, against the current fits of the others. None: every one, anew.
    measured : collection of str
        Paints that were fitted to an instrument's readings just now: no scan says more of them.
    settings, progress, report : optional

    Raises
    ------
    InputError
        See `tintladder.calibrate.fit.scans.recovery.fit_scan`, and `of_one_lot`.

    Notes
    -----
    A scan by a device whose sensitivities aren't known has no say; see `unfit_scans`. The cards of
    known paints have: beside them the device shows what it makes of colours that are sure.
    """
    by_device: dict[int, list[StoredChannels]] = {}
    one = of_one_lot(store.paints.all(), store.scans.all("fit"), paints)
    tubes = store.paints.tubes(one.lots)
    for scan in one.readings:
        if scan.calibration is not None and why_not_seen(store, scan) is None:
            by_device.setdefault(scan.calibration, []).append(scan)
    runs, fitted = list[ScanFit](), set(measured)
    # What read most goes first: the whites of the rest may rest on it.
    for calibration in sorted(by_device, key=lambda number: (-len(by_device[number]), number)):
        scans = by_device[calibration]
        held = (set(store.fits.current()) - set(paints) if paints else set()) | fitted
        wanted = {p for s in scans for p in s.card.paints} - held
        if paints:
            wanted &= set(paints)
            scans = [s for s in scans if wanted & set(s.card.paints)]
        if wanted:
            runs.append(
                _fit_device(store, calibration, scans, wanted, tubes, settings, progress, report)
            )
            fitted |= set(runs[-1].fit.paints)
    return runs


def unfit_scans(store: Store) -> dict[str, str | Sentence]:
    """Cards of which no scan can be fitted, or judge a fit, by name: why, and what to do."""
    one = of_one_lot(store.paints.all(), store.scans.all("fit"))
    why = {scan.card.name: why_not_seen(store, scan) for scan in one.readings}
    fit = {scan.card.name for scan in one.readings if why_not_seen(store, scan) is None}
    read = {readings.card.name for readings in store.readings.all("fit")}
    unfit = {card: said for card, said in why.items() if said and card not in fit | read}
    return {**one.left_out, **unfit, **unjudged(store)}


def _fit_device(
    store: Store,
    calibration: int,
    scans: Sequence[StoredChannels],
    wanted: Collection[str],
    tubes: Mapping[str, Tube],
    settings: FitSettings | None,
    progress: Progress | None,
    report: Report,
) -> ScanFit:
    on_cards = dict.fromkeys(paint for scan in scans for paint in scan.card.paints)
    beside = [paint for paint in on_cards if paint not in wanted]
    known = store.fits.coefficients(beside, TWO_FLUX) if beside else None
    scanner, prior = store.scanners.of_calibration(calibration), _prior(store, scans)
    sensors = scanner.device.sensors
    assert sensors is not None
    fit = run_scan_fit(
        scans,
        tubes,
        sensors,
        known,
        None if prior is None else store.fits.coefficients(prior["fits"], TWO_FLUX),
        None if prior is None else prior["white"],
        settings,
        progress,
    )
    if not scanner.device.fit_for_spectra:
        fit = replace(fit, paints={p: _first_guess(each) for p, each in fit.paints.items()})
    said = {"calibration": calibration, "prior": prior}
    number = store.fits.record(fit, scans, tubes, known, report(fit, tubes), by_scan=said)
    return ScanFit(number, fit, scanner.device.name)


def _first_guess(fit: PaintFit) -> PaintFit:
    """Say that a paint's device isn't known well enough for more."""
    return replace(
        fit,
        verdict=FIRST_GUESS if fit.verdict == GOOD_TO_MIX else fit.verdict,
        reasons=(*fit.reasons, "the sensitivities of its scanner's channels aren't known"),
    )


def _prior(store: Store, scans: Sequence[StoredChannels]) -> dict[str, Any] | None:
    """Name the measured paints that scanned ones are believed to be like; None where too few."""
    measured = store.fits.measured()
    whites = [d.white for s in scans for d in s.card.drawdowns if d.white in measured]
    if not whites or len(measured) <= FEWEST_LEARNT:
        return None
    return {"white": str(whites[0]), "fits": measured}
