"""Where labels beside points stand: off each other and off marks, and off lines where they can."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from matplotlib.path import Path
from matplotlib.transforms import Bbox

from ...calibrate.optics.spectra import Array

# Where a label may stand around its point, as a direction, in order of liking; y leads up.
_AROUND = [(np.cos(a), np.sin(a)) for a in np.radians([35, 325, 145, 215, 90, 270, 0, 180])]
_NEAR = (1.0, 1.8, 2.8, 4.0)
"""How far off a label goes, in its usual distances, before it rather lies on a line."""
_FINELY = [(np.cos(a), np.sin(a)) for a in np.arange(24) * np.pi / 12]
"""The same of labels that stand far off."""
_FAR = (2.0, 3.0, 4.0, 5.5, 7.5, 10.0, 14.0, 19.0, 25.0)
_THROUGH = 0.6
"""Share of a mark's half width that no leader line may come nearer than."""


# Off lines or not, whether a leader line must run clear, how far off, and where.
_TRIES = [
    *product((True,), (True,), _NEAR, _AROUND),
    *product((False,), (True,), _NEAR, _AROUND),
    *product((False,), (True, False), _FAR, _FINELY),
]


@dataclass(frozen=True)
class Place:
    """Where a label stands.

    Attributes
    ----------
    box : (x0, y0, x1, y1)
    led : bool
        Whether it stands so far off that a line must lead to its point.
    """

    box: tuple[float, float, float, float]
    led: bool

    def nearest(self, x: float, y: float) -> tuple[float, float]:
        """Return the spot of the label's rim that lies nearest to a point."""
        x0, y0, x1, y1 = self.box
        return min(max(x, x0), x1), min(max(y, y0), y1)


def label_places(
    points: Array,
    sizes: Array,
    room: Bbox,
    marks: Array,
    lines: Sequence[Array] = (),
    taken: Sequence[Bbox] = (),
    *,
    away: float,
    gap: float,
) -> list[Place | None]:
    """Choose a place for the label of each point, all in one unit, y leading up.

    The first and the last choose first, for they name the ends. A label goes a little farther off
    to keep clear of lines; only where that won't do it lies on one, and farther off still where
    marks or other labels fill what is near. In a crowd a leader line may cross others.

    Parameters
    ----------
    points : (N, 2) array
    sizes : (N, 2) array
        Width and height of each label.
    room : Bbox
        That all labels stay in.
    marks : (M, 3) array
        Middle and half width of what no label may touch.
    lines : sequence of (L, 2) array
        What labels rather don't lie on.
    taken : sequence of Bbox
        Other words, that no label may touch.
    away : float
        Distance from a point to its label.
    gap : float
        Between a label and all else.

    Returns
    -------
    list of N Place or None
        None where a point isn't finite, or the room is full.
    """
    paths = [Path(line) for line in lines if len(line) > 1]
    boxes = list(taken)
    leaders: list[Path] = []
    found: list[Place | None] = [None] * len(points)
    for i in dict.fromkeys(
        [*range(len(points))[:1], *range(len(points))[-1:], *range(len(points))]
    ):
        if not np.isfinite(points[i]).all():
            continue
        for off_lines, careful, reach, (dx, dy) in _TRIES:
            box = _beside(points[i], sizes[i], dx, dy, away * reach)
            wide = box.padded(gap)
            if (
                not (room.contains(box.x0, box.y0) and room.contains(box.x1, box.y1))
                or any(wide.overlaps(other) for other in boxes)
                or _touches(wide, marks)
                or (careful and _crosses(leaders, [wide]))
                or (off_lines and _crosses(paths, [wide]))
            ):
                continue
            place = Place((box.x0, box.y0, box.x1, box.y1), reach > 1)
            if place.led:
                leader = Path([points[i], place.nearest(*points[i])])
                if careful and _crosses([leader], [*boxes, *_others(points[i], marks)]):
                    continue
                leaders.append(leader)
            boxes.append(box)
            found[i] = place
            break
    return found


def _beside(point: Array, size: Array, dx: float, dy: float, away: float) -> Bbox:
    """Box of a label whose nearest edge or corner stands in a direction."""
    x, y = point[0] + dx * away, point[1] + dy * away
    left = 0.0 if dx > 0.3 else size[0] if dx < -0.3 else size[0] / 2
    low = 0.0 if dy > 0.3 else size[1] if dy < -0.3 else size[1] / 2
    return Bbox.from_bounds(x - left, y - low, size[0], size[1])


def _crosses(paths: Sequence[Path], boxes: Sequence[Bbox]) -> bool:
    return any(path.intersects_bbox(box, filled=False) for path in paths for box in boxes)


def _touches(box: Bbox, marks: Array) -> bool:
    x, y, half = marks.T
    across = (x + half > box.x0) & (x - half < box.x1)
    return bool((across & (y + half > box.y0) & (y - half < box.y1)).any())


def _others(point: Array, marks: Array) -> list[Bbox]:
    """Marks that a leader line from a point may not cross: those that don't cover the point."""
    apart = np.abs(marks[:, :2] - point).max(axis=1) > marks[:, 2]
    return [
        Bbox([[x - half, y - half], [x + half, y + half]])
        for x, y, half in marks[apart] * (1.0, 1.0, _THROUGH)
    ]
