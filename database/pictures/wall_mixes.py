"""Plates of mixes: every pair of tubes in one matrix, and a triangle of three."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ...calibrate.cards.box import Box
from ...calibrate.optics.spectra import Array
from ..easel.wall import SIDE, Cell
from ..mixing.made import Made
from .plate import TYPE_PT, Plate, fitting, width_mm

MATRIX = 11
"""Tubes along an edge of the matrix that leave room for ratios."""
EDGE_MM, _LABEL_MM = 26.0, 3.1
"""Room for the names along the matrix, and height of a line in it."""


def parts_label(made: Made, order: Sequence[str]) -> str:
    """Amounts of a mix in an order: ``1 : 3``; of a tint mixed beforehand with t: ``7t : 17``."""
    if len(made.amounts) == 1:
        return "alone"
    tints = {tint.paint: "t" * tint.times for tint in made.tints}
    return ":".join(f"{made.amounts.get(p, 0):g}{tints.get(p, '')}" for p in order)


def matrix(
    width: float, room: float, paints: Sequence[str], across: Sequence[str], cells: Sequence[Cell],
    alone: Mapping[str, Array], names: Mapping[str, str], white: str | None,
) -> Plate:  # fmt: skip
    """Pairs half way: above the diagonal as they are, below it let down with white.

    Parameters
    ----------
    width, room : float
        mm.
    paints, across : sequence of str
        Down and across: the same for the whole, parts of them for a block of it.
    alone : mapping of nickname to (3,) array
        CIELAB of each tube, for the diagonal.
    names : mapping of nickname to name
    white : str or None
        That tints are let down with.
    """
    by = {frozenset(cell.paints): cell for cell in cells}
    order = list(alone)
    size = min((width - EDGE_MM) / len(across), (room - EDGE_MM) / len(paints), 24.0)
    plate = Plate(width, EDGE_MM + size * len(paints))
    labels = size >= 13.0
    tall = size - (2 * _LABEL_MM if labels else 0.0) - 0.8
    for j, paint in enumerate(across):
        words = fitting(EDGE_MM - 1, names.get(paint, paint), paint)
        plate.text(EDGE_MM + (j + 0.5) * size + 0.9, EDGE_MM - 1, words, upright=True)
    for i, one in enumerate(paints):
        y = EDGE_MM + i * size
        words = fitting(EDGE_MM - 1, names.get(one, one), one)
        plate.text(0, y + size / 2 + 0.9, words)
        for j, other in enumerate(across):
            box = Box(EDGE_MM + j * size, y, size - 0.8, tall)
            if one == other:
                plate.swatch(box, alone[one])
                continue
            cell, tinted = by.get(frozenset((one, other))), order.index(one) > order.index(other)
            if cell is None:
                continue
            made = cell.tint if tinted and cell.tint is not None else cell.made
            plate.swatch(box, made.lab)
            if labels:
                middle = box.x_mm + box.width_mm / 2
                for k, words in enumerate(_two_lines(made, [one, other], white, size - 0.8)):
                    foot = y + tall + 2.7 + k * _LABEL_MM
                    plate.text(middle, foot, words, TYPE_PT - 0.2, align="centre", grey=0.15)
    return plate


def _two_lines(made: Made, pair: Sequence[str], white: str | None, room: float) -> tuple[str, ...]:
    """The parts of two tubes, and below them those of white."""
    first = parts_label(made, pair)
    more = f"+ {made.amounts[white]:g}" if white in made.amounts else ""
    if width_mm(first, TYPE_PT - 0.2) <= room:
        return first, more
    one, _, other = first.partition(":")
    return f"{one}:", f"{other} {more}"


def triangle(
    width: float, mixes: Sequence[tuple[tuple[int, int, int], Made]], paints: Sequence[str],
    names: Mapping[str, str], painted: bool,
) -> Plate:  # fmt: skip
    """Three tubes mixed in even steps of strength, each corner one of them alone.

    Parameters
    ----------
    width : float
        mm.
    mixes : sequence of (steps, Made)
        As `easel.wall.triangle` has them.
    paints : sequence of three str
        At the top, at the left and at the right.
    names : mapping of nickname to name
    painted : bool
        Leave room below each printed colour to paint the real one.
    """
    size, tall = width / (SIDE + 0.5), width / (SIDE + 0.5) * (1.0 if painted else 0.72)
    plate = Plate(width, SIDE * (tall + 5.5) + 8)
    for (i, j, k), made in mixes:
        row = SIDE - 1 - i
        left = width / 2 + (k - j) * size / 2 - size / 2 + 1
        top = 4.5 + row * (tall + 5.5)
        box = Box(left, top, size - 2, tall - 1)
        half = Box(left, top, size - 2, (tall - 1) / 2) if painted else box
        plate.swatch(half, made.lab, parts_label(made, paints))
        plate.frame(box)
        corner = max(i, j, k) == SIDE - 1
        name = names.get(paints[(i, j, k).index(max(i, j, k))], "")
        said = fitting(size * 1.6, name) if corner else parts_label(made, paints)
        plate.text(left + size / 2 - 1, top + tall + 2.0, said, align="centre", bold=corner)
    said = "parts by weight: " + " : ".join(names.get(p, p) for p in paints)
    plate.text(0, plate.height - 1, fitting(width, said, "parts by weight"), grey=0.3)
    return plate
