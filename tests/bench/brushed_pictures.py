"""Pictures of brushed cards and of a printed target, by an invented flatbed.

Different in kind from `tests.lab.render`: each pixel has a film thickness of its own in wavy
streaks, and the colour of that thickness; the flatbed's colours are raw, or what its driver makes
of them; light strays as a veil and a short halo; the target is a halftone of four inks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pymupdf
from tintladder.calibrate.cards.layout import Layout
from tintladder.calibrate.optics.colour import xyz
from tintladder.calibrate.optics.spectra import GRID, Array

from tests.lab.render import Rendered, save

from .brushed_paints import NODES, band, below

DPI = 150.0
PER_MM = DPI / 25.4
ROWS, COLUMNS = 10, 14
PAPER = 0.84 - 0.2 / (1 + np.exp((GRID - 405) / 10))
TONER = np.full(GRID.size, 0.05)
_D50_TO_SRGB = np.array([
    [3.1338561, -1.6168667, -0.4906146],
    [-0.9787684, 1.9161415, 0.0334540],
    [0.0719453, -0.2289914, 1.4052427],
])  # fmt: skip
"""XYZ under D50 to linear sRGB, Bradford adapted (from memory; D50 itself comes out as 1, 1, 1)."""


@dataclass(frozen=True, eq=False)
class Flatbed:
    """An invented scanner.

    Attributes
    ----------
    sensitivities : (W, 3) array
        Lamp, lenses and filters; each sums to 1.
    matrix : (3, 3) array
        What its driver makes of raw colours.
    curve : bool
        Whether the driver then encodes as sRGB (IEC 61966-2-1).
    """

    sensitivities: Array
    matrix: Array
    curve: bool

    def linear(self, spectra: Array) -> Array:
        return np.asarray(spectra @ self.sensitivities)


def _sensitivities(seed: int, unseen: bool) -> Array:
    rng = np.random.default_rng([seed, 0x5E])
    if unseen:  # a lamp of three phosphors
        lamp = 0.1 + sum(
            h * band(1, at, w, 1.4 * w)
            for h, at, w in ((0.8, 451, 20), (1.0, 542, 14), (0.9, 611, 15))
        )
    else:
        lamp = band(rng.uniform(0.8, 1.3), rng.uniform(446, 458), 14, 18) + 0.05
        lamp = lamp + band(0.9, rng.uniform(550, 575), 75, 85)
    red = below(1, 720, 30) * (1 - below(1, rng.uniform(585, 600), 16)) + band(0.05, 455, 30, 30)
    green = band(1, rng.uniform(528, 546), 46, 50, 2.4) + 0.02
    blue = band(1, rng.uniform(448, 462), 45, 40, 2.2) + band(0.03, 560, 40, 40)
    through = np.stack([red, green, blue], axis=1) * lamp[:, None]
    return np.asarray(through / through.sum(axis=0))


def flatbed(seed: int, driver: bool, unseen: bool = False) -> Flatbed:
    """A flatbed of a seed: raw, or by a driver that turns its colours into sRGB."""
    raw = _sensitivities(seed, unseen)
    if not driver:
        return Flatbed(raw, np.eye(3), curve=False)
    some = target_spectra()
    wanted = xyz(some) / xyz(np.ones((1, GRID.size)))[0, 1] @ _D50_TO_SRGB.T
    matrix = np.linalg.lstsq(some @ raw, wanted, rcond=None)[0].T
    return Flatbed(raw, matrix / matrix.sum(axis=1, keepdims=True), curve=True)


def target_spectra() -> Array:
    """A bought target, (140, W): a halftone (Neugebauer primaries, Yule-Nielsen factor 2)."""
    inks = np.stack([
        band(1.5, 640, 90, 70, 2.4) + band(0.25, 420, 40, 40),
        band(1.4, 540, 50, 42) + band(0.2, 410, 30, 40),
        band(1.6, 440, 60, 38, 2.6),
        np.full(GRID.size, 1.7),
    ])  # fmt: skip
    rng = np.random.default_rng(4099)
    cover = rng.choice([0.0, 0.12, 0.3, 0.55, 0.8, 1.0], (ROWS * COLUMNS, 4))
    cover[:, 3] *= rng.random(len(cover)) < 0.25
    cover[:20, :3], cover[:20, 3] = 0, np.linspace(0, 1, 20)
    root = np.zeros((len(cover), GRID.size))
    for solid in np.ndindex(2, 2, 2, 2):
        on = np.array(solid, dtype=bool)
        area = np.where(on, cover, 1 - cover).prod(axis=1)
        root += area[:, None] * np.sqrt(PAPER * 10 ** -(inks[on].sum(axis=0)))
    return np.asarray(root**2)


def values_text() -> str:
    """The target's data file."""
    names = "\t".join(["SAMPLE_NAME", *(f"SPECTRAL_NM{w:g}" for w in GRID)])
    labels = [f"{chr(65 + r)}{c + 1}" for r in range(ROWS) for c in range(COLUMNS)]
    rows = [
        "\t".join([label, *(f"{100 * v:.4f}" for v in row)])
        for label, row in zip(labels, target_spectra(), strict=True)
    ]
    return "\n".join([
        "CGATS.17", 'ORIGINATOR "boatyard sign shop (invented)"', 'MEASUREMENT_GEOMETRY "45:0"',
        'KEYWORD "REFLECTANCE_UNIT"', 'REFLECTANCE_UNIT "percent"',
        f"NUMBER_OF_FIELDS {GRID.size + 1}", "BEGIN_DATA_FORMAT", names, "END_DATA_FORMAT",
        f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA", *rows, "END_DATA", "",
    ])  # fmt: skip


