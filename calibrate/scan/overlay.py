"""Draws what of a picture was read, where, and what was left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cards.layout_parts import TONE
from .find import Found
from .image import Picture
from .sample import Sample

LONGEST_PX = 1600
_READ, _LEFT_OUT, _MARKER = (40, 160, 40), (230, 30, 30), (30, 90, 230)


def overlay(picture: Picture, found: Found | None, samples: Sequence[Sample]) -> NDArray[np.uint8]:
    """Draw the picture, smaller, with the markers found and the cells read and left out.

    Parameters
    ----------
    picture : Picture
    found : Found or None
        None where no card was found: the bare picture, to look at.
    samples : sequence of Sample

    Returns
    -------
    (H, W, 3) array of uint8, red, green, blue
    """
    scale = min(LONGEST_PX / max(picture.pixels.shape), 1.0)
    small: NDArray[Any] = cv2.resize(
        picture.pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA
    )
    if small.dtype != np.uint8:
        small = cv2.convertScaleAbs(small, alpha=1 / 257)
    # Paler, so that the marks stand out on any colour.
    drawn = np.asarray(np.round(255 - 0.75 * (255.0 - small)), dtype=np.uint8)
    if found is None:
        return drawn
    thick = max(round(scale * found.dpi / 25.4 * 0.25), 1)
    for marker in found.markers:
        _outline(drawn, marker.corners, scale, _MARKER, 2 * thick)
    for sample in samples:
        _outline(drawn, found.outline(sample.site.box), scale, _READ, thick)
        half = np.abs(sample.centres[1, 1] - sample.centres[0, 0]) / 2
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half
        for centre in sample.centres[~sample.kept]:
            spot = np.round(found.px(centre + corners) * scale).astype(np.int32)
            cv2.fillPoly(drawn, [spot.reshape(-1, 1, 2)], _LEFT_OUT)
        inner = sample.centres[[0, 0, -1, -1], [0, -1, -1, 0]]
        _outline(drawn, found.px(inner + corners), scale, _READ, max(thick // 2, 1))
        if sample.site.kind == TONE:
            continue
        at = found.px([(sample.site.box.x_mm + 2, sample.site.box.y_mm + 5)])[0] * scale
        height = scale * found.dpi / 25.4 * 2.2
        said = sample.site.label + (f" -{sample.left_out:.0%}" if sample.left_out > 0.005 else "")
        where = (int(at[0]), int(at[1]))
        for colour, width in (((255, 255, 255), 3 * thick), ((0, 0, 0), thick)):
            cv2.putText(
                drawn,
                said,
                where,
                cv2.FONT_HERSHEY_SIMPLEX,
                height / 22,
                colour,
                width,
                cv2.LINE_AA,
            )
    return drawn


def _outline(
    drawn: NDArray[np.uint8],
    corners: NDArray[Any],
    scale: float,
    colour: tuple[int, int, int],
    thick: int,
) -> None:
    points = np.round(corners * scale).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(drawn, [points], True, colour, thick, cv2.LINE_AA)
