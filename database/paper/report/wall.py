"""The plates of a release's wall, as elements of its page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ...easel.record import HIDING, Record
from ...easel.wall import rows
from ...mixing.gamut import gamut, outline
from ...mixing.model_choice import WORDS
from ...mixing.palette import Palette
from ...mixing.viewing import AS_SEEN
from ...pictures.wall_plates import coats, hues, ladders, values
from ...releases.load import LoadedRelease
from ..atlas import BAND, screen

MOST = 48
"""Paints that a page draws plates of: of more the wall and the table remain."""
_WIDE, _TALL = 182.0, 118.0
"""Of a plate, mm: two of ten paints stand on a printed page."""


@dataclass(frozen=True)
class Drawn:
    """A plate as it stands on a page."""

    title: str
    under: str
    svg: str


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
    wall = rows(c, whites, paints, AS_SEEN)
    room = max(_TALL, 5.0 + 6.4 * len(wall))
    let_down = [row for row in wall if row.white is not None]
    plate = ladders(_WIDE, room, wall, names)
    yield Drawn(
        "Ladders, the strongest first",
        "Films that hide, let down with white by weight. At the right: CIEDE2000 that 95 of 100 "
        "stay within, and tinting strength gram for gram with its 95 % bar.",
        plate.svg("Every paint let down with white, with its tinting strength"),
    )
    if any(row.coats.size for row in wall):
        yield Drawn(
            "Undertone to masstone",
            "In whole brushed coats of 30 µm: above over white, below over black. At the right: "
            "where it hides black, in coats, with its 95 % bar.",
            coats(_WIDE, room, wall, names).svg("Every paint as its film grows coat by coat"),
        )
    if let_down:
        reach = outline(gamut(Palette(AS_SEEN.of(c))))
        yield Drawn(
            "Hue, from masstone to white, and reach",
            "a* to the right, b* up, one scale for all. Dark outline: what these paints mix; "
            "light: what a screen shows; grey around squares: 95 %.",
            hues(_WIDE, room, let_down, names, reach, screen()).svg("Path of hue of every paint"),
        )
    yield Drawn(
        "Values",
        "Lightness from masstone to palest tint; whiskers: 95 % of L*.",
        values(_WIDE, room, wall, names).svg("Every paint on the scale of lightness"),
    )
