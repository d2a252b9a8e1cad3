"""Fits paints from their scans, where no instrument has read them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from ...calibrate.cards.channels import CardChannels, side_by_side
from ...calibrate.errors import Sentence
from ...calibrate.fit.judging.quality import FIRST_GUESS, GOOD_TO_MIX
from ...calibrate.fit.judging.quality_report import QualityReport
from ...calibrate.fit.problem.result import JointFit, PaintFit
from ...calibrate.fit.problem.settings import FitSettings
from ...calibrate.fit.problem.tube import Tube
from ...calibrate.fit.scans.next_picture import Surer, surer
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
    """A run of the fit on the scans of a device, or of several together, as kept.

    Attributes
    ----------
    number : int
        Of the run in the studio.
    fit : JointFit
    device : str
        Its name; of several all of theirs.
    surer : Surer or None
        How much surer mixes get by what could be read next, where no target was shown to it.
    """

    number: int
    fit: JointFit
    device: str
    surer: Surer | None = None


_MENDS = "the sensitivities of its scanner's channels aren't known"
_NO_TARGET = "no target was shown to what scanned it"
_PREVIEW = (
    "a preview: one device scanned it that was shown no target, and its ladder alone; a picture by "
    "another device, or a card of mixtures, makes it surer"
)
ByDevice = dict[int, list[StoredChannels]]
"""Scans of each device, by its characterisation's number."""
Report = Callable[[JointFit, Mapping[str, Tube]], Mapping[str, QualityReport]]
"""Says at length what is to be said of a fit's paints, which is kept with them."""


