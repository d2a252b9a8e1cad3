"""Draws what of a picture was read, where, and what was left out: the page, turned upright."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cards.box import Box
from ..cards.layout_parts import TONE
from ..optics.spectra import Array
from .find import Found, project
from .image import Picture
from .sample import Sample, rectified

LONGEST_PX = 1600
_MARGIN_MM = 5.0
_READ, _LEFT_OUT, _MARKER = (40, 160, 40), (230, 30, 30), (30, 90, 230)
_MARKED = 0.005
"""Share left out from which it stands beside the patch's name."""


def overlay(picture: Picture, found: Found | None, samples: Sequence[Sample]) -> NDArray[np.uint8]:
    """Draw the page with the markers found and the cells read and left out.

    Parameters
    ----------
    picture : Picture
    found : Found or None
        None where no card was found: the bare picture, smaller, to look at.
    samples : sequence of Sample

    Returns
    -------
    (H, W, 3) array of uint8, red, green, blue
    """
    if found is None:
        return _pale(_shrunk(picture.pixels, LONGEST_PX / max(picture.pixels.shape)))
    width, height = found.layout.page_mm
    page = Box(0.0, 0.0, width, height).grown(_MARGIN_MM)
    per_mm = LONGEST_PX / max(page.width_mm, page.height_mm)
    size = (round(page.width_mm * per_mm), round(page.height_mm * per_mm))
    # Shrunk first, for a warp alone would skip pixels.
    scale = min(per_mm * 25.4 / found.dpi, 1.0)
    shift = np.array([[scale, 0, 0.5 * scale - 0.5], [0, scale, 0.5 * scale - 0.5], [0, 0, 1]])
    drawn = _pale(rectified(_shrunk(picture.pixels, scale), shift @ found.to_px, page, size))

    def px(mm: Any) -> Array:
        return np.asarray((np.asarray(mm) - (page.x_mm, page.y_mm)) * per_mm)

    thick = max(round(0.25 * per_mm), 1)
    back = np.asarray(np.linalg.inv(found.to_px), dtype=np.float64)
    for marker in found.markers:
        _outline(drawn, px(project(back, marker.corners)), _MARKER, 2 * thick)
    for sample in samples:
        _sample(drawn, sample, px, thick)
        if sample.site.kind != TONE:
            _name(drawn, sample, px, per_mm)
    return drawn


def _shrunk(pixels: NDArray[Any], scale: float) -> NDArray[Any]:
    if scale >= 1:
        return pixels
    return cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)


def _pale(pixels: NDArray[Any]) -> NDArray[np.uint8]:
    """8 bit, and paler, so that the marks stand out on any colour."""
    top = np.iinfo(pixels.dtype).max
    return np.asarray(np.round(255 - 0.75 * (255 - pixels * (255.0 / top))), dtype=np.uint8)


def _sample(drawn: NDArray[np.uint8], sample: Sample, px: Any, thick: int) -> None:
    """Outline a patch and what was read of it; fill the cells left out."""
    _outline(drawn, px(sample.site.box.corners), _READ, thick)
    half = np.abs(sample.centres[1, 1] - sample.centres[0, 0]) / 2
    for centre in sample.centres[~sample.kept]:
        (x0, y0), (x1, y1) = np.round(px([centre - half, centre + half])).astype(int).tolist()
        cv2.rectangle(drawn, (x0, y0), (x1, y1), _LEFT_OUT, -1)
    ends = np.array([sample.centres[0, 0] - half, sample.centres[-1, -1] + half])
    inner = [ends[0], (ends[1, 0], ends[0, 1]), ends[1], (ends[0, 0], ends[1, 1])]
    _outline(drawn, px(inner), _READ, max(thick // 2, 1))


def _name(drawn: NDArray[np.uint8], sample: Sample, px: Any, per_mm: float) -> None:
    """Write a patch's name into it, as large as fits."""
    words = sample.site.label
    if sample.left_out > _MARKED:
        words += f" -{sample.left_out:.0%}"
    box, font = sample.site.box, cv2.FONT_HERSHEY_SIMPLEX
    (wide, high), _ = cv2.getTextSize(words, font, 1.0, 1)
    size = min(0.9 * box.width_mm * per_mm / wide, 0.2 * box.height_mm * per_mm / high, 1.0)
    x, y = px((box.x_mm + 0.05 * box.width_mm, box.y_mm + 0.35 * box.height_mm))
    # A rim of the same letters, shifted: thicker ones would be wider.
    for dx, dy, shade in (*((i, j, 255) for i in (-1, 0, 1) for j in (-1, 0, 1)), (0, 0, 0)):
        at = (int(x) + dx, int(y) + dy)
        cv2.putText(drawn, words, at, font, size, (shade, shade, shade), 1, cv2.LINE_AA)


def _outline(
    drawn: NDArray[np.uint8], corners: Any, colour: tuple[int, int, int], thick: int
) -> None:
    points = np.round(np.asarray(corners)).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(drawn, [points], True, colour, thick, cv2.LINE_AA)
