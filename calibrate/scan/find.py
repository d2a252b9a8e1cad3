"""Finds a card in a picture by its fiducials, at any rotation and in mild perspective."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cards.box import Box
from ..cards.fiducials import DICTIONARY, SIDE_MM, fiducials_on, told_by
from ..cards.layout import Layout
from ..errors import CalibrateDo, InputError
from ..optics.spectra import Array
from .image import Picture

LEAST_DPI = 100
LEAST_MARKERS = 3
MOST_OFF_MM = 0.5
"""Corners of the fiducials that lie farther than this from a plane sheet: it isn't flat."""
_SURROUNDED = 0.3
"""Share of the page that the seen markers must enclose for its perspective to be told."""
_STRAIGHT_MM = 0.15
_SEARCH_PX = (2200, 1400, 4400)
"""Longer sides at which fiducials are looked for, in turn."""


@dataclass(frozen=True)
class Marker:
    """A fiducial as seen: its id, and its corners in px, (4, 2), ordered as printed."""

    id: int
    corners: Array


@dataclass(frozen=True)
class Found:
    """Where a card lies in a picture.

    Attributes
    ----------
    to_px : (3, 3) array
        Homography from mm on the page to px.
    dpi : float
        Measured along the card's fiducials.
    off_mm : float
        Root mean square of what is left of the corners.
    """

    layout: Layout
    to_px: Array
    markers: tuple[Marker, ...]
    dpi: float
    off_mm: float

    def px(self, points_mm: Any) -> Array:
        """Points of the page, (N, 2) mm, in px; a pixel's centre is a whole number."""
        return project(self.to_px, points_mm)

    def outline(self, box: Box) -> Array:
        """Corners of a box in px, (4, 2)."""
        return self.px(box.corners)

    def seen(self, box: Box, shape: Sequence[int]) -> bool:
        """Whether a box lies wholly in a picture of that shape.

        Parameters
        ----------
        box : Box
        shape : sequence of int
            The picture's, in pixels.

        Returns
        -------
        bool
        """
        corners = self.outline(box)
        return bool(np.all(corners >= 0) and np.all(corners <= (shape[1] - 1, shape[0] - 1)))


def project(matrix: Array, points: Any) -> Array:
    """Points (N, 2) through a homography.

    Parameters
    ----------
    matrix : (3, 3) array
        The homography.
    points : (N, 2) array

    Returns
    -------
    (N, 2) array
    """
    p = np.atleast_2d(np.asarray(points, dtype=float))
    q = np.column_stack([p, np.ones(len(p))]) @ matrix.T
    result: Array = q[:, :2] / q[:, 2:]
    return result


def _grey(picture: Picture) -> NDArray[Any]:
    """Green, 8 bit: enough to see black on white by."""
    green = picture.pixels[:, :, 1]
    if green.dtype != np.uint8:
        green = cv2.convertScaleAbs(green, alpha=1 / 257)
    return np.ascontiguousarray(green)


def markers_in(picture: Picture) -> list[Marker]:
    """Every fiducial in a picture, whatever card it belongs to."""
    grey = _grey(picture)
    longest = max(grey.shape)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.minMarkerPerimeterRate = 0.01
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    detector = cv2.aruco.ArucoDetector(dictionary, settings)
    best: list[Marker] = []
    for side in dict.fromkeys(min(side, longest) for side in _SEARCH_PX):
        scale = side / longest
        small = grey
        if scale < 1:
            small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        corners, ids, _ = detector.detectMarkers(small)
        seen = [] if ids is None else list(zip(map(int, ids.ravel()), corners, strict=True))
        # A pixel's centre is whole in both, so half a pixel shifts with the scale.
        found = [
            Marker(marker, (c.reshape(4, 2).astype(float) + 0.5) / scale - 0.5)
            for marker, c in seen
            if told_by(marker) is not None
        ]
        if len(found) > len(best):
            best = found
        if len(best) >= 6:
            break
    return [_refined(grey, marker) for marker in best]


def _refined(grey: NDArray[Any], marker: Marker) -> Marker:
    """Place a marker's corners at the picture's full resolution."""
    side = np.linalg.norm(marker.corners - np.roll(marker.corners, 1, axis=0), axis=1).mean()
    # A window wider than a cell would see the neighbouring corner.
    half = int(np.clip(side / 7 * 0.6, 3, 15))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 0.01)
    near = marker.corners.astype(np.float32).reshape(-1, 1, 2)
    fine = cv2.cornerSubPix(grey, near.copy(), (half, half), (-1, -1), stop).reshape(4, 2)
    moved = np.linalg.norm(fine - marker.corners, axis=1)
    return Marker(marker.id, np.where((moved < half)[:, None], fine, marker.corners).astype(float))


