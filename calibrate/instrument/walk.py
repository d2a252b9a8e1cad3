"""In which order to read the patches of a card, so that the hand moves least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..cards.card import BARE, SUBSTRATES, Card
from ..cards.card_plan import seats
from ..cards.layout import Layout
from ..optics.spectra import Array

_STEP_MM = 1.0
"""Less than this along one direction goes without saying."""


_ACROSS_MM, _DOWN_MM = 60.0, 20.0
"""From patch to patch on a card without a layout, about."""


@dataclass(frozen=True)
class Stop:
    """One patch on the way.

    Attributes
    ----------
    at_mm : (x, y) or None
        Centre of its box, from the upper left corner of the page; None without a layout.
    """

    patch: str
    at_mm: tuple[float, float] | None = None


def walk(card: Card, layout: Layout | None) -> tuple[Stop, ...]:
    """Order the patches of a card for reading; the bare substrates come first.

    Without a layout, each step's patches lie side by side and the steps one below the other.

    Parameters
    ----------
    card : Card
    layout : Layout or None

    Returns
    -------
    tuple of Stop

    Raises
    ------
    InputError
        Where the card has more drawdowns than the layout has room for.
    """
    rows = {d.step: n for n, d in enumerate(card.drawdowns, 1)}
    seat = {BARE: 0} | (rows if layout is None else seats(layout, card))
    found, missing = [], []
    for patch in sorted(card.patches, key=lambda patch: not patch.startswith(f"{BARE}/")):
        step, _, over = patch.rpartition("/")
        if layout is None:
            found.append(
                (Stop(patch), (_ACROSS_MM * SUBSTRATES.index(over), _DOWN_MM * seat[step]))
            )
        elif boxes := layout.boxes(seat[step], over):
            box = boxes[0]
            at = (box.x_mm + box.width_mm / 2, box.y_mm + box.height_mm / 2)
            found.append((Stop(patch, at), at))
        else:
            missing.append(Stop(patch))
    bare = sum(stop.patch.startswith(f"{BARE}/") for stop, _ in found)
    order = shortest(np.array([at for _, at in found], dtype=float), bare)
    return (*(found[i][0] for i in order), *missing)


def shortest(places: Array, first: int = 0) -> list[int]:
    """Find a short way through places, each once; it may begin and end anywhere.

    Parameters
    ----------
    places : (N, 2) array
    first : int
        As many of them, from the front, are come to before all others.

    Returns
    -------
    list of N int
        The better of the given order and of the nearest place each time, then bettered by turning
        pieces of it around and by moving them until neither helps (2-opt and or-opt).
    """
    count = len(places)
    if count < 3:
        return list(range(count))
    far = np.linalg.norm(places[:, None] - places[None, :], axis=2)
    # A way from the first to the rest is taken once, and back never.
    late = np.arange(count) >= first
    far = far + 1e6 * (late[:, None] != late[None, :])
    ways = [_better(_nearest(far, start), far) for start in range(max(1, first))]
    ways.append(_better(list(range(count)), far))
    way = min(ways, key=lambda way: _length(way, far))
    return way if way[0] < first or not first else way[::-1]


def _length(way: Sequence[int], far: Array) -> float:
    return float(far[way[:-1], way[1:]].sum())


def _nearest(far: Array, start: int) -> list[int]:
    way, left = [start], set(range(len(far))) - {start}
    while left:
        way.append(min(left, key=lambda i: (far[way[-1], i], i)))
        left.remove(way[-1])
    return way


def _better(way: list[int], far: Array) -> list[int]:
    best = _length(way, far)
    helped = True
    while helped:
        helped = False
        for i in range(len(way)):
            tries = np.array(_changed(way, i))
            lengths = far[tries[:, :-1], tries[:, 1:]].sum(axis=1)
            if lengths.min() < best - 1e-9:
                way, best, helped = tries[lengths.argmin()].tolist(), float(lengths.min()), True
    return way


def _changed(way: list[int], i: int) -> list[list[int]]:
    turned = [way[:i] + way[i:j][::-1] + way[j:] for j in range(i + 2, len(way) + 1)]
    moved = []
    for size in (1, 2, 3):
        piece, rest = way[i : i + size], way[:i] + way[i + size :]
        for j in range(len(rest) + 1):
            moved += [rest[:j] + p + rest[j:] for p in (piece, piece[::-1])]
    return turned + moved


def direction(before: Stop | None, to: Stop) -> str:
    """Say how far to move the instrument, in words; empty where that isn't known.

    Parameters
    ----------
    before : Stop or None
        Where it stands.
    to : Stop
        Where it goes.

    Returns
    -------
    str
    """
    if before is None or before.at_mm is None or to.at_mm is None:
        return ""
    right, down = (b - a for a, b in zip(before.at_mm, to.at_mm, strict=True))
    parts = [
        f"{abs(by):.0f} mm {ahead if by > 0 else back}"
        for by, ahead, back in ((right, "right", "left"), (down, "down", "up"))
        if abs(by) >= _STEP_MM
    ]
    return " and ".join(parts)
