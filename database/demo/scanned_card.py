"""The demo's scan: a quick card read from its picture and fitted, beside what spectra say of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from ...calibrate.optics.coefficients import TWO_FLUX
from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.predict import dry_fractions, predict
from ...calibrate.optics.spectra import Array
from ..cards.characterising import characterise_device
from ..cards.intake import take_in
from ..cards.scan_files import overlay_of_scan
from ..fits.scan_fitting import run_scan_fit
from ..store.store import Store

PAINT, CARD = "ANCHOR", "anchor-blue-quick"


@dataclass(frozen=True)
class DemoScan:
    """A paint fitted from its scan alone, and as an instrument's readings have it.

    Attributes
    ----------
    paint : str
    steps : tuple of str
        Tints of its card, white to colour by weight.
    off : (N,) array
        CIEDE2000 of each tint, by the scan's K and S against the instrument's.
    overlay : Path
        What was read where.
    """

    paint: str
    steps: tuple[str, ...]
    off: Array = field(repr=False)
    overlay: Path


def read_demo_scan(store: Store, scans: Path) -> None:
    """Characterise the demo's flatbed, and read the quick card's picture."""
    characterise_device(store, "flatbed", scans / "target.png", scans / "target.txt")
    take_in(store, [scans / f"{CARD}.toml", scans / f"{CARD}.png"])


def try_demo_scan(store: Store) -> DemoScan:
    """Fit the paint as if nothing but its scan were known, and keep nothing."""
    scan = next(s for s in store.scans.all() if s.card.name == CARD)
    scanner = store.scanners.find()
    assert scanner is not None and scanner.device.sensors is not None
    measured = store.fits.coefficients(model=TWO_FLUX)
    tints = [d for d in scan.card.drawdowns if d.paint == PAINT and len(d.masses) > 1]
    white = str(tints[0].white)
    others = measured.select([paint for paint in measured.paints if paint != PAINT])
    devices = [(scanner.device.sensors, [scan])]
    fit = run_scan_fit(devices, store.paints.tubes(), others.select([white]), others, white)
    mixes = [dict(d.masses) for d in tints]
    by_scan, by_spectra = (
        predict(found, dry_fractions(found, mixes)).lab() for found in (fit.coefficients, measured)
    )
    return DemoScan(
        PAINT,
        tuple(d.step for d in tints),
        ciede2000(by_scan, by_spectra),
        overlay_of_scan(store.studio, CARD, scan.scan_sha256),
    )