def find_card(
    picture: Picture, layouts: Mapping[int, Layout], expected: Layout | None = None
) -> Found:
    """Find the one card in a picture.

    Parameters
    ----------
    picture : Picture
    layouts : mapping of number to Layout
        Those that may be seen.
    expected : Layout, optional
        What the card should be printed with.

    Returns
    -------
    Found

    Raises
    ------
    InputError
        Where no card is found, or two; where it has another layout than expected; where too few of
        its fiducials are seen, it isn't flat, or its resolution is under `LEAST_DPI`.
    """
    file = picture.facts.file
    seen = markers_in(picture)
    by_number: dict[int, list[Marker]] = {}
    for marker in seen:
        by_number.setdefault((told_by(marker.id) or (-1, ""))[0], []).append(marker)
    # A lone marker of another layout is noise that happened to read as one.
    numbers = [n for n, group in by_number.items() if len(group) > 1] or list(by_number)
    if not numbers:
        height, width = picture.pixels.shape[:2]
        mirrored = replace(picture, pixels=np.ascontiguousarray(picture.pixels[:, ::-1]))
        if len({marker.id for marker in markers_in(mirrored)}) > LEAST_MARKERS:
            raise InputError(
                file,
                None,
                "the card is seen mirrored",
                "switch mirroring off, or lay it face down, and take it again",
            )
        raise InputError(
            file,
            None,
            f"no card was found: none of its square markers is seen in {width} x {height} px",
            "scan the whole card, face down, sharp and not mirrored",
        )
    twice = [m for m, count in Counter(marker.id for marker in seen).items() if count > 1]
    if len(numbers) > 1 or len(twice) > 1:
        raise InputError(
            file, None, f"two cards are seen ({len(seen)} markers)", "scan one card at a time"
        )
    number, group = numbers[0], by_number[numbers[0]]
    if expected is not None and number != expected.number:
        name = layouts[number].name if number in layouts else f"number {number}"
        raise InputError(
            file,
            None,
            f"wrong layout: this card is printed as {name}, expected {expected.name}",
            CalibrateDo.SCANNED_CARD(),
        )
    layout = expected or layouts.get(number)
    if layout is None:
        raise InputError(
            file,
            None,
            f"the markers are of layout number {number}, which isn't known here",
            "give the layout's file on the card",
        )
    return _placed(layout, group, file)


def _placed(layout: Layout, group: Sequence[Marker], file: str) -> Found:
    printed = {f.id: f for f in fiducials_on(layout.page_mm, layout.number)}
    unique = {m.id: m for m in group}
    if len(unique) < LEAST_MARKERS:
        places = ", ".join(printed[i].place for i in sorted(unique))
        raise InputError(
            file,
            None,
            f"only {len(unique)} of the card's 6 markers are seen ({places})",
            "let the whole card show, nothing on its markers",
        )
    mm = np.concatenate([np.array(printed[i].box.corners) for i in unique])
    px = np.concatenate([m.corners for m in unique.values()])
    # The tolerance leaves room for a sheet that waves, but not for a marker misread.
    scale = np.median([np.linalg.norm(m.corners[0] - m.corners[2]) for m in unique.values()])
    per_mm = float(scale) / (SIDE_MM * np.sqrt(2))
    surrounded = cv2.contourArea(cv2.convexHull(mm.astype(np.float32)))
    around = surrounded > _SURROUNDED * layout.page_mm[0] * layout.page_mm[1]
    matrix: Any
    inside: Any
    if around:
        matrix, inside = cv2.findHomography(mm, px, cv2.RANSAC, 2 * MOST_OFF_MM * per_mm)
    else:
        matrix, inside = _straight(mm, px, per_mm)
    if matrix is None and not around:
        places = ", ".join(printed[i].place for i in sorted(unique))
        raise InputError(
            file,
            None,
            f"only markers at one side are seen ({places}), and the picture is in perspective",
            "let the whole card show, or scan it on a flatbed",
        )
    if matrix is None or inside.sum() < 4 * LEAST_MARKERS:
        raise InputError(
            file, None, "the card's markers don't lie in one plane", "lay it flat and scan again"
        )
    to_px = np.asarray(matrix, dtype=float)
    off = np.linalg.norm(project(to_px, mm) - px, axis=1) / per_mm
    if (rms := float(np.sqrt((off**2).mean()))) > MOST_OFF_MM:
        raise InputError(
            file,
            None,
            f"the card isn't flat: its markers lie {rms:.1f} mm off a plane sheet",
            "lay it flat under glass and scan again",
        )
    dpi = per_mm * 25.4
    if dpi < LEAST_DPI:
        raise InputError(
            file,
            None,
            f"the card shows at {dpi:.0f} dpi, at least {LEAST_DPI} are needed",
            "scan at 300 dpi, or take the picture closer",
        )
    return Found(layout, to_px, tuple(unique.values()), dpi, rms)


def _straight(mm: Array, px: Array, per_mm: float) -> tuple[Array | None, Array]:
    """Place a card from markers at one side, as one can if it is seen straight from above.

    A homography would tip about that side. None where a turn and a scale don't explain the markers.
    """
    matrix, inside = cv2.estimateAffinePartial2D(
        mm, px, method=cv2.RANSAC, ransacReprojThreshold=_STRAIGHT_MM * 3 * per_mm
    )
    if matrix is None:
        return None, np.zeros(0)
    whole = np.vstack([np.asarray(matrix, dtype=float), [0, 0, 1]])
    off = np.linalg.norm(project(whole, mm) - px, axis=1) / per_mm
    return (whole if np.sqrt((off**2).mean()) < _STRAIGHT_MM else None), np.asarray(inside)
