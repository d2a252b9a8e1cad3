"""The plates of a release's wall, as elements of its page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ....calibrate.fit.judging.hiding import COAT_UM
from ...easel.record import HIDING, Record
from ...easel.wall import TINT_LIGHTNESS, rows, widest
from ...easel.wall import matrix as half_way
from ...easel.wall import triangle as triangle_mixes
from ...mixing.gamut import gamut, outline
from ...mixing.model_choice import WORDS
from ...mixing.palette import Palette
from ...mixing.viewing import AS_SEEN
from ...pictures.wall_mixes import EDGE_MM, MATRIX, matrix, triangle
from ...pictures.wall_plates import HEAD_MM, coats, hues, ladders, per_page, values
from ...releases.load import LoadedRelease
from ..atlas import BAND, MEASURED, in_parts, screen

MOST = 48
"""Paints that a page draws plates of: of more the wall and the table remain."""
_WIDE, _TALL, _PAGE = 182.0, 110.0, 236.0
"""Of a plate, mm: two of ten paints stand on a printed page; of many it fills one, with the
heading of its section."""
_PAIRS, _TRIANGLE = 13.6, 95.0
"""Height of a row of the pairs and width of the triangle, mm: both stand on a printed page."""


@dataclass(frozen=True)
class Drawn:
    """A plate as it stands on a page."""

    title: str
    under: str
    svg: str
    narrow: bool = False
    """Whether it takes part of the width only."""


def record_of_release(release: LoadedRelease, names: Mapping[str, str]) -> Record:
    """Return what the pictures of a release rest on."""
    table = release.tables["paints"]
    lots = dict(zip(table["paint"], table["lot"], strict=True))
    day = str(release.descriptor.get("created", ""))[:10]
    return Record(
        tuple((name, str(lots.get(paint) or "")) for paint, name in names.items()),
        f"Release {release.name} of {day}",
        tuple(WORDS[each.model] for _, each in release.coefficients.by_model),
        AS_SEEN,
        release.coefficients.surface.gloss,
        HIDING,
        BAND,
    )


def wall_plates(release: LoadedRelease, names: Mapping[str, str]) -> Iterator[Drawn]:
    """Draw the wall of a release as one model has it; nothing where it has too many paints."""
    table, c = release.tables["paints"], release.coefficients
    if len(table) > MOST:
        return
    paints = [str(paint) for paint in table["paint"]]
    whites = {str(p): str(w) for p, w in zip(table["paint"], table["white"], strict=True) if w}
    wall, palette = rows(c, whites, paints, AS_SEEN), Palette(AS_SEEN.of(c))
    room = max(_TALL, min(HEAD_MM + 6.4 * len(wall), _PAGE))
    let_down = [row for row in wall if row.white is not None]
    for some in in_parts(wall, per_page(room)):
        yield Drawn(
            "Ladders, the strongest first",
            "Films that hide, let down with white by weight. At the right: CIEDE2000 that 95 of "
            "100 stay within, and tinting strength gram for gram with its 95 % bar.",
            ladders(_WIDE, room, some, names).svg(
                "Every paint let down with white, with its tinting strength"
            ),
        )
    for some in in_parts(wall, per_page(room)):
        if any(row.coats.size for row in some):
            yield Drawn(
                "Undertone to masstone",
                f"In whole brushed coats of {COAT_UM:.0f} µm: above over white, below over black. "
                "At the right: where it hides black, in coats, with its 95 % bar.",
                coats(_WIDE, room, some, names).svg("Every paint as its film grows coat by coat"),
            )
    if let_down:
        yield Drawn(
            "Hue, from masstone to white, and reach",
            "a* to the right, b* up, one scale for all. Dark outline: what these paints mix; "
            "light: what a screen shows; grey around squares: 95 %.",
            hues(_WIDE, room, let_down, names, outline(gamut(palette)), screen()).svg(
                "Path of hue of every paint"
            ),
        )
    for some in in_parts(wall, per_page(room)):
        yield Drawn(
            "Values",
            "Lightness from masstone to palest tint; whiskers: 95 % of L*.",
            values(_WIDE, room, some, names).svg("Every paint on the scale of lightness"),
        )
    # What K and S of a paint don't tell at some wavelengths can't be mixed.
    whole = [row for row in wall if np.isfinite(row.lab).all()]
    alone = {row.paint: row.lab[0] for row in whole if row.paint != palette.white}
    if 1 < len(alone) <= MATRIX:
        order, room = list(alone), EDGE_MM + _PAIRS * len(alone)
        cells = half_way(palette, order)
        yield Drawn(
            "Pairs",
            "Half way by strength: above the diagonal as they are, below let down to L* "
            f"{TINT_LIGHTNESS:.0f}. {MEASURED}",
            matrix(_WIDE, room, order, order, cells, alone, names, palette.white).svg(
                "Every pair of paints half way"
            ),
        )
    three = widest([row for row in whole if row.white is not None])
    if three is not None:
        mixes = triangle_mixes(palette.select(list(three)), three)
        yield Drawn(
            "Triangle",
            "The three paints that lie furthest apart, in even steps of strength.",
            triangle(_TRIANGLE, mixes, three, names, painted=False).svg(
                "Three paints in even steps"
            ),
            narrow=True,
        )
