"""Pictures of invented targets as painters take them: turned, small, aslant, on tables, in JPEG.

No device of these is a renderer's of `tests.lab.render`: light falls off over the whole picture, a
camera mixes the channels and lifts its mid tones, and the table has a grain.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from tintladder.calibrate.formats.target_values import TargetValues
from tintladder.calibrate.optics.colour import xyz
from tintladder.calibrate.optics.spectra import GRID, Array
from tintladder.calibrate.scan.image import Facts, Picture

from .render import PHONE
from .scans import COLUMNS, ROWS, target_values

_SIDE = 40
"""px of a patch before the target is laid into its picture."""
_CAMERA = np.array([[1.35, -0.3, -0.05], [-0.15, 1.3, -0.15], [0.0, -0.35, 1.35]])


@dataclass(frozen=True)
class Scene:
    """A picture of a target, and where the corners of its grid lie in it, px."""

    picture: Picture
    known: TargetValues
    corners: Array
    side: float
    words: str


def chart_values(columns: int, rows: int, seed: int) -> tuple[TargetValues, Array]:
    """An invented chart of so many patches, the last row grey; its values and spectra."""
    rng = np.random.default_rng([seed, 0xCA])
    count = columns * rows
    at = rng.uniform(400, 700, (count, 2, 1))
    wide = rng.uniform(25, 80, (count, 2, 1))
    deep = rng.uniform(0.0, 0.9, (count, 2, 1))
    spectra = 0.9 * (1 - deep * np.exp(-0.5 * ((GRID - at) / wide) ** 2)).prod(axis=1)
    spectra *= rng.uniform(0.25, 1.0, (count, 1))
    spectra[-columns:] = np.geomspace(0.88, 0.03, columns)[:, None]
    labels = tuple(f"{chr(65 + r)}{c + 1}" for r in range(rows) for c in range(columns))
    return TargetValues(labels, xyz(spectra), spectra, "chart.txt", ""), spectra


def scene(seed: int) -> Scene:
    """One of many pictures, drawn by chance: half of them of a scanner's target, half of a chart
    whose patches stand apart."""
    rng = np.random.default_rng([seed, 0x5CE])
    if rng.random() < 0.5:
        known, columns, rows = target_values(), COLUMNS, ROWS
        spectra, gap = known.spectra, 0
    else:
        columns, rows = [(6, 4), (8, 6), (14, 10)][rng.integers(3)]
        known, spectra = chart_values(columns, rows, seed)
        gap = round(_SIDE * rng.uniform(0.06, 0.2))
    rim = round(_SIDE * rng.uniform(0.4, 2.0))
    ground = [0.03, 0.2, 0.84][rng.integers(3)]
    colours = np.asarray(spectra) @ PHONE
    page = np.full((rows * _SIDE + 2 * rim, columns * _SIDE + 2 * rim, 3), ground, np.float32)
    for i, colour in enumerate(colours):
        r, c = divmod(i, columns)
        y, x = rim + r * _SIDE + gap // 2, rim + c * _SIDE + gap // 2
        page[y : y + _SIDE - gap, x : x + _SIDE - gap] = colour
    width, height = [(1600, 1200), (1200, 1600), (2400, 1800)][rng.integers(3)]
    table, words = _table(rng, width, height)
    fills = rng.uniform(0.35, 0.85)
    turn = (
        rng.choice([0, 90, 180, 270]) + rng.normal(0, 4)
        if rng.random() < 0.6
        else rng.uniform(0, 360)
    )
    to_px = _laid(rng, page.shape[1::-1], (width, height), fills, np.radians(turn))
    flags = {"flags": cv2.INTER_AREA, "borderMode": cv2.BORDER_CONSTANT}
    inside = cv2.warpPerspective(
        np.ones(page.shape[:2], np.float32), to_px, (width, height), **flags
    )
    laid = cv2.warpPerspective(page, to_px, (width, height), **flags)
    linear = table + inside[:, :, None] * (laid - table)
    ends = np.array([
        (rim, rim), (page.shape[1] - rim, rim),
        (page.shape[1] - rim, page.shape[0] - rim), (rim, page.shape[0] - rim),
    ], np.float32) - 0.5  # fmt: skip
    corners = cv2.perspectiveTransform(ends[None], to_px)[0].astype(float)
    side = float(np.linalg.norm(corners[1] - corners[0]) / columns)
    picture = _taken(rng, linear)
    words = f"{columns}x{rows} {words}, {turn:.0f} degrees, {fills:.0%}, patches of {side:.0f} px"
    return Scene(picture, known, corners, side, words)


def _table(rng: np.random.Generator, width: int, height: int) -> tuple[np.ndarray, str]:
    """What lies around the target: a lid, a dark cloth, a grained table, a sheet with marks."""
    kind = rng.integers(4)
    table = np.empty((height, width, 3), np.float32)
    table[:] = [(0.88, 0.88, 0.88), (0.03, 0.03, 0.035), (0.35, 0.22, 0.12), (0.8, 0.8, 0.78)][kind]
    if kind == 2:
        grain = rng.standard_normal((height // 4, max(width // 60, 2))).astype(np.float32)
        grain = cv2.GaussianBlur(grain, (0, 0), 1.5)
        table *= (
            1 + 0.5 * cv2.resize(grain, (width, height), interpolation=cv2.INTER_CUBIC)[..., None]
        )
    if kind == 3:
        for _ in range(25):
            x, y = rng.integers(width), rng.integers(height)
            shade = [float(v) for v in rng.uniform(0.03, 0.6, 3)]
            w, h = rng.integers(10, 120, 2)
            cv2.rectangle(table, (int(x), int(y)), (int(x + w), int(y + h)), shade, -1)
    return np.clip(table, 0.01, 1), ["on a lid", "on a dark cloth", "on a table", "among marks"][
        kind
    ]


def _laid(
    rng: np.random.Generator,
    page: tuple[int, int],
    frame: tuple[int, int],
    fills: float,
    turn: float,
) -> Array:
    """Homography from the target's px to the picture's: turned, scaled, mildly aslant, inside."""
    ends = np.array([(0, 0), (page[0], 0), page, (0, page[1])], float) - np.array(page) / 2
    c, s = np.cos(turn), np.sin(turn)
    moved = ends @ np.array([[c, s], [-s, c]])
    moved *= 1 + rng.uniform(-0.05, 0.05, (4, 1))
    low, high = moved.min(axis=0), moved.max(axis=0)
    moved *= fills * (np.array(frame) / (high - low)).min()
    low, high = moved.min(axis=0), moved.max(axis=0)
    moved += rng.uniform(-low + 3, np.array(frame) - high - 3)
    start = ends + np.array(page) / 2
    return np.asarray(
        cv2.getPerspectiveTransform(start.astype(np.float32), moved.astype(np.float32))
    )


def _taken(rng: np.random.Generator, linear: np.ndarray) -> Picture:
    high, wide = linear.shape[:2]
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    fall = 1 - rng.uniform(0.0, 0.25) * (((x / wide - 0.5) ** 2 + (y / high - 0.5) ** 2) * 2)
    slope = 1 + rng.uniform(-0.15, 0.15) * (x / wide - 0.5)
    seen = linear * (fall * slope)[..., None]
    if rng.random() < 0.6:
        seen = seen @ _CAMERA.T.astype(np.float32)
    seen = cv2.GaussianBlur(np.clip(seen, 0, 1), (0, 0), rng.uniform(0.5, 1.4))
    seen = np.clip(seen + 0.01 * np.sqrt(seen) * rng.standard_normal(seen.shape), 0, 1)
    code = np.round(255 * seen ** (1 / rng.uniform(1.8, 2.4))).astype(np.uint8)
    if rng.random() < 0.6:
        done, content = cv2.imencode(".jpg", code[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])
        assert done
        code = cv2.imdecode(content, cv2.IMREAD_COLOR)[:, :, ::-1]
    facts = Facts("scene.jpg", "", "JPEG", (wide, high), 8, None, None, None, None, 1)
    return Picture(np.ascontiguousarray(code), facts)
