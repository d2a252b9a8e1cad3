"""The main job on the boatyard's demo sessions, from files to a release, a picture and a recipe."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path

from ...calibrate.errors import InputError
from ..cards.intake import take_in
from ..common.remedies import StudioDo
from ..common.whole_files import write_whole
from ..fits.fitting import StudioFit, fit_studio
from ..mixing.prediction import Look, look, why
from ..pictures.figures import tint_figure
from ..pictures.style import save
from ..releases.publish import Release, publish
from ..store.store import Store
from .scanned_card import DemoScan, read_demo_scan, try_demo_scan

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
    fitted : StudioFit
    release : Release
    names : dict of nickname to name
    pictures : tuple of Path
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
