"""Prints a card, true to size: outlines to paint, fiducials, rulers, and words off the bands.

Nothing is printed inside a band: printer ink would bleed through the paint. Where a stroke goes is
told by brackets beside the bands.
"""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np

from ..errors import InputError
from .box import Box
from .card import Card, Drawdown
from .card_plan import seats
from .fiducials import DICTIONARY, Fiducial
from .layout import Layout, Method
from .layout_parts import BRACKET_MM, GREY, TONE, Text
from .printing import BOLD, PLAIN, SMALLEST_PT, Page

BANDS = (
    "Paint the bands first: two coats of black, two coats of white, right up to the outline; let "
    "them dry. Then seal both with two coats of clear medium: printer ink bleeds into wet paint, "
    "and printer card holds a brightener that glows. "
)
STROKES: Mapping[Method, str] = {
    "brush": "Paint each step between its brackets, across black and white, in two or three thin "
    "coats until the black no longer shows. A colour that never quite hides it is no fault.",
    "drawdown": "Draw each step down once, between its brackets, across black and white, by "
    "applicator or with a stiff card over two strips of tape. A film that hides nothing is no "
    "fault.",
}
CAUTIONS = (
    "Gloves, no eating and no sanding with cadmium, cobalt, lead, chromium or unknown pigments. "
    "Wipe pigment up wet, never brush it dry. Air the room. Follow the label, its safety data "
    "sheet and local rules: colour advice is not safety advice."
)
GREY_WORDS = "Grey: two pieces of one bought grey card, or one grey of your own, on both"
GREY_SHORT = "one grey on both"
BARE_WORDS = "Bare: sealed, left unpainted"
_LABEL_PT = 8.0
_WIDE_MM = 25.0


