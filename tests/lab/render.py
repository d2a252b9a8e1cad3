"""Renders scans of painted cards: spectra through an invented scanner, with all that goes wrong.

The scanners and the phone are invented, and so is every number of theirs. Stray light, uneven
light, brush marks, dust, bubbles and glare are of other shapes than those that the program assumes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pymupdf
from PIL import Image
from tintladder.calibrate.cards.box import Box
from tintladder.calibrate.cards.layout import Layout
from tintladder.calibrate.cards.layout_parts import TONE
from tintladder.calibrate.cards.printed_card import print_card
from tintladder.calibrate.cards.printing import SMALLEST_PT
from tintladder.calibrate.optics.spectra import GRID, Array

PAPER = 0.86 - 0.25 * np.exp(-(GRID - 380) / 25)
INK = np.full(GRID.size, 0.045)
LID = np.full(GRID.size, 0.88)
_MARGIN_MM = 12.0


def srgb_encoded(v: Array) -> Array:
    """IEC 61966-2-1."""
    v = np.clip(v, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def phone_encoded(v: Array) -> Array:
    """sRGB, then a gentle S as phones add."""
    e = srgb_encoded(v)
    return e + 0.035 * np.sin(2 * np.pi * (e - 0.5)) * 1.0


def _bell(centre: float, width: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((GRID - centre) / width) ** 2))


def _even(curves: Array) -> Array:
    return np.asarray(curves / curves.sum(axis=0))


LAMP = 0.35 + 0.9 * _bell(452, 11) + 0.75 * _bell(560, 62)  # a white LED
FLATBED = _even(
    np.stack(
        [
            LAMP * (_bell(608, 30) + 0.06 * _bell(450, 25)),
            LAMP * (_bell(538, 34) + 0.02),
            LAMP * (_bell(458, 24) + 0.03 * _bell(540, 30)),
        ],
        axis=1,
    )
)
DAYLIGHT = 0.75 + 0.35 * _bell(470, 70) - 0.25 * _bell(390, 25)
PHONE = _even(
    np.stack(
        [
            DAYLIGHT * (_bell(600, 36) + 0.10 * _bell(455, 30)),
            DAYLIGHT * _bell(535, 42),
            DAYLIGHT * _bell(463, 30),
        ],
        axis=1,
    )
)


@dataclass(frozen=True, eq=False)
class Device:
    """An invented scanner or phone.

    Attributes
    ----------
    sensitivities : (W, 3) array
        Each sums to 1: the perfect diffuser reads 1.
    mix : (3, 3) array
        What the software does to linear colour.
    gain : (3,) array
        What the perfect diffuser comes out as, before encoding.
    encode : callable
    bits : {8, 16}
    fine : int
        Bits that the converter truly has.
    noise : float
        Of a pixel at white, relative; falls with the root of the light.
    stray : float
    uneven : float
        From the middle of the page to its edge.
    jpeg : int or None
        Quality.
    sharpen : float
    """

    sensitivities: Array
    mix: Array
    gain: Array
    encode: Callable[[Array], Array] = srgb_encoded
    bits: int = 16
    fine: int = 16
    noise: float = 0.006
    stray: float = 0.03
    uneven: float = 0.03
    jpeg: int | None = None
    sharpen: float = 0.0

    def linear(self, spectra: Array) -> Array:
        """What it makes of spectra (..., W) before stray light, noise and encoding."""
        return np.asarray(spectra @ self.sensitivities @ self.mix.T)


SCANNER = Device(FLATBED, np.eye(3), np.array([0.93, 0.91, 0.88]))
SCANNER_8 = replace(SCANNER, bits=8)
PHONE_JPEG = Device(
    PHONE,
    np.array([[1.45, -0.40, -0.05], [-0.20, 1.35, -0.15], [0.02, -0.42, 1.40]]),
    np.array([0.90, 0.90, 0.90]),
    phone_encoded,
    bits=8,
    noise=0.012,
    stray=0.02,
    uneven=0.06,
    jpeg=92,
)


@dataclass(frozen=True)
class Pose:
    """How a card lies: dpi, turn and tilt in degrees, and mm cut off at each side."""

    dpi: float = 300.0
    turn: float = 0.0
    tilt: float = 0.0
    tilt_towards: float = 0.0
    cut_mm: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)

    @classmethod
    def random(cls, rng: np.random.Generator, dpi: float, tilt: float = 10.0) -> Pose:
        cut = np.zeros(4)
        if rng.random() < 0.3:
            # One edge is cropped, as far as the quiet zone of the markers or through them.
            cut[rng.integers(4)] = rng.uniform(0, 12)
        return cls(
            dpi,
            float(rng.uniform(0, 360)),
            float(rng.uniform(0, tilt)),
            float(rng.uniform(0, 360)),
            (float(cut[0]), float(cut[1]), float(cut[2]), float(cut[3])),
        )


@dataclass(frozen=True)
class Rendered:
    """A picture, red, green, blue, as encoded, and the homography from mm of the page to px."""

    pixels: np.ndarray
    to_px: Array


@lru_cache(maxsize=8)
def _printed(layout_name: str, layout: Layout, per_mm: float) -> np.ndarray:
    """Share of ink-free paper of a printed page, (H, W)."""
    # Boxes of earlier editions hold small letters only; as ink on the page they will do.
    page = pymupdf.open(stream=print_card(layout, least_pt=SMALLEST_PT), filetype="pdf")[0]
    zoom = per_mm * 25.4 / 72
    pix = page.get_pixmap(matrix=pymupdf.Matrix(zoom, zoom), colorspace=pymupdf.csGRAY)
    grey = np.frombuffer(pix.samples, np.uint8).reshape(pix.height, pix.stride)[:, : pix.width]
    size = [max(round(s * per_mm), 1) for s in layout.page_mm]
    grey = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    return grey.astype(np.float32) / 255


class Colours:
    """Linear colours of a painted card: what `Device.linear` makes of its spectra."""

    def __init__(self, device: Device, patches: Mapping[tuple[int, str], Array], grey: Array):
        self.patches = {key: device.linear(r) for key, r in patches.items()}
        self.grey = device.linear(grey)
        self.paper, self.ink, self.lid = (device.linear(r) for r in (PAPER, INK, LID))


def _fill(page: np.ndarray, box: Box, colour: Array, per_mm: float, marks: Array | float = 1.0):
    x0, y0 = ((v + _MARGIN_MM) * per_mm for v in (box.x_mm, box.y_mm))
    x1, y1 = x0 + box.width_mm * per_mm, y0 + box.height_mm * per_mm
    a, b, c, d = (round(v) for v in (y0, y1, x0, x1))
    page[a:b, c:d] = colour * (marks[a:b, c:d] if isinstance(marks, np.ndarray) else marks)


def flat_page(
    layout: Layout, colours: Colours, per_mm: float, rng: np.random.Generator, dirt: float = 1.0
) -> np.ndarray:
    """A painted page as it would be without stray light, linear, (H, W, 3), lid around it."""
    width, height = (round((s + 2 * _MARGIN_MM) * per_mm) for s in layout.page_mm)
    page = np.empty((height, width, 3), np.float32)
    page[:] = colours.lid
    paper = _printed(layout.name, layout, round(per_mm, 3))[:, :, None]
    m = round(_MARGIN_MM * per_mm)
    inner = colours.ink + paper * (colours.paper - colours.ink)
    page[m : m + inner.shape[0], m : m + inner.shape[1]] = inner
    # Brush marks run along the strokes, and no two rows of bristles are alike.
    rows = rng.standard_normal((height, max(width // 200, 2))).astype(np.float32)
    rows = cv2.GaussianBlur(rows, (1, 0), 0.01, sigmaY=0.35 * per_mm)
    rows /= rows.std() + 1e-9
    marks = 1 + 0.012 * dirt * cv2.resize(rows, (width, height), interpolation=cv2.INTER_CUBIC)
    marks = marks[:, :, None]
    for band in layout.bands:
        _fill(page, band.box, colours.patches[0, band.substrate], per_mm, marks)
    for patch in layout.patches:
        if patch.step and (patch.step, patch.over) in colours.patches:
            _fill(
                page, patch.box.grown(1.2), colours.patches[patch.step, patch.over], per_mm, marks
            )
    for reference in layout.references:
        if reference.kind != TONE:
            _fill(page, reference.box.grown(1.0), colours.grey, per_mm, marks)
    if dirt:
        _soil(page, layout, colours, per_mm, rng)
    return page


def _soil(
    page: np.ndarray, layout: Layout, colours: Colours, per_mm: float, rng: np.random.Generator
) -> None:
    """Dust, hairs and bubbles."""
    height, width = page.shape[:2]
    for _ in range(60):
        at = (int(rng.integers(width)), int(rng.integers(height)))
        shade = tuple(float(v) for v in rng.uniform(0.02, 0.8) * colours.paper)
        cv2.circle(page, at, max(int(rng.uniform(0.1, 0.4) * per_mm), 1), shade, -1)
    for _ in range(6):
        at = np.array([rng.integers(width), rng.integers(height)])
        to = at + (rng.uniform(-6, 6, 2) * per_mm).astype(int)
        cv2.line(page, at.tolist(), to.tolist(), (0.2, 0.2, 0.2), max(int(0.08 * per_mm), 1))
    for patch in layout.patches:
        if patch.step and rng.random() < 0.3:
            box = patch.box
            x = (box.x_mm + rng.uniform(1, box.width_mm - 1) + _MARGIN_MM) * per_mm
            y = (box.y_mm + rng.uniform(1, box.height_mm - 1) + _MARGIN_MM) * per_mm
            r = max(round(0.7 * per_mm), 1)
            shade = tuple(float(v) for v in 0.5 * (page[int(y), int(x)] + 0.5))
            cv2.circle(page, (int(x), int(y)), r, shade, max(round(0.2 * per_mm), 1))


@lru_cache(maxsize=1)
def _spread() -> np.ndarray:
    """Where stray light comes from, on a grid of 1 mm: a peak and a long tail, no Gaussian."""
    y, x = np.mgrid[-60:61, -60:61]
    r = np.hypot(x, y)
    peak, tail = np.exp(-r / 5), (1 + (r / 12) ** 2) ** -1.5
    return (0.5 * peak / peak.sum() + 0.5 * tail / tail.sum()).astype(np.float32)


def strayed(page: np.ndarray, share: float, per_mm: float) -> np.ndarray:
    """Add stray light: reading = (1 - share) own + share x what lies around."""
    if not share:
        return page
    small = cv2.resize(page, None, fx=1 / per_mm, fy=1 / per_mm, interpolation=cv2.INTER_AREA)
    around = cv2.filter2D(small, -1, _spread(), borderType=cv2.BORDER_REPLICATE)
    large = cv2.resize(around, page.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return (1 - share) * page + share * large


def pose_matrix(page_mm: tuple[float, float], pose: Pose) -> tuple[Array, tuple[int, int]]:
    """Homography from mm to px, and the picture's size (width, height)."""
    (width, height), per_mm = page_mm, pose.dpi / 25.4
    a, d = np.radians(pose.turn), np.radians(pose.tilt_towards)
    centre = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    # A pinhole at twice the page's height looks at a sheet tilted about an axis in its plane.
    t, far = np.radians(pose.tilt), 2.0 * height
    axis = np.array([np.cos(d), np.sin(d), 0.0])
    rotation, _ = cv2.Rodrigues(axis * t)
    tilt = np.column_stack([rotation[:, 0], rotation[:, 1], [0, 0, far]])
    lens = np.array([[far, 0, 0], [0, far, 0], [0, 0, 1.0]])
    matrix = np.diag([per_mm, per_mm, 1]) @ lens @ tilt @ turn @ centre
    left, top, right, bottom = pose.cut_mm
    window = np.array(
        [(x, y) for x in (left, width - right) for y in (top, height - bottom)], dtype=float
    )
    edge = 0.0 if any(pose.cut_mm) else 4.0
    q = np.column_stack([window, np.ones(4)]) @ matrix.T
    corners = q[:, :2] / q[:, 2:]
    low, high = corners.min(axis=0) - edge * per_mm, corners.max(axis=0) + edge * per_mm
    shift = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]])
    size = np.ceil(high - low).astype(int)
    matrix = shift @ matrix
    return matrix / matrix[2, 2], (int(size[0]), int(size[1]))


