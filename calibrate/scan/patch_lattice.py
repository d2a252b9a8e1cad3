"""Finds patches that lie in rows and columns in a picture: at any place, turn and mild slant."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..optics.spectra import Array

_STEEP = (0.012, 0.025, 0.05)
"""Steps from a pixel to the next, of full scale, from which on an edge is seen: each is tried."""
_LEAST_PX = 16
"""Area of a patch's even middle."""
_SQUARE = 0.7
"""Share of its smallest rectangle that a patch fills."""
_LONG = 1.8
"""Most times that a patch is longer than wide."""
_NEAR = 0.28
"""Of a pitch, that a patch may lie off where its neighbours put it."""
_LEAST = 6
"""Patches that make a lattice."""
_TRIES = 12
"""Lattices looked for at each steepness."""


@dataclass(frozen=True)
class Lattice:
    """Patches in rows and columns.

    Attributes
    ----------
    at : (N, 2) array of int
        Column and row of each, counted from anywhere.
    px : (N, 2) array
        Their middles.
    colours : (N, 3) array
        What the picture shows there, of full scale.
    """

    at: NDArray[Any]
    px: Array
    colours: Array


def lattices(picture: NDArray[Any]) -> list[Lattice]:
    """Every lattice of even patches in a picture, the largest first.

    Parameters
    ----------
    picture : (H, W, 3) array
        Of full scale 1; as a device encodes it.

    Returns
    -------
    list of Lattice
    """
    found = []
    for steep in _STEEP:
        middles, sides, colours = _patches(picture, steep)
        for _ in range(_TRIES):
            if len(middles) < _LEAST:
                break
            which, at = _lattice(middles, sides)
            if len(which) >= _LEAST:
                found.append(Lattice(at, middles[which], colours[which]))
            left = np.ones(len(middles), dtype=bool)
            left[which] = False
            middles, sides, colours = middles[left], sides[left], colours[left]
    return sorted(found, key=lambda each: -len(each.at))


def _patches(picture: NDArray[Any], steep: float) -> tuple[Array, Array, Array]:
    """Middles, sides and colours of even, about square areas."""
    quiet = cv2.medianBlur(np.round(255 * picture).astype(np.uint8), 3)
    even: NDArray[Any] = cv2.GaussianBlur(quiet.astype(np.float32) / 255, (0, 0), 0.7)
    across = np.abs(cv2.Sobel(even, cv2.CV_32F, 1, 0, scale=1 / 8)).max(axis=2)
    down = np.abs(cv2.Sobel(even, cv2.CV_32F, 0, 1, scale=1 / 8)).max(axis=2)
    flat = (np.maximum(across, down) < steep).astype(np.uint8)
    count, labels, boxes, middles = cv2.connectedComponentsWithStats(flat, connectivity=4)
    most = 0.08 * flat.size
    rows = []
    for i in range(1, count):
        x, y, wide, high, area = boxes[i]
        if not _LEAST_PX <= area <= most or max(wide, high) > 3 * np.sqrt(area):
            continue
        part = (labels[y : y + high, x : x + wide] == i).astype(np.uint8)
        outline = np.argwhere(part)[:, ::-1].astype(np.float32)
        _, (long, short), _ = cv2.minAreaRect(outline)
        # A pixel's own width belongs to the area.
        long, short = max(long, short) + 1, min(long, short) + 1
        if area < _SQUARE * long * short or long > _LONG * short:
            continue
        inside = part.astype(bool)
        colour = np.median(even[y : y + high, x : x + wide][inside], axis=0)
        rows.append((*middles[i], np.sqrt(long * short), *colour))
    table = np.array(rows, dtype=float).reshape(-1, 6)
    return table[:, :2], table[:, 2], table[:, 3:]


def _lattice(middles: Array, sides: Array) -> tuple[NDArray[Any], NDArray[Any]]:
    """The lattice about the patch with the most alike neighbours: which patches, and where."""
    apart = np.linalg.norm(middles[:, None] - middles[None], axis=2)
    alike = np.abs(np.log(sides[:, None] / sides[None])) < 0.5
    close = (apart < 2.6 * sides[:, None]) & alike & (apart > 0)
    start = int(np.argmax(close.sum(axis=1)))
    steps = _steps(middles[close[start]] - middles[start])
    if steps is None:
        return np.array([start]), np.zeros((1, 2), dtype=int)
    places = {(0, 0): start}
    taken = {start}
    frames = {(0, 0): steps}
    queue = deque([(0, 0)])
    while queue:
        place = queue.popleft()
        here, frame = middles[places[place]], frames[place]
        for k, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
            there = (place[0] + sign * (k == 0), place[1] + sign * (k == 1))
            if there in places:
                continue
            guess = here + sign * frame[k]
            off = np.linalg.norm(middles - guess, axis=1)
            best = int(np.argmin(off))
            pitch = np.linalg.norm(frame, axis=1).min()
            if best in taken or off[best] > _NEAR * pitch or not alike[places[place], best]:
                continue
            places[there] = best
            taken.add(best)
            moved = frame.copy()
            # A slant changes the pitch from patch to patch; half of what is seen is noise.
            moved[k] = 0.5 * (moved[k] + sign * (middles[best] - here))
            frames[there] = moved
            queue.append(there)
    which = np.array(list(places.values()))
    return which, np.array(list(places))


def _steps(around: Array) -> Array | None:
    """The two shortest ways to neighbours that stand about upright on one another, (2, 2)."""
    order = np.argsort(np.linalg.norm(around, axis=1))
    for i in order:
        for j in order:
            one, other = around[i], around[j]
            lengths = np.linalg.norm(one), np.linalg.norm(other)
            turned = (one[0] * other[1] - one[1] * other[0]) / (lengths[0] * lengths[1])
            if turned > 0.9 and max(lengths) < 1.6 * min(lengths):
                return np.array([one, other])
    return None
