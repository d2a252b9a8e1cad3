"""Finds the grid of a reference target's patches by the values that are known of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import product
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..formats.target_values import TargetValues
from ..optics.spectra import Array
from .image import Picture
from .patch_lattice import Lattice, lattices

_SEARCH_PX = (1200, 2400)
"""Longer sides at which patches are looked for, in turn."""
_LEAST, _ALIKE = 6, 0.6
"""Patches, and their correlation with known values, that a place is believed by to begin with."""
_OFF_PX = 2.0
"""That a patch's middle may lie off the others' plane."""
_LIKE = 0.93
"""Correlation with the known values from which on the grid counts as found (our own rule)."""

_Place = tuple[float, Array, bool]
"""How alike a place is to the chart, the corners of the grid there, and whether it is mirrored."""


def grid_of(known: TargetValues) -> tuple[int, int]:
    """Columns and rows of a target, by its patches' names: A1 from the upper left.

    Raises
    ------
    InputError
        Where its patches aren't named so.
    """
    named = [match for label in known.labels if (match := re.fullmatch(r"([A-Z])(\d+)", label))]
    if len(named) < 4:
        raise InputError(
            known.file, None, "its patches aren't named A1, A2 and so on",
            "say the grid and its corners",
        )  # fmt: skip
    return max(int(m[2]) for m in named), max(ord(m[1]) for m in named) - 64


def find_grid(picture: Picture, known: TargetValues) -> Array:
    """Find the outer corners of a target's grid, (4, 2), px, clockwise from patch A1's.

    The target may lie anywhere, at any turn and mildly aslant. Light values are compared, not
    colours: any device that sees a light patch lighter will do.

    Parameters
    ----------
    picture : Picture
    known : TargetValues

    Returns
    -------
    (4, 2) array, px

    Raises
    ------
    InputError
        Where nothing in the picture looks like the known values, where they are seen mirrored or
        twice, and where not all of them show.
    """
    columns, rows = grid_of(known)
    chart = _chart(known, columns, rows)
    for side in _SEARCH_PX:
        small, scale = _reduced(picture, side)
        placed = [_placed(small, lattice, chart) for lattice in lattices(small)]
        found = sorted((each for each in placed if each[0] > _LIKE), key=lambda each: -each[0])
        if found:
            break
    _check(picture.facts.file, known.file, small, found)
    # Where a pixel's middle is counted from differs by half a pixel of each size.
    return np.asarray((found[0][1] + 0.5) / scale - 0.5)


def _check(file: str, known: str, small: NDArray[Any], found: Sequence[_Place]) -> None:
    """Refuse a picture in which no target was found, or not one whole one as it is.

    Raises
    ------
    InputError
    """
    if not found:
        raise InputError(
            file, None, f"nothing in it looks like the patches of {known}",
            "check that both belong together and that the whole target shows; else say where its "
            "corners are",
        )  # fmt: skip
    _, corners, mirrored = found[0]
    if mirrored:
        raise InputError(
            file, None, "the target is seen mirrored",
            "switch mirroring off, or lay it face down, and take it again",
        )  # fmt: skip
    if (corners < -1).any() or (corners > np.array(small.shape[1::-1])).any():
        raise InputError(
            file, None, "the target's edge is cut off: not all of its patches show",
            "let the whole target show",
        )  # fmt: skip
    long = np.linalg.norm(corners[2] - corners[0])
    apart = [np.linalg.norm(each[1].mean(axis=0) - corners.mean(axis=0)) for each in found]
    if max(apart) > 0.3 * long:
        raise InputError(file, None, "two targets are seen", "take one target at a time")


def _chart(known: TargetValues, columns: int, rows: int) -> Array:
    """Known values by row and column, (R, C, 3); NaN where none is known.

    Cube roots are about evenly spread to the eye, as what a device encodes is.
    """
    at = {label: i for i, label in enumerate(known.labels)}
    chart = np.full((rows, columns, 3), np.nan)
    for r, c in product(range(rows), range(columns)):
        if (label := f"{chr(65 + r)}{c + 1}") in at:
            chart[r, c] = np.cbrt(np.clip(known.tristimulus[at[label]], 0, None))
    return chart


def _reduced(picture: Picture, longest: float) -> tuple[NDArray[Any], float]:
    """The picture with its longer side so many px at most, full scale 1, and its scale."""
    high, wide = picture.pixels.shape[:2]
    scale = min(1.0, longest / max(high, wide))
    size = (max(round(wide * scale), 1), max(round(high * scale), 1))
    small = cv2.resize(picture.pixels, size, interpolation=cv2.INTER_AREA)
    return small.astype(np.float32) / picture.top, scale


def _placed(small: NDArray[Any], lattice: Lattice, chart: Array) -> tuple[float, Array, bool]:
    """Lay a chart onto a lattice of patches: how alike they are, its corners, and if mirrored.

    Every turn by a quarter, mirrored or not, and every shift that keeps most patches on the chart
    is tried.
    """
    rows, columns = chart.shape[:2]
    least = max(_LEAST, 0.3 * rows * columns)
    best = (-1.0, np.zeros((0, 2)), np.zeros(0, dtype=bool), False)
    for quarter, mirrored in product(range(4), (False, True)):
        at = lattice.at * ((-1, 1) if mirrored else (1, 1))
        for _ in range(quarter):
            at = np.stack([-at[:, 1], at[:, 0]], axis=1)
        at = at - at.min(axis=0)
        wide, high = at.max(axis=0) + 1
        for x, y in product(
            range(min(0, columns - wide), max(0, columns - wide) + 1),
            range(min(0, rows - high), max(0, rows - high) + 1),
        ):
            c, r = at[:, 0] + x, at[:, 1] + y
            inside = (c >= 0) & (c < columns) & (r >= 0) & (r < rows)
            inside[inside] &= np.isfinite(chart[r[inside], c[inside], 0])
            if inside.sum() < least:
                continue
            one, other = lattice.colours[inside], chart[r[inside], c[inside]]
            like = float(_correlation(one.T, other.T).mean())
            if like > best[0]:
                best = (like, np.stack([c, r], axis=1) + 0.5, inside, mirrored)
    like, places, inside, mirrored = best
    none = (-1.0, np.zeros((4, 2)), False)
    if like < _ALIKE:
        return none
    matrix, _ = cv2.findHomography(places[inside], lattice.px[inside], cv2.RANSAC, _OFF_PX)
    if matrix is None:
        return none
    to_px = np.asarray(matrix, dtype=float)
    r, c = np.nonzero(np.isfinite(chart[:, :, 0]))
    where = np.stack([c + 0.5, r + 0.5], axis=1)[None]
    px = np.rint(cv2.perspectiveTransform(where, to_px)[0]).astype(int)
    # Whether the others show is asked once the target is known to be there.
    shows = ((px >= 0) & (px < small.shape[1::-1])).all(axis=1)
    seen = small[px[shows, 1], px[shows, 0]]
    like = float(_correlation(seen.T, chart[r[shows], c[shows]].T).mean())
    ends = np.array([[(0, 0), (columns, 0), (columns, rows), (0, rows)]], dtype=float)
    return like, cv2.perspectiveTransform(ends, to_px)[0], mirrored


def _correlation(one: Array, other: Array) -> Array:
    """Correlation along the last axis; none where one is of a single value."""
    a = one - one.mean(axis=-1, keepdims=True)
    b = other - other.mean(axis=-1, keepdims=True)
    scale = np.sqrt((a**2).sum(axis=-1) * (b**2).sum(axis=-1))
    together = (a * b).sum(axis=-1)
    result: Array = np.divide(together, scale, out=np.zeros_like(together), where=scale > 0)
    return result