def render(
    layout: Layout,
    colours: Colours,
    device: Device,
    pose: Pose,
    seed: int,
    dirt: float = 1.0,
    glare: int = 0,
) -> Rendered:
    """Render the scan of a card."""
    rng = np.random.default_rng([seed, 0x5CA7])
    to_px, size = pose_matrix(layout.page_mm, pose)
    per_mm = round(pose.dpi / 25.4 * 1.25, 3)
    page = strayed(flat_page(layout, colours, per_mm, rng, dirt), device.stray, per_mm)
    # Centres of pixels are whole numbers in the picture; in the page they lie half a pixel in.
    shift = _MARGIN_MM * per_mm - 0.5
    to_page = np.array([[per_mm, 0, shift], [0, per_mm, shift], [0, 0, 1]])
    warp = to_px @ np.linalg.inv(to_page)
    picture = cv2.warpPerspective(
        page, warp, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT,
        borderValue=(*map(float, colours.lid), 0.0),
    )  # fmt: skip
    del page
    return Rendered(_taken(picture, device, rng, layout, to_px, glare), to_px)


def _taken(
    picture: np.ndarray,
    device: Device,
    rng: np.random.Generator,
    layout: Layout | None,
    to_px: Array,
    glare: int,
) -> np.ndarray:
    """Light it, add glare, blur, noise, and encode."""
    height, width = picture.shape[:2]
    y, x = np.meshgrid(np.linspace(-1, 1, 64), np.linspace(-1, 1, 64), indexing="ij")
    a, b, c = rng.uniform(-1, 1, 3)
    light = 1 + device.uneven * (0.5 * a * x + 0.5 * b * y + 0.5 * c * np.cos(1.3 * x) * y**2)
    lit = cv2.resize(light.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)
    picture *= lit[:, :, None] * device.gain.astype(np.float32)
    del lit
    for _ in range(glare if layout else 0):
        patch = layout.patches[rng.integers(len(layout.patches))]
        at = [patch.box.x_mm + rng.uniform(0.2, 0.8) * patch.box.width_mm,
              patch.box.y_mm + rng.uniform(0.2, 0.8) * patch.box.height_mm, 1]  # fmt: skip
        p = to_px @ at
        r = 1.2 * np.hypot(*to_px[:2, 0])
        u, v = int(p[0] / p[2]), int(p[1] / p[2])
        n = int(4 * r)
        bell = np.exp(-0.5 * (np.arange(-n, n + 1) / r) ** 2)
        rows, columns = (np.arange(m - n, m + n + 1) for m in (v, u))
        if rows[0] >= 0 and columns[0] >= 0 and rows[-1] < height and columns[-1] < width:
            spot = 0.5 * np.outer(bell, bell).astype(np.float32)
            picture[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] += spot[:, :, None]
    picture = cv2.GaussianBlur(picture, (0, 0), 0.6)
    if device.sharpen:
        blurred = cv2.GaussianBlur(picture, (0, 0), 1.5)
        picture += device.sharpen * (picture - blurred)
    np.maximum(picture, 0, out=picture)
    noise = rng.standard_normal(picture.shape, dtype=np.float32)
    noise *= device.noise * np.sqrt(picture + 0.002)
    picture += noise
    kind, top = (np.uint8, 255) if device.bits == 8 else (np.uint16, 65535)
    fine = np.linspace(0, 1, 1 << 18)
    steps = (1 << min(device.fine, device.bits)) - 1
    table = np.round(np.round(np.clip(device.encode(fine), 0, 1) * steps) * top / steps)
    table = table.astype(kind)
    np.clip(picture, 0, 1, out=picture)
    picture *= fine.size - 1
    return table[picture.astype(np.int32)]


