"""Scans: whether every card is found, how true its colours come out, and what that costs.

Cards, scanners and phone are rendered by the lab (see `tests.lab.render`): stray light, light and
brush marks of other shapes than the program assumes.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from tintladder.calibrate.cards.layout import layout_names, read_layout
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.scans.recovery import fit_scan
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.colour_difference import ciede2000_band
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.spectra import Array
from tintladder.calibrate.scan.characterise import Characterised
from tintladder.calibrate.scan.find import find_card, project
from tintladder.calibrate.scan.image import Facts, Picture
from tintladder.calibrate.scan.reading import read_scan
from tintladder.calibrate.scan.target import grid_found, read_target
from tintladder.calibrate.scan.target_found import find_grid

from ..lab.paints import PAINTS, WHITE
from ..lab.render import PHONE_JPEG, SCANNER, SCANNER_8, Colours, Device, Pose, render, save
from ..lab.scans import COLUMNS, LAB, ROWS, grey, ladder, painted, target_scan, target_values, truth
from ..lab.target_scenes import scene
from .harness import Skipped, Timing, benchmark, timed

CARDS = 200
GREY = 0.2
_KINDS = {
    "flatbed": (SCANNER, "TIFF"),
    "flatbed-8": (SCANNER_8, "TIFF"),
    "phone": (PHONE_JPEG, "JPEG"),
}


def picture_of(pixels: np.ndarray, kind: str, dpi: float | None) -> Picture:
    """A picture as if opened from a file."""
    bits = 8 * pixels.dtype.itemsize
    size = (pixels.shape[1], pixels.shape[0])
    return Picture(pixels, Facts("rendered", "", kind, size, bits, dpi, None, None, None))


@lru_cache(maxsize=1)
def _located() -> tuple[int, float]:
    """Cards found of `CARDS`, and the largest error of a patch's corner, mm."""
    layouts = {layout.number: layout for layout in map(read_layout, layout_names())}
    scanner = Device(SCANNER.sensitivities, np.eye(3), SCANNER.gain, bits=8, noise=0.02)
    found, worst = 0, 0.0
    for seed in range(CARDS):
        rng = np.random.default_rng([seed, 0xF1D])
        layout = layouts[int(rng.choice(list(layouts)))]
        small = max(layout.page_mm) < 220
        dpi = float(rng.uniform(150, 600 if small and seed % 10 == 0 else 260))
        pose = Pose.random(rng, dpi)
        shades = rng.uniform(0.02, 0.9, (layout.steps + 1, 36))
        patches = {(p.step, p.over): shades[p.step] for p in layout.patches}
        picture = render(layout, Colours(scanner, patches, grey()), scanner, pose, seed, glare=2)
        try:
            card = find_card(picture_of(picture.pixels, "TIFF", dpi), layouts)
        except InputError:
            continue
        found += card.layout == layout
        for patch in layout.patches:
            off = project(card.to_px, patch.box.corners) - project(picture.to_px, patch.box.corners)
            worst = max(worst, float(np.linalg.norm(off, axis=1).max()) / dpi * 25.4)
    return found, worst


@benchmark("scan.cards_found", "of 200", target=CARDS, sense="at least")
def cards_found() -> float:
    """Any rotation, perspective to 10 degrees, one edge in three cropped, 150-600 dpi."""
    return _located()[0]


@benchmark("scan.targets_found", "of 40", target=38, sense="at least")
def targets_found() -> float:
    """Any turn, place and mild slant, on lids, tables and among marks; to a tenth of a patch."""
    found = 0
    for each in map(scene, range(500, 540)):
        try:
            off = np.abs(find_grid(each.picture, each.known) - each.corners).max()
        except InputError:
            continue
        found += off < each.side / 10
    return float(found)


@benchmark("scan.patch_position_worst", "mm", target=0.3)
def patch_position() -> float:
    """Largest error of any corner of any patch."""
    return _located()[1]


@lru_cache(maxsize=8)
def characterised(kind: str, spectral: bool = True, seed: int = 1) -> Characterised:
    """A device from a scan of the target."""
    device, form = _KINDS[kind]
    rendered, corners = target_scan(device, seed)
    picture = picture_of(rendered.pixels, form, None if form == "JPEG" else 300.0)
    found, sites = grid_found(corners, COLUMNS, ROWS, "target")
    return read_target(kind, picture, found, sites, target_values(spectral))[0]


@lru_cache(maxsize=8)
def differences(kind: str, known_grey: bool = True) -> Array:
    """CIEDE2000 of every patch of held-out cards, one of each paint."""
    device, form = _KINDS[kind]
    layout, found = read_layout("quick-a5"), []
    for seed, paint in enumerate(p for p in PAINTS if p != WHITE):
        rng = np.random.default_rng([seed, 0xC01])
        card = ladder(paint)
        spectra = painted(card, layout, 7000 + seed)
        phone = form == "JPEG"
        pose = Pose(150, float(rng.uniform(0, 360)), float(rng.uniform(0, 8)) if phone else 0.0)
        colours = Colours(device, spectra, grey())
        rendered = render(layout, colours, device, pose, 7000 + seed, glare=1)
        pixels = rendered.pixels
        if phone:
            done, content = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 92])
            assert done
            pixels = cv2.imdecode(content, cv2.IMREAD_UNCHANGED)
        picture = picture_of(pixels, form, None if phone else 300.0)
        scan = read_scan(
            picture, card, layout, {}, characterised(kind), grey=GREY if known_grey else None
        )
        true = truth(card, layout, spectra)
        spectral = np.array([true[label] for label in scan.channels.labels])
        found.append(ciede2000(scan.lab, lab(spectral)))
    return np.concatenate(found)


