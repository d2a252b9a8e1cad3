"""Mixtures that no fit saw, as a studio has them: read by an instrument, or else scanned."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...calibrate.cards.card import Card
from ...calibrate.cards.readings import CardReadings
from ...calibrate.errors import Sentence
from ...calibrate.fit.problem.settings import FitSettings
from ...calibrate.fit.scans.check import check_scans
from ...calibrate.fit.uncertainty.check import MOST_SCAN_ERROR, Check, check_mixtures, together
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.sensors import Sensors
from ..common.remedies import StudioDo
from ..store.readings import StoredReadings
from ..store.scans import StoredChannels
from ..store.store import Store


@dataclass(frozen=True)
class ScannedCheck:
    """A check card, as one characterised device scanned it.

    Attributes
    ----------
    sensors : Sensors
        Of the device.
    calibration : int
        Number of its characterisation.
    """

    card: Card
    scans: tuple[StoredChannels, ...]
    sensors: Sensors
    calibration: int

    @property
    def unsure(self) -> float:
        """How unsure its channels are, root mean square."""
        level = self.sensors.factors.sum(axis=2)  # of each channel, where all is white
        spreads = [
            scan.uncertainty**2 + (level**2).sum(axis=0) * scan.channels**2 for scan in self.scans
        ]
        return float(np.sqrt(np.nanmean(np.concatenate(spreads)) / len(self.scans)))


CheckCard = StoredReadings | ScannedCheck


def check_cards(store: Store, holding: Collection[str] = ()) -> list[CheckCard]:
    """Every check card that can judge a fit: as an instrument read it, else as it was scanned.

    Of devices that scanned the same card, the one that is surest of it tells. With `holding`,
    those alone that hold any of these paints.
    """
    return [*store.readings.all("check", holding), *_scanned(store, holding)]


def _scanned(store: Store, holding: Collection[str] = ()) -> list[ScannedCheck]:
    """Check cards that no instrument read, as the surest device scanned each."""
    scans = store.scans.all("check")
    if holding:
        scans = [scan for scan in scans if set(holding).intersection(scan.card.paints)]
    read = store.readings.cards("check") if scans else set()
    by_device: dict[tuple[str, int], list[StoredChannels]] = {}
    for scan in scans:
        if scan.card.name not in read and why_not_judged(store, scan) is None:
            assert scan.calibration is not None
            by_device.setdefault((scan.card.name, scan.calibration), []).append(scan)
    best: dict[str, ScannedCheck] = {}
    for (name, calibration), scans in by_device.items():
        sensors = store.scanners.of_calibration(calibration).device.sensors
        assert sensors is not None
        found = ScannedCheck(scans[0].card, tuple(scans), sensors, calibration)
        if name not in best or found.unsure < best[name].unsure:
            best[name] = found
    return list(best.values())


def unjudged(store: Store) -> dict[str, str | Sentence]:
    """Check cards that were scanned to no use, by name: why, and what to do.

    What a device shows that was shown no target is of use all the same: a fit learns from it.
    """
    found, scans = dict[str, str | Sentence](), store.scans.all("check")
    if not scans:
        return found
    judging = store.readings.cards("check") | {each.card.name for each in _scanned(store)}
    for scan in scans:
        why = why_not_judged(store, scan)
        if why is not None and scan.card.name not in judging and not teaches(store, scan):
            found[scan.card.name] = why
    return found


def teaches(store: Store, scan: StoredChannels) -> bool:
    """Whether a fit can learn from a scan of mixtures: its device's channels are sums of light."""
    if scan.calibration is None:
        return False
    device = store.scanners.of_calibration(scan.calibration).device
    return device.sensors is not None and device.sums_of_light


def why_not_judged(store: Store, scan: StoredChannels) -> str | Sentence | None:
    """Why a scan of mixtures can judge no fit, and what to do; None where it can."""
    why = why_not_seen(store, scan)
    assert why is not None or scan.calibration is not None
    if (
        why is None
        and not store.scanners.of_calibration(scan.calibration or 0).device.fit_for_spectra
    ):
        return (
            "the sensitivities of its scanner's channels aren't known, so it judges no mixture; "
            "scan the card with a flatbed, its corrections off"
        )
    return why


def why_not_seen(store: Store, scan: StoredChannels) -> str | Sentence | None:
    """Why nothing is known of what a scan's channels see; None where it is."""
    if scan.calibration is None:
        return Sentence("its device isn't characterised; ", StudioDo.CHARACTERISE_AND_SCAN())
    if store.scanners.of_calibration(scan.calibration).device.sensors is None:
        return (
            "its device was characterised without spectra; take a target whose data file has "
            "spectra, and scan the card again"
        )
    return None


def predicted_checks(
    coefficients: Coefficients,
    cards: Sequence[CheckCard | CardReadings],
    settings: FitSettings | None = None,
) -> Check:
    """Predict every patch of check cards; its table says of scanned ones by which calibration.

    Raises
    ------
    InputError
        See `check_mixtures` and `check_scans`.
    """
    readings = [card for card in cards if not isinstance(card, ScannedCheck)]
    found = [_by(None, check_mixtures(coefficients, readings, settings))]
    for card in cards:
        if isinstance(card, ScannedCheck):
            seen = check_scans(coefficients, card.scans, card.sensors, settings)
            found.append(_by(card.calibration, seen))
    return together(found)


def told_by_scan(errors: Sequence[float]) -> list[str]:
    """Say how far scanned mixtures can be believed, of their patches' own errors (CIEDE2000)."""
    told = [error for error in errors if error <= MOST_SCAN_ERROR]
    blind, found = len(errors) - len(told), []
    if told:
        found.append(
            f"of held-out mixtures {_patches(len(told))} scanned, not measured: a scan tells no "
            f"difference below its own error, here CIEDE2000 {rms(told):.1f}, and nothing that its "
            "three channels don't see"
        )
    if blind:
        found.append(
            f"of held-out mixtures {_patches(blind)} scanned less surely than CIEDE2000 "
            f"{MOST_SCAN_ERROR:g}, so they count for nothing"
        )
    return found


def rms(errors: Sequence[float]) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(errors))))


def _patches(count: int) -> str:
    return "1 patch was" if count == 1 else f"{count} patches were"


def _by(calibration: int | None, check: Check) -> Check:
    numbers = [calibration] * len(check.patches)
    return replace(check, patches=check.patches.assign(calibration=np.array(numbers, dtype=object)))
