"""The wall atlas: every tube's ladder, coats, hue, mixes and value, each on a sheet of its own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...calibrate.fit.judging.hiding import COAT_UM
from ...calibrate.optics.display import srgb_to_lab
from ...calibrate.optics.spectra import Array
from ..easel.atlas import Wall
from ..easel.record import record_of
from ..easel.wall import TINT_LIGHTNESS, Row
from ..mixing.gamut import outline
from ..pictures.plate import Plate
from ..pictures.wall_mixes import MATRIX, matrix, triangle
from ..pictures.wall_plates import coats, hues, ladders, per_page, values
from .sheet import Paper, room_of

BAND = "bars, ellipses and whiskers: 95 %; ±: CIEDE2000 that 95 of 100 stay within"
MEASURED = (
    "Whole parts by weight, row first. t: of a tint mixed beforehand, 1 to 9 of the tube there is "
    "most of; tt: a tint of that tint."
)


@dataclass(frozen=True)
class Sheet:
    """One plate with its title."""

    title: str
    under: str
    plate: Plate


def sheets(wall: Wall, width: float, room: float) -> Iterator[Sheet]:
    """Draw the plates of a wall, each no larger than a room, mm."""
    names, white = wall.basis.names, wall.basis.palette.white
    many = per_page(room)
    let_down = f" let down with {names.get(white, white)}" if white and wall.coloured else ""
    for some in in_parts(wall.rows, many):
        yield Sheet(
            "Ladders", f"Films that hide{let_down}, white to colour by weight; strongest first.",
            ladders(width, room, some, names),
        )  # fmt: skip
    if any(row.coats.size for row in wall.rows):
        for some in in_parts(wall.rows, many):
            yield Sheet(
                "Undertone to masstone",
                f"In whole brushed coats of {COAT_UM:.0f} µm: above over white, below over black.",
                coats(width, room, some, names),
            )
    if wall.coloured:
        under = (
            "a* to the right, b* up, one scale for all. Dark outline: what these tubes mix; light: "
            "what a screen shows."
        )
        for some in in_parts(wall.coloured, 48):
            plate = hues(width, room, some, names, outline(wall.gamut), screen())
            yield Sheet("Hue, from masstone to white", under, plate)
    yield from _pairs(wall, width, room)
    if wall.three is not None:
        mixes = wall.triangle(wall.three)
        yield Sheet(
            "Triangle", "Even steps of strength; below each colour room to paint it.",
            triangle(min(width, room * 0.8), mixes, wall.three, names, painted=True),
        )  # fmt: skip
    for some in in_parts(wall.rows, per_page(room - 6)):
        yield Sheet(
            "Values", "Lightness from masstone to palest tint; whiskers: 95 % of L*.",
            values(width, room, some, names),
        )  # fmt: skip


def _pairs(wall: Wall, width: float, room: float) -> Iterator[Sheet]:
    names, white, paints = wall.basis.names, wall.basis.palette.white, wall.paired
    if len(paints) < 2:
        return
    alone = {row.paint: row.lab[0] for row in wall.rows if row.paint in paints}
    alone = {paint: alone[paint] for paint in paints}
    under = "Half way by strength: above the diagonal as they are, below let down"
    under += f" to L* {TINT_LIGHTNESS:.0f}."
    yield Sheet(
        "Pairs", under, matrix(width, room, paints, paints, wall.pairs, alone, names, white)
    )
    if len(paints) > MATRIX:
        blocks = list(in_parts(paints, MATRIX - 1))
        for down in blocks:
            for across in blocks:
                plate = matrix(width, room, down, across, wall.pairs, alone, names, white)
                yield Sheet("Pairs, with their parts", under, plate)


def in_parts(things: Sequence[Row] | Sequence[str], most: int) -> Iterator[list[Any]]:
    """Yield things in parts, as even as can be, none of more than `most`."""
    count = -(-len(things) // most)
    each = -(-len(things) // count)
    for at in range(0, len(things), each):
        yield list(things[at : at + each])


def screen() -> Array:
    """The outline of sRGB in a* and b*, edge by edge with NaN between."""
    from scipy.spatial import ConvexHull

    steps = np.linspace(0, 1, 9)
    faces = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    spots = srgb_to_lab(faces[(faces.min(axis=1) == 0) | (faces.max(axis=1) == 1)])[:, 1:]
    ends = spots[ConvexHull(spots).simplices]
    gap = np.full((len(ends), 1, 2), np.nan)
    result: Array = np.concatenate([ends, gap], axis=1).reshape(-1, 2)
    return result


def atlas(wall: Wall, page: str = "a4") -> bytes:
    """Print the atlas of a wall; a PDF.

    Raises
    ------
    InputError
        For a paper that there isn't.
    """
    record = record_of(wall.basis, wall.paints, band=BAND)
    width, height = room_of(page)
    paper = None
    for sheet in sheets(wall, width, height):
        if paper is None:
            paper = Paper(sheet.title, sheet.under, page, record)
        else:
            paper.turn(sheet.title, sheet.under)
        if sheet.title.startswith(("Pairs", "Triangle")):
            paper.note = MEASURED
        paper.plate(sheet.plate)
    assert paper is not None, "every wall has ladders"
    return paper.finish()


def triangle_sheet(wall: Wall, paints: Sequence[str], page: str = "a4") -> bytes:
    """Print three tubes as a triangle to paint on; a PDF."""
    names = wall.basis.names
    record = record_of(wall.basis, paints, band=triangle_band(wall, paints))
    title = ", ".join(names.get(p, p) for p in paints)
    under = "Three tubes in even steps of strength; below each colour room to paint the real one."
    paper = Paper(title, under, page, record)
    paper.note = MEASURED
    paper.plate(triangle(paper.width_mm, wall.triangle(paints), paints, names, painted=True))
    return paper.finish()


def triangle_band(wall: Wall, paints: Sequence[str]) -> str:
    """Return how surely the three tubes are known, for their mixes."""
    worst = max(row.band for row in wall.rows if row.paint in paints)
    return f"these tubes are known to within CIEDE2000 {worst:.1f}, 95 of 100 times"