def run_scan_fit(
    devices: Sequence[tuple[Sensors, Sequence[CardChannels]]],
    tubes: Mapping[str, Tube],
    known: Coefficients | None,
    learnt: Coefficients | None,
    white: str | None,
    settings: FitSettings | None = None,
    progress: Progress | None = None,
) -> JointFit:
    """Fit the paints of scanned cards that aren't known.

    Parameters
    ----------
    devices : sequence of (Sensors, sequence of CardChannels)
        Each with what it scanned.
    tubes : mapping of nickname to Tube
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
    sensors, scans = devices[0]
    if len(devices) > 1:
        sensors = Sensors.side_by_side([each for each, _ in devices])
        scans = side_by_side([each for _, each in devices])
    return fit_scan(scans, tubes, sensors, prior, settings, known=known, progress=progress)


def fit_scans(
    store: Store,
    paints: Collection[str] = (),
    measured: Collection[str] = (),
    model: str = TWO_FLUX,
    progress: Progress | None = None,
    report: Report = lambda fit, tubes: {},
    taught: Sequence[StoredChannels] = (),
) -> list[ScanFit]:
    """Fit paints that only scans tell of, and keep the runs: one for devices that share cards.

    Parameters
    ----------
    store : Store
    paints : collection of str
        Nicknames to fit, against the current fits of the others. None: every one, anew.
    measured : collection of str
        Paints that were fitted to an instrument's readings just now: no scan says more of them.
    model : str
        By which; none is fitted against known paints that have no fit by it.
    progress, report : optional
    taught : sequence of StoredChannels
        Scans of mixtures that a fit learns from, where all their paints have ladders in it.

    Raises
    ------
    InputError
        See `tintladder.calibrate.fit.scans.recovery.fit_scan`, and `of_one_lot`.

    Notes
    -----
    A scan by a device whose sensitivities aren't known has no say; see `unfit_scans`. The cards of
    known paints have: beside them the device shows what it makes of colours that are sure. Devices
    that scanned the same cards tell together, for what one is blind to the other may see.
    """
    by_device: ByDevice = {}
    if not (scans := store.scans.all("fit")):
        return []
    one = of_one_lot(store.paints.all(), scans, paints)
    tubes = store.paints.tubes(one.lots)
    for scan in one.readings:
        if scan.calibration is not None and why_not_seen(store, scan) is None:
            by_device.setdefault(scan.calibration, []).append(scan)
    runs, fitted = list[ScanFit](), set(measured)
    for together in _sharing_cards(store, by_device):
        held = (set(store.fits.current()) - set(paints) if paints else set()) | fitted
        wanted = {p for of in together.values() for s in of for p in s.card.paints} - held
        if paints:
            wanted &= set(paints)
            some = {n: [s for s in of if wanted & set(s.card.paints)] for n, of in together.items()}
            together = {n: of for n, of in some.items() if of}
        there = {p for of in together.values() for s in of for p in s.card.paints}
        for scan in taught:
            if scan.calibration in together and there.issuperset(scan.card.paints):
                together[scan.calibration].append(scan)
        if wanted:
            made = _fit_devices(store, together, wanted, tubes, model, progress, report)
            runs += made
            fitted |= {paint for run in made for paint in run.fit.paints}
    return runs


def _sharing_cards(store: Store, by_device: ByDevice) -> list[ByDevice]:
    """Part devices into those that share cards, by way of others too.

    What read most goes first: the whites of the rest may rest on it. A device whose channels are no
    sums of light stands alone, for it would lead the others astray.
    """
    found = list[ByDevice]()
    for number in sorted(by_device, key=lambda n: (-len(by_device[n]), n)):
        scans = by_device[number]
        cards = {scan.card.name for scan in scans}
        near = [
            group
            for group in found
            if all(_joins(store, n) for n in (number, *group))
            and cards & {scan.card.name for of in group.values() for scan in of}
        ]
        whole = {n: of for group in near for n, of in group.items()} | {number: scans}
        place = found.index(near[0]) if near else len(found)
        found = [group for group in found if group not in near]
        found.insert(place, whole)
    return found


def _joins(store: Store, calibration: int) -> bool:
    return bool(store.scanners.of_calibration(calibration).device.sums_of_light)


def unfit_scans(store: Store) -> dict[str, str | Sentence]:
    """Cards of which no scan can be fitted, or judge a fit, by name: why, and what to do."""
    scans = store.scans.all("fit")
    one = of_one_lot(store.paints.all() if scans else [], scans)
    why = {scan.card.name: why_not_seen(store, scan) for scan in one.readings}
    fit = {scan.card.name for scan in one.readings if why_not_seen(store, scan) is None}
    read = store.readings.cards("fit") if why else set()
    unfit = {card: said for card, said in why.items() if said and card not in fit | read}
    return {**one.left_out, **unfit, **unjudged(store)}


def _fit_devices(
    store: Store,
    by_device: ByDevice,
    wanted: Collection[str],
    tubes: Mapping[str, Tube],
    model: str,
    progress: Progress | None,
    report: Report,
) -> list[ScanFit]:
    """One run, or none."""
    scans = [scan for of in by_device.values() for scan in of]
    on_cards = dict.fromkeys(paint for scan in scans for paint in scan.card.paints)
    beside = [paint for paint in on_cards if paint not in wanted]
    if not store.fits.current(model, beside).keys() >= set(beside):
        return []
    known = store.fits.coefficients(beside, model) if beside else None
    scanners = {n: store.scanners.of_calibration(n).device for n in by_device}
    prior, devices = _prior(store, scans), []
    for number, of in by_device.items():
        sensors = scanners[number].sensors
        assert sensors is not None
        devices.append((sensors, of))
    fit = run_scan_fit(
        devices,
        tubes,
        known,
        None if prior is None else store.fits.coefficients(prior["fits"], TWO_FLUX),
        None if prior is None else prior["white"],
        scan_settings(model),
        progress,
    )
    if not any(device.fit_for_spectra for device in scanners.values()):
        mends = not all(device.sums_of_light for device in scanners.values())
        taught = any(scan.card.purpose == "learn" for scan in scans)
        why = _MENDS if mends else _NO_TARGET if taught or len(scanners) > 1 else _PREVIEW
        fit = replace(fit, paints={p: _first_guess(each, why) for p, each in fit.paints.items()})
    said = {"calibrations": list(by_device), "prior": prior, "cost": fit.cost}
    number = store.fits.record(fit, scans, tubes, known, report(fit, tubes), by_scan=said)
    names = " and ".join(device.name for device in scanners.values())
    next_look = None
    no_target = all(each.sums_of_light and not each.by_target for each in scanners.values())
    if model == TWO_FLUX and known is None and no_target:
        next_look = surer(devices, tubes, fit, scan_settings(model))
    return [ScanFit(number, fit, names, next_look)]


def scan_settings(model: str) -> FitSettings:
    """Settings of either model: both are allowed the same errors.

    Three channels don't tell how well a model holds; and so what their fits cost can be held
    against each other.
    """
    alike = FitSettings()
    return FitSettings(
        model=model,  # type: ignore[arg-type]
        two_flux_spread=alike.two_flux_spread,
        model_spread=alike.known_spread,
        surface_error=0.0,
        crowding=0.0,
    )


def _first_guess(fit: PaintFit, why: str) -> PaintFit:
    """Say that a paint's device isn't known well enough for more, and why."""
    return replace(
        fit,
        verdict=FIRST_GUESS if fit.verdict == GOOD_TO_MIX else fit.verdict,
        reasons=(*fit.reasons, why),
    )


def _prior(store: Store, scans: Sequence[StoredChannels]) -> dict[str, Any] | None:
    """Name the measured paints that scanned ones are believed to be like; None where too few."""
    measured = store.fits.measured()
    whites = [d.white for s in scans for d in s.card.drawdowns if d.white in measured]
    if not whites or len(measured) <= FEWEST_LEARNT:
        return None
    return {"white": str(whites[0]), "fits": measured}