def _taken(page: np.ndarray, device: Flatbed, seed: int) -> np.ndarray:
    """Light, a veil, a halo, blur and noise; then the driver, and 16 bits."""
    rng = np.random.default_rng([seed, 0x7AF])
    halo = cv2.GaussianBlur(page, (0, 0), 5 * PER_MM)
    page = 0.982 * page + 0.010 * halo + 0.008 * page.mean(axis=(0, 1))
    fall = np.linspace(-1, 1, page.shape[0], dtype=np.float32)[:, None, None]
    page *= 0.9 * (1 + 0.012 * rng.uniform(-1, 1) * fall)
    page = cv2.GaussianBlur(page, (0, 0), 0.5)
    page += 0.003 * np.sqrt(page + 0.001) * rng.standard_normal(page.shape, dtype=np.float32)
    page = np.clip(page @ device.matrix.T.astype(np.float32), 0, 1)
    if device.curve:
        page = np.where(page <= 0.0031308, 12.92 * page, 1.055 * page ** (1 / 2.4) - 0.055)
    return np.round(page * 65535).astype(np.uint16)


def save_target(device: Flatbed, seed: int, to: Path) -> str:
    """Write a scan of the target; its corners, as typed."""
    side, rim = round(6 * PER_MM), round(9 * PER_MM)
    colours = device.linear(target_spectra()).reshape(ROWS, COLUMNS, 3).astype(np.float32)
    inner = np.repeat(np.repeat(colours, side, axis=0), side, axis=1)
    page = np.empty((inner.shape[0] + 2 * rim, inner.shape[1] + 2 * rim, 3), np.float32)
    page[:] = device.linear(PAPER)
    page[rim:-rim, rim:-rim] = inner
    save(Rendered(_taken(page, device, seed), np.eye(3)), str(to), DPI)
    left, right, foot = rim - 0.5, rim + inner.shape[1] - 0.5, rim + inner.shape[0] - 0.5
    corners = ((left, left), (right, left), (right, foot), (left, foot))
    return " ".join(f"{x:g},{y:g}" for x, y in corners)


def _streaks(height: int, width: int, rng: np.random.Generator) -> Array:
    """Where in the spread of its film each pixel lies, -1 to 1: wavy bristle marks."""
    y, x = np.mgrid[:height, :width] / PER_MM
    a, b, c = rng.uniform(0, 2 * np.pi, 3)
    slow = np.sin(2 * np.pi * y / rng.uniform(4, 7) + 1.5 * np.sin(x / 8 + a) + b)
    return np.asarray(0.65 * slow + 0.35 * np.sin(2 * np.pi * y / rng.uniform(0.8, 1.6) + c))


def save_card(
    pdf: Path,
    layout: Layout,
    films: Mapping[tuple[int, str], Array],
    bare: Mapping[str, Array],
    device: Flatbed,
    seed: int,
    to: Path,
) -> None:
    """Write a scan of a printed card, painted.

    Parameters
    ----------
    films : mapping of step's number and ground to (nodes, W) array
    bare : mapping of ground to (W,) array
    """
    rng = np.random.default_rng([seed, 0xCA])
    with pymupdf.open(pdf) as document:
        pix = document[0].get_pixmap(dpi=round(DPI), colorspace=pymupdf.csGRAY)
        ink = np.frombuffer(pix.samples, np.uint8).reshape(pix.height, pix.stride)[:, : pix.width]
    paper, toner = device.linear(PAPER), device.linear(TONER)
    rim = round(7 * PER_MM)
    share = ink.astype(np.float32)[:, :, None] / 255
    page = np.full((ink.shape[0] + 2 * rim, ink.shape[1] + 2 * rim, 3), 0.8, np.float32)
    page[rim:-rim, rim:-rim] = toner + share * (paper - toner)

    def place(part, grown: float = 0.0) -> tuple[slice, slice]:
        x, y = part.x_mm - grown, part.y_mm - grown
        x1, y1 = part.x_mm + part.width_mm + grown, part.y_mm + part.height_mm + grown
        a, b, c, d = (rim + round(v * PER_MM) for v in (y, y1, x, x1))
        return slice(a, b), slice(c, d)

    for ground in layout.bands:
        page[place(ground.box)] = device.linear(bare[ground.substrate])
    for patch in layout.patches:
        film = films.get((patch.step, patch.over))
        if film is None:
            continue
        at = place(patch.box, 1.4)
        where = _streaks(*page[at].shape[:2], rng)
        nodes = device.linear(film)
        for channel in range(3):
            page[(*at, channel)] = np.interp(where, NODES, nodes[:, channel])
    turned = _turned(page, rng.uniform(-1.2, 1.2))
    save(Rendered(_taken(turned, device, seed + 1), np.eye(3)), str(to), DPI)


def _turned(page: np.ndarray, degrees: float) -> np.ndarray:
    height, width = page.shape[:2]
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1)
    return cv2.warpAffine(page, matrix, (width, height), borderValue=(0.8, 0.8, 0.8))
