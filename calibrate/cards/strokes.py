"""Strokes of a layout, and whether tape, an applicator and an instrument find room at them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..errors import InputError
from .box import Box

if TYPE_CHECKING:
    from .layout import Layout

MARGIN_MM = 4.0
"""Around an instrument's opening: it is set down by eye, and a film is uneven along its edges (our
choice)."""
RUN_MM = 15.0
"""Of a film before it is even and where the draw ends (common practice, no source)."""
BETWEEN_FILMS_MM = 5.0
"""Of bare band between the films of a wide applicator (our choice)."""


@dataclass(frozen=True)
class Tools:
    """What a layout leaves room for, mm.

    Attributes
    ----------
    aperture_mm : float
        Opening of an instrument that reads its patches; 0 where it is for pictures alone.
    tape_mm : float
        Width of the tape that is laid beside a film; masking tape is 19 to 25 mm wide (common
        practice, no source). 0 where nothing is drawn down.
    applicator_mm : float
        Width of the film; 0: that of the patches.
    """

    aperture_mm: float = 0.0
    tape_mm: float = 0.0
    applicator_mm: float = 0.0


PICTURES = Tools()
DRAWN = Tools(aperture_mm=8.0, tape_mm=25.0)
"""What a brushed layout and one of films have room for where they say nothing else."""
_CLOSE = 1e-6


def stroke(layout: Layout, step: int) -> Box:
    """Where a step is painted: along the line of its patches, to the ends of their bands.

    Parameters
    ----------
    layout : Layout
    step : int
        From 1.

    Returns
    -------
    Box
    """
    patches = [patch for patch in layout.patches if patch.step == step]
    bands = [
        band.box
        for patch in patches
        for band in layout.bands
        if band.substrate == patch.over and patch.box.within(band.box)
    ]
    first, last = patches[0].box, patches[-1].box
    upright = abs(first.y_mm - last.y_mm) > abs(first.x_mm - last.x_mm)
    start = min(_span(box, upright)[0] for box in bands)
    long = max(_span(box, upright)[1] for box in bands) - start
    if upright:
        return Box(first.x_mm, start, first.width_mm, long)
    return Box(start, first.y_mm, long, first.height_mm)


def _span(box: Box, upright: bool) -> tuple[float, float]:
    """Where a box begins and ends, down the page or across it."""
    if upright:
        return box.y_mm, box.y_mm + box.height_mm
    return box.x_mm, box.x_mm + box.width_mm


def opening_mm(layout: Layout) -> float:
    """The widest opening of an instrument that every patch has room for, mm.

    Parameters
    ----------
    layout : Layout

    Returns
    -------
    float
        0 where none has.
    """
    sides = (min(patch.box.width_mm, patch.box.height_mm) for patch in layout.patches)
    return max(0.0, min(sides) - 2 * MARGIN_MM)


def tool_faults(layout: Layout, file: str) -> Iterator[InputError]:
    """What keeps a layout from being painted and read with its tools; cards printed still read.

    Parameters
    ----------
    layout : Layout
    file : str
        For messages.

    Yields
    ------
    InputError
    """
    tools = layout.tools
    if opening_mm(layout) < tools.aperture_mm - _CLOSE:
        least = tools.aperture_mm + 2 * MARGIN_MM
        yield InputError(
            file,
            "patch",
            f"an instrument's opening of {tools.aperture_mm:g} mm needs patches of {least:g} x "
            f"{least:g} mm",
            "make them larger, or state a smaller aperture_mm",
        )
    if layout.method == "drawdown":
        films = {step: stroke(layout, step) for step in range(1, layout.steps + 1)}
        yield from _runs(layout, films, file)
        yield from _gaps(layout, films, file)


def _runs(layout: Layout, films: Mapping[int, Box], file: str) -> Iterator[InputError]:
    """Whether each film has room to begin and to end beyond its patches."""
    for step, film in films.items():
        upright = film.height_mm > film.width_mm
        read = [_span(patch.box, upright) for patch in layout.patches if patch.step == step]
        start, end = _span(film, upright)
        least = min(min(a for a, _ in read) - start, end - max(b for _, b in read))
        if least < RUN_MM - _CLOSE:
            yield InputError(
                file,
                f"step {step}",
                f"its film has {least:g} mm to begin or to end in, and {RUN_MM:g} are needed",
                "make the bands longer",
            )


def _gaps(layout: Layout, films: Mapping[int, Box], file: str) -> Iterator[InputError]:
    """Whether tape can be laid beside each film, and a wide applicator reaches no other."""
    bare = [(f"the bare {patch.over}", patch.box) for patch in layout.patches if not patch.step]
    bare += [(f"the {each.kind}", each.box) for each in layout.references if each.over]
    for step, film in films.items():
        upright = film.height_mm > film.width_mm
        wide = layout.tools.applicator_mm - min(film.width_mm, film.height_mm)
        least = max(layout.tools.tape_mm, wide + BETWEEN_FILMS_MM, BETWEEN_FILMS_MM)
        for name, box in [(f"step {n}", each) for n, each in films.items() if n > step] + bare:
            gap = _gap(film, box, not upright)
            if _gap(film, box, upright) < 0 and gap < least - _CLOSE:
                yield InputError(
                    file,
                    f"step {step}",
                    f"{gap:g} mm lie between its film and {name}; tape or applicator need "
                    f"{least:g}",
                    "move them apart, or put fewer steps on a sheet",
                )


def _gap(one: Box, other: Box, upright: bool) -> float:
    """Length between two boxes down the page or across it; below 0 where they overlap so."""
    (a, b), (c, d) = _span(one, upright), _span(other, upright)
    return max(a, c) - min(b, d)