@benchmark("scan.flatbed_colour_mean", "CIEDE2000", target=0.8)
def flatbed_mean() -> float:
    """16 bit, level from the target alone."""
    return float(differences("flatbed", False).mean())


@benchmark("scan.flatbed_colour_p95", "CIEDE2000", target=2.0)
def flatbed_p95() -> float:
    return float(np.quantile(differences("flatbed", False), 0.95))


@benchmark("scan.flatbed_colour_worst", "CIEDE2000")
def flatbed_worst() -> float:
    return float(differences("flatbed", False).max())


@benchmark("scan.flatbed_8bit_colour_mean", "CIEDE2000")
def flatbed_8() -> float:
    return float(differences("flatbed-8", False).mean())


@benchmark("scan.phone_colour_mean", "CIEDE2000", target=2.5)
def phone_mean() -> float:
    """JPEG; a bought grey card's two pieces on the card."""
    return float(differences("phone").mean())


@benchmark("scan.phone_colour_mean_no_grey", "CIEDE2000")
def phone_no_grey() -> float:
    """The level rests on a typical white."""
    return float(differences("phone", False).mean())


@lru_cache(maxsize=2)
def _tints(kind: str) -> tuple[Array, Array]:
    """CIEDE2000 of tints as K and S of one scanned quick card predict them, and their bands."""
    device, form = _KINDS[kind]
    known, layout = characterised(kind), read_layout("quick-a5")
    assert known.sensors is not None
    off, band = [], []
    for seed, paint in enumerate(2 * [p for p in PAINTS if p != WHITE]):
        rng = np.random.default_rng([seed, 0xBA2D])
        card = ladder(paint)
        spectra = painted(card, layout, 8000 + seed)
        phone = form == "JPEG"
        pose = Pose(150, float(rng.uniform(0, 360)), float(rng.uniform(0, 8)) if phone else 0.0)
        rendered = render(layout, Colours(device, spectra, grey()), device, pose, seed, glare=1)
        pixels = rendered.pixels
        if phone:
            _, content = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 92])
            pixels = cv2.imdecode(content, cv2.IMREAD_UNCHANGED)
        picture = picture_of(pixels, form, None if phone else 300.0)
        scan = read_scan(picture, card, layout, {}, known, grey=GREY)
        found = fit_scan([scan.channels], LAB.tubes, known.sensors).coefficients
        tints = [d for d in card.drawdowns if len(d.masses) > 1]
        made = predict(found, dry_fractions(found, [d.masses for d in tints]))
        true = truth(card, layout, spectra)
        colours = lab(np.array([true[f"{d.step}/white"] for d in tints]))
        off.append(ciede2000(made.lab(), colours))
        band.append(ciede2000_band(made.lab(), made.lab_covariance()))
    return np.concatenate(off), np.concatenate(band)


for _kind in ("flatbed", "phone"):

    @benchmark(f"scan.{_kind}_tints_coverage", "share in their 95 % band")
    def tints_coverage(kind: str = _kind) -> float:
        """Of tints as the fit of one quick card predicts them."""
        off, band = _tints(kind)
        return float((off <= band).mean())

    @benchmark(f"scan.{_kind}_tints_mean", "CIEDE2000")
    def tints_mean(kind: str = _kind) -> float:
        """The same tints: how far they are off."""
        return float(_tints(kind)[0].mean())


_READ = """
import sys
from tests.lab.scans import ladder
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.scan.image import read_picture
from tintladder.calibrate.scan.overlay import overlay
from tintladder.calibrate.scan.reading import read_scan
card, layout = ladder("ANCHOR"), read_layout("quick-a5")
picture = read_picture(sys.argv[1])
scan = read_scan(picture, card, layout, {})
overlay(picture, scan.found, scan.samples)
status = open("/proc/self/status").read()
print(status.partition("VmHWM:")[2].split()[0])
"""


def _large(folder: str) -> Path:
    layout, card = read_layout("quick-a5"), ladder("ANCHOR")
    colours = Colours(SCANNER, painted(card, layout, 1), grey())
    path = Path(folder) / "a5.tif"
    save(render(layout, colours, SCANNER, Pose(600, 1.0), 1), str(path), 600)
    return path


@benchmark("scan.a5_600dpi_memory", "GB", target=1.0)
def memory() -> float:
    """Largest resident size of a process that reads it, libraries included.

    As the kernel keeps it for this process alone: a child's rusage starts at its parent's size.
    """
    if not Path("/proc/self/status").exists():
        raise Skipped("the system doesn't tell a process's largest size")
    with tempfile.TemporaryDirectory() as folder:
        root = Path(__file__).parents[2]
        said = subprocess.run(
            [sys.executable, "-c", _READ, str(_large(folder))],
            cwd=root, check=True, capture_output=True, text=True,
        )  # fmt: skip
    return float(said.stdout) / 1e6


@benchmark(
    "scan.a5_600dpi_16bit",
    "s",
    target=4.0,
    baseline="decoding it and blurring it once, 15 x 15",
    ratio_target=0.25,
)
def seconds() -> Timing:
    """Opened, read and drawn."""
    from tintladder.calibrate.scan.image import read_picture
    from tintladder.calibrate.scan.overlay import overlay

    layout, card = read_layout("quick-a5"), ladder("ANCHOR")
    with tempfile.TemporaryDirectory() as folder:
        path = _large(folder)

        def ours() -> None:
            picture = read_picture(path)
            scan = read_scan(picture, card, layout, {})
            overlay(picture, scan.found, scan.samples)

        def baseline() -> None:
            cv2.GaussianBlur(cv2.imread(str(path), cv2.IMREAD_UNCHANGED), (15, 15), 0)

        return timed(ours, baseline, 3)
