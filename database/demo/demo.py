"""The main job on the boatyard's demo sessions, from files to a release, a picture and a recipe."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.resources import as_file, files
from pathlib import Path

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import TWO_FLUX
from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.predict import dry_fractions, predict
from ...calibrate.optics.spectra import Array
from ..cards.characterising import characterise_device
from ..cards.intake import take_in
from ..cards.scan_files import overlay_of_scan
from ..common.files import write_whole
from ..common.remedies import StudioDo
from ..fits.fitting import StudioFit, fit_studio
from ..fits.scan_fitting import run_scan_fit
from ..mixing.prediction import Look, look, why
from ..pictures.figures import tint_figure
from ..pictures.style import save
from ..releases.publish import Release, publish
from ..store.store import Store

MARKER = "this-is-a-demo.txt"
_WORDS = """\
This folder holds the demonstration, which makes it anew each time: keep nothing of yours here.
The boatyard sign shop, its paints and its readings are invented; nothing was measured.
"""
PICTURED = "ANCHOR"
RECIPE = ("kelp", {"ROPE": 6.0, "HULL": 2.0, "STARBOARD": 2.0})
"""A mix of the check card, in parts by weight."""


@dataclass(frozen=True)
class Demo:
    """What the demo made.

    Attributes
    ----------
    folder : Path
        A whole studio.
    names : dict of nickname to name
    scan : DemoScan
        A paint as its scan alone tells of it.
    recipe, look, why, off
        A recipe's parts, how it should look, why it works, and how far it lay from the prediction
        when painted (CIEDE2000).
    """

    folder: Path
    fitted: StudioFit
    release: Release
    names: dict[str, str]
    pictures: tuple[Path, ...]
    scan: DemoScan
    recipe: dict[str, float]
    look: Look
    why: str
    off: float


def make_demo(folder: Path, progress: Callable[[str], None] = lambda _: None) -> Demo:
    """Read the demo sessions into a fresh studio, fit, check, publish and plot.

    Parameters
    ----------
    folder : Path
        Made anew where an earlier demo made it.
    progress : callable, optional
        Called with what goes on.

    Raises
    ------
    InputError
        Where the folder holds anything but a demo.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        if not (folder / MARKER).is_file():
            raise InputError(
                folder, None, "expected no such folder, or one of an earlier demo",
                StudioDo.OTHER_FOLDER(),
            )  # fmt: skip
        shutil.rmtree(folder)
    write_whole({folder / MARKER: _WORDS.encode()})
    with as_file(files("tintladder.measurements") / "boatyard") as boatyard:
        shutil.copytree(boatyard, folder, dirs_exist_ok=True)
    with Store.open(folder, create=True) as store:
        progress("reading the cards")
        sources = [
            folder / "paints.toml",
            *sorted((folder / "cards").iterdir()),
            *sorted((folder / "readings").iterdir()),
        ]
        take_in(store, sources)
        progress("reading a scan")
        read_demo_scan(store, folder / "scans")
        progress("fitting ten paints")
        fitted = fit_studio(store)
        scan = try_demo_scan(store)
        progress("publishing")
        release = publish(store, note="the boatyard's demo")
        names = {paint.nickname: paint.name for paint in store.paints.all()}
        progress("drawing")
        (folder / "plots").mkdir(exist_ok=True)
        figure = tint_figure(store.fits.of(PICTURED), names[PICTURED], store.cards.all())
        pictures = tuple(
            save(figure, folder / "plots" / f"{PICTURED}-tint.{kind}") for kind in ("png", "svg")
        )
    step, recipe = RECIPE
    coefficients = fitted.in_use.fit.coefficients
    patches = fitted.in_use.check.patches
    return Demo(
        folder,
        fitted,
        release,
        names,
        pictures,
        scan,
        recipe,
        look(coefficients, recipe)[0],
        why(coefficients, recipe, names),
        float(patches.loc[patches["step"] == step, "de00"].mean()),
    )


PAINT, CARD = "ANCHOR", "anchor-blue-quick"


@dataclass(frozen=True)
class DemoScan:
    """A paint fitted from its scan alone, and as an instrument's readings have it.

    Attributes
    ----------
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