def marker_boxes(fiducial: Fiducial) -> list[Box]:
    """The black runs of cells of a marker, on the page."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    cells = dictionary.markerSize + 2
    image = cv2.aruco.generateImageMarker(dictionary, fiducial.id, cells)
    side = fiducial.box.width_mm / cells
    boxes = []
    for row in range(cells):
        black = np.flatnonzero(image[row] == 0)
        for run in np.split(black, np.flatnonzero(np.diff(black) > 1) + 1):
            if len(run):
                x = fiducial.box.x_mm + run[0] * side
                y = fiducial.box.y_mm + row * side
                boxes.append(Box(x, y, len(run) * side, side))
    return boxes


def print_card(layout: Layout, card: Card | None = None, number: int | None = None) -> bytes:
    """Print a card.

    Parameters
    ----------
    layout : Layout
    card : Card, optional
        What is to be painted on it; without one the steps carry their numbers.
    number : int, optional
        Of the card in the studio.

    Returns
    -------
    bytes
        A PDF of one page, of the layout's size.

    Raises
    ------
    InputError
        Where words don't fit the layout's boxes.
    """
    page = Page(layout.page_mm, f"Card {card.name}" if card else layout.title)
    for fiducial in layout.fiducials:
        page.fill(marker_boxes(fiducial))
    for band in layout.bands:
        page.outline(band.box)
    for reference in layout.references:
        if reference.kind == TONE:
            page.fill([reference.box], reference.tone or 0.0)
            page.outline(reference.box, 0.7, 0.25)
    _brackets(page, layout)
    at = {} if card is None else {seat: step for step, seat in seats(layout, card).items()}
    steps = {} if card is None else {d.step: d for d in card.drawdowns}
    for text in layout.texts:
        if text.holds == "step":
            drawdown = steps.get(at.get(text.step or 0, ""))
            _label(page, layout, text, drawdown, blank=card is None)
        else:
            _other(page, layout, text, card, number)
    return page.finish()


def _brackets(page: Page, layout: Layout) -> None:
    """Show where bands end between which lines each stroke goes."""
    edges = {b.box.x_mm for b in layout.bands} | {b.box.x_mm + b.box.width_mm for b in layout.bands}
    inner = {
        a.box.x_mm
        for a in layout.bands
        for b in layout.bands
        if abs(b.box.x_mm + b.box.width_mm - a.box.x_mm) < 0.01
    }
    strokes = [p.box for p in layout.patches if p.step]
    strokes += [r.box for r in layout.references if r.kind == GREY]
    spans = {(box.y_mm, box.y_mm + box.height_mm) for box in strokes}
    for x in sorted(edges - inner):
        out = -BRACKET_MM if any(abs(b.box.x_mm - x) < 0.01 for b in layout.bands) else BRACKET_MM
        for top, bottom in sorted(spans):
            page.line((x + out, top), (x + out, bottom), 0.2, 0.5)
            page.line((x + out / 3, top), (x + out, top), 0.2, 0.5)
            page.line((x + out / 3, bottom), (x + out, bottom), 0.2, 0.5)


def _label(page: Page, layout: Layout, text: Text, d: Drawdown | None, blank: bool) -> None:
    """Name a step: its paint where the card holds several, its ratio, and what went in."""
    box = text.box
    if d is None:
        if blank:
            page.fitted(f"step {text.step}", box, _LABEL_PT, grey=0.35)
        return
    ratio, used, alone = d.step, 0.0, d.paint == d.white
    if layout.tubes > 1 and d.paint:
        ratio = ratio.removeprefix(f"{d.paint} ")
        third = Box(box.x_mm, box.y_mm, box.width_mm, box.height_mm / 3)
        used = page.one_line(d.paint, third, 6.0, grey=0.25)
    upper = Box(box.x_mm, box.y_mm + used, box.width_mm, box.height_mm / 2)
    used += page.one_line(ratio, upper, _LABEL_PT, font=BOLD)
    foot = box.y_mm + box.height_mm - 0.3
    start = box.x_mm
    if box.width_mm >= _WIDE_MM:
        if d.paint is None:
            _mixed(
                page, Box(box.x_mm, box.y_mm + used, box.width_mm, foot - 2.0 - box.y_mm - used), d
            )
        else:
            rest = Box(box.x_mm, box.y_mm + used, box.width_mm, 3.4)
            alone = alone or not d.white or ratio == "masstone"
            page.one_line(
                f"{d.paint} alone" if alone else f"{d.white} to {d.paint}", rest, 6.0, grey=0.25
            )
        page.words("coats" if d.opaque else "remarks", start, foot, 5.5, grey=0.35)
        start += 7.0 if d.opaque else 10.0
    page.line((start, foot), (box.x_mm + box.width_mm, foot), 0.6, 0.3)


def _mixed(page: Page, box: Box, d: Drawdown) -> None:
    """Say what a free mixture holds, about, to know it by; cut short where there is no room."""
    words = " + ".join(f"{grams:.2g} g {paint}" for paint, grams in d.masses.items())
    try:
        page.fitted(words, box, 6.0, grey=0.25)
    except InputError:
        page.one_line(words, box, SMALLEST_PT, grey=0.25)


def _other(page: Page, layout: Layout, text: Text, card: Card | None, number: int | None) -> None:
    box = text.box
    match text.holds:
        case "heading":
            _heading(page, layout, box, card, number)
        case "black" | "white":
            page.words(text.holds, box.x_mm, box.y_mm + box.height_mm - 1.1, 7, grey=0.25)
        case "bare":
            page.fitted(BARE_WORDS, box, 6.0, grey=0.25, file=layout.name)
        case "grey":
            words = GREY_WORDS if box.width_mm >= _WIDE_MM else GREY_SHORT
            page.fitted(words, box, 6.0, grey=0.25, file=layout.name)
        case "bands":
            page.fitted(BANDS + STROKES[layout.method], box, 6.6, file=layout.name)
        case "cautions":
            page.fitted(CAUTIONS, box, 6.6, grey=0.15, file=layout.name)
        case "write":
            _write_on(page, box)
        case "ruler":
            _ruler(page, box)


def _heading(page: Page, layout: Layout, box: Box, card: Card | None, number: int | None) -> None:
    first = card.name if card else layout.title
    page.fitted(
        f"Card {first}" if card else first, Box(box.x_mm, box.y_mm, box.width_mm, 6), 13, font=BOLD
    )
    said = [f"{layout.title} ({layout.name})"]
    if number is not None:
        said.insert(0, f"no. {number}")
    said.append("print at 100 % and check the rulers")
    rest = Box(box.x_mm, box.y_mm + 6.4, box.width_mm, box.height_mm - 6.4)
    page.fitted(" · ".join(said), rest, 7, grey=0.3, file=layout.name)


def _write_on(page: Page, box: Box) -> None:
    """Lines to write on: whose, when, and with which black, white and sealer."""
    rows = (("Painted on", "by"), ("Black paint", "White paint"), ("Sealed with", "Remarks"))
    high = box.height_mm / len(rows)
    half = box.width_mm / 2
    for i, row in enumerate(rows):
        foot = box.y_mm + (i + 1) * high - 0.8
        for j, words in enumerate(row):
            x = box.x_mm + j * half
            page.words(words, x, foot, 6.5, font=PLAIN, grey=0.25)
            page.line((x + 17, foot + 0.3), (x + half - 3, foot + 0.3), 0.5, 0.3)


def _ruler(page: Page, box: Box) -> None:
    """Draw a ruler along the longer side of its box, from its left or upper end."""
    flat = box.width_mm >= box.height_mm
    length = int(max(box.width_mm, box.height_mm) // 10) * 10

    def at(along: float, across: float) -> tuple[float, float]:
        return (
            (box.x_mm + along, box.y_mm + across) if flat else (box.x_mm + across, box.y_mm + along)
        )

    page.line(at(0, 0), at(length, 0), 0.0, 0.35)
    for i in range(length + 1):
        tick = 3.0 if i % 10 == 0 else 2.0 if i % 5 == 0 else 1.2
        page.line(at(i, 0), at(i, tick), 0.0, 0.25)
    for i in range(0, length + 1, 10):
        words = f"{i // 10}" if i < length else f"{i // 10} cm"
        if flat:
            align = "centre"
            page.words(words, box.x_mm + i, box.y_mm + 5.6, 5.5, align=align, grey=0.2)
        elif i:
            page.words(f"{i // 10}", box.x_mm + 3.5, box.y_mm + i + 0.7, 5.5, grey=0.2)
