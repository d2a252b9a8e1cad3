"""Pictures of painted cards and of a target by a measured camera: the bench's second renderer.

A page is kept as a table of spectra and, for each pixel, which of them it shows and by how much:
so one page is seen by any camera. A phone's picture lies aslant under light that falls off across
the page, and is a JPEG of 8 bits; a flatbed's is a PNG of 8 bits. Each picture's exposure and
white balance are a little its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pymupdf
from PIL import Image
from tintladder.calibrate.cards.box import Box
from tintladder.calibrate.cards.layout import Layout
from tintladder.calibrate.cards.layout_parts import TONE
from tintladder.calibrate.optics.spectra import GRID, Array

from tests.lab.render import Rendered, save

from .brushed_paints import NODES
from .brushed_pictures import COLUMNS, PAPER, ROWS, TONER, target_spectra
from .untargeted_cameras import CURVES, Camera

DPI = 150.0
PER_MM = DPI / 25.4
RIM_MM = 7.0
TABLE = np.full(GRID.size, 0.42)
"""What the card lies on."""


@dataclass(frozen=True)
class Spoilt:
    """What was done to a picture beyond what every picture has; nothing, as it stands.

    Attributes
    ----------
    exposure : float
        Times the light.
    balance : (3,) tuple of float
        Times each channel, of linear light after the driver's matrix.
    gamma : float
        Power of the code.
    contrast, vibrance : float
        An S of the code; saturation that the less colourful gets more of.
    uneven : float
        Further fall of the light across the page.
    shadow : float
        Light that is missing left of a soft edge.
    glare : float
        Light on one half of a stroke, as a share of white.
    where : (4,) tuple of float
        Of glare, mm of the page: left, top, right, foot.
    haze : float
        Further uniform light.
    """

    exposure: float = 1.0
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    gamma: float = 1.0
    contrast: float = 0.0
    vibrance: float = 0.0
    uneven: float = 0.0
    shadow: float = 0.0
    glare: float = 0.0
    where: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    haze: float = 0.0


PLAIN = Spoilt()


def _streaks(shape: tuple[int, ...], rng: np.random.Generator) -> Array:
    """Where in its film's spread each pixel lies, -1 to 1: runs of a brush, of unlike length."""
    fine = rng.standard_normal((shape[0], max(shape[1] // 40, 2)))
    wide = cv2.resize(fine, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    wide = cv2.GaussianBlur(wide, (0, 0), sigmaX=2, sigmaY=0.3 * PER_MM)
    return np.asarray(np.tanh(wide / wide.std()))


def page_of(
    pdf: Path,
    layout: Layout,
    films: Mapping[tuple[int, str], Array],
    bare: Mapping[str, Array],
    grey: Array | None,
    device: Camera,
    seed: int,
) -> np.ndarray:
    """A painted card as the sensor would see it in even light, (H, W, 3).

    Parameters
    ----------
    films : mapping of step's number and ground to (nodes, W) array
    bare : mapping of ground to (W,) array
    grey : (W,) array or None
        Of the bought grey card, whose pieces lie on black and on white; None without one.
    """
    rng = np.random.default_rng([seed, 0x9A6E])
    with pymupdf.open(pdf) as document:
        pix = document[0].get_pixmap(dpi=round(DPI), colorspace=pymupdf.csGRAY)
        ink = np.frombuffer(pix.samples, np.uint8).reshape(pix.height, pix.stride)[:, : pix.width]
    rim = round(RIM_MM * PER_MM)
    paper, toner, table = (device.linear(r) for r in (PAPER, TONER, TABLE))
    page = np.empty((ink.shape[0] + 2 * rim, ink.shape[1] + 2 * rim, 3), np.float32)
    page[:] = table
    share = ink.astype(np.float32)[:, :, None] / 255
    page[rim:-rim, rim:-rim] = toner + share * (paper - toner)

    def place(box: Box, grown: float = 0.0) -> tuple[slice, slice]:
        x, y = box.x_mm - grown, box.y_mm - grown
        x1, y1 = box.x_mm + box.width_mm + grown, box.y_mm + box.height_mm + grown
        a, b, c, d = (rim + round(v * PER_MM) for v in (y, y1, x, x1))
        return slice(a, b), slice(c, d)

    for ground in layout.bands:
        page[place(ground.box)] = device.linear(bare[ground.substrate])
    for reference in layout.references:
        if reference.kind != TONE and grey is not None:
            page[place(reference.box, 0.8)] = device.linear(grey)
    for patch in layout.patches:
        film = films.get((patch.step, patch.over))
        if film is None:
            continue
        at = place(patch.box, 1.3)
        where = _streaks(page[at].shape[:2], rng)
        nodes = device.linear(film)
        for channel in range(3):
            page[(*at, channel)] = np.interp(where, NODES, nodes[:, channel])
    return page


def target_page(device: Camera) -> tuple[np.ndarray, str]:
    """The printed target of `brushed_pictures`, and its corners as typed."""
    side, rim = round(6 * PER_MM), round(9 * PER_MM)
    colours = device.linear(target_spectra()).reshape(ROWS, COLUMNS, 3).astype(np.float32)
    inner = np.repeat(np.repeat(colours, side, axis=0), side, axis=1)
    page = np.empty((inner.shape[0] + 2 * rim, inner.shape[1] + 2 * rim, 3), np.float32)
    page[:] = device.linear(PAPER)
    page[rim:-rim, rim:-rim] = inner
    left, right, foot = rim - 0.5, rim + inner.shape[1] - 0.5, rim + inner.shape[0] - 0.5
    corners = ((left, left), (right, left), (right, foot), (left, foot))
    return page, " ".join(f"{x:g},{y:g}" for x, y in corners)


def _lit(page: np.ndarray, device: Camera, spoilt: Spoilt, rng: np.random.Generator) -> None:
    """Let the light fall on it."""
    height, width = page.shape[:2]
    y, x = (v.astype(np.float32) for v in np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j])
    fall = (0.05 if device.phone else 0.008) + spoilt.uneven
    turn = rng.uniform(0, 2 * np.pi)
    across = np.cos(turn) * x + np.sin(turn) * y
    level = 1 + fall * (0.7 * across - 0.3 * (x * x + y * y))
    if spoilt.shadow:
        level *= 1 - spoilt.shadow / (1 + np.exp((x - rng.uniform(-0.2, 0.2)) / 0.05))
    page *= level[:, :, None]
    if spoilt.glare:
        rim = RIM_MM
        a, b, c, d = (round((v + rim) * PER_MM) for v in spoilt.where)
        page[b:d, a:c] += spoilt.glare


def _turned(page: np.ndarray, device: Camera, rng: np.random.Generator) -> np.ndarray:
    height, width = page.shape[:2]
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    if device.phone:
        to = corners + rng.uniform(0, 0.025, (4, 2)).astype(np.float32) * width * (
            1 - 2 * (corners > 0)
        )
    else:
        angle = np.radians(rng.uniform(-1, 1))
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        middle = corners.mean(axis=0)
        to = ((corners - middle) @ turn.T + middle).astype(np.float32)
    matrix = cv2.getPerspectiveTransform(corners, to.astype(np.float32))
    edge = tuple(float(v) for v in page[2, 2])
    return cv2.warpPerspective(page, matrix, (width, height), borderValue=edge)


def save_picture(
    page: np.ndarray,
    device: Camera,
    seed: int,
    to: Path,
    spoilt: Spoilt = PLAIN,
    flat: bool = False,
) -> None:
    """Take a picture of a page; `flat`, as of a target whose corners are typed."""
    rng = np.random.default_rng([seed, 0x5407])
    page = page.copy()
    _lit(page, device, spoilt, rng)
    if not flat:
        page = _turned(page, device, rng)
    page = cv2.GaussianBlur(page, (0, 0), 0.6)
    veil = device.veil + spoilt.haze
    page = (1 - veil) * page + veil
    exposed = 0.92 * spoilt.exposure * np.exp(rng.normal(0, 0.04 if device.phone else 0.004))
    size = 0.008 if device.phone else 0.004
    page += size * np.sqrt(page + 0.001) * rng.standard_normal(page.shape, dtype=np.float32)
    balance = np.exp(rng.normal(0, 0.015 if device.phone else 0.002, 3)) * spoilt.balance
    page = page @ device.matrix.T.astype(np.float32) * (exposed * balance).astype(np.float32)
    code = CURVES[device.curve](np.clip(page, 0, 1))
    code = np.clip(_enhanced(code, spoilt), 0, 1)
    picture = np.round(255 * code).astype(np.uint8)
    if to.suffix == ".jpg":
        Image.fromarray(picture).save(to, quality=95, subsampling=0)
    else:
        save(Rendered(picture, np.eye(3)), str(to), DPI)


def _enhanced(code: np.ndarray, spoilt: Spoilt) -> np.ndarray:
    """What a program did to the finished picture."""
    code = code**spoilt.gamma
    code = code - spoilt.contrast * np.sin(2 * np.pi * code)
    if spoilt.vibrance:
        grey = code.mean(axis=2, keepdims=True)
        away = code.max(axis=2, keepdims=True) - code.min(axis=2, keepdims=True)
        code = grey + (code - grey) * (1 + spoilt.vibrance * (1 - away))
    return code