def save(rendered: Rendered, path: str, dpi: float | None, quality: int = 92) -> None:
    """Write a picture with its dpi stated, as a scanner would."""
    suffix = path.rpartition(".")[2].lower()
    if suffix in ("jpg", "jpeg"):
        said = {} if dpi is None else {"dpi": (dpi, dpi)}
        Image.fromarray(rendered.pixels).save(path, quality=quality, **said)
        return
    flags: list[int] = []
    if suffix in ("tif", "tiff"):
        flags = [cv2.IMWRITE_TIFF_COMPRESSION, 1]
        if dpi:
            flags += [cv2.IMWRITE_TIFF_RESUNIT, 2, cv2.IMWRITE_TIFF_XDPI, round(dpi)]
            flags += [cv2.IMWRITE_TIFF_YDPI, round(dpi)]
    else:
        flags = [cv2.IMWRITE_PNG_COMPRESSION, 9]
    done, content = cv2.imencode(
        f".{suffix}", np.ascontiguousarray(rendered.pixels[:, :, ::-1]), flags
    )
    assert done
    raw = content.tobytes()
    if suffix == "png" and dpi:
        raw = _with_dpi(raw, dpi)
    Path(path).write_bytes(raw)


def _with_dpi(png: bytes, dpi: float) -> bytes:
    """Add a pHYs chunk (ISO/IEC 15948) behind the header of a PNG, which OpenCV can't write."""
    per_metre = round(dpi / 0.0254)
    body = b"pHYs" + struct.pack(">IIB", per_metre, per_metre, 1)
    chunk = struct.pack(">I", 9) + body + struct.pack(">I", zlib.crc32(body))
    return png[:33] + chunk + png[33:]
