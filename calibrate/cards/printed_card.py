"""Prints a card, true to size: outlines to paint, fiducials, rulers, and words off the bands.

Nothing is printed inside a band: printer ink would bleed through the paint. Where a stroke goes is
told by brackets beside the bands.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from .box import Box
from .card import Card, Drawdown
from .card_plan import seats
from .drawings import draw_painting
from .fiducials import DICTIONARY, Fiducial
from .layout import Layout
from .layout_parts import BRACKET_MM, GREY, TONE, Text
from .printing import BOLD, SMALLEST_PT, Page

CAUTIONS = (
    "Gloves, no eating and no sanding with cadmium, cobalt, lead, chromium or unknown pigments. "
    "Wipe pigment up wet, never brush it dry. Air the room. Follow the label, its safety data "
    "sheet and local rules: colour advice is not safety advice."
)
BARE_WORDS, BARE_SHORT = "bare: only sealed", "bare"
GREY_WORDS, GREY_SHORT = "grey: the same on both", "grey"
LEAST_PT = 8.0
"""Letters of what a painter has to do are no smaller (our choice)."""
_LABEL_PT, _FINE_PT = 9.0, 7.0
_WIDE_MM, _SHORT_MM = 22.0, 11.0
_WHOLE, _SHORT = 80, 9
"""Letters of a nickname that are shown; of fewer the weighing sheet tells the rest."""


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


def print_card(
    layout: Layout,
    card: Card | None = None,
    number: int | None = None,
    least_pt: float = LEAST_PT,
) -> bytes:
    """Print a card.

    Parameters
    ----------
    layout : Layout
    card : Card, optional
        What is to be painted on it; without one the steps carry their numbers.
    number : int, optional
        Of the card in the studio.
    least_pt : float
        Size of the letters of what there is to do, at least, pt.

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
            _other(page, layout, text, card, number, least_pt)
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
    if layout.tools.aperture_mm:
        _columns(page, layout)


def _columns(page: Page, layout: Layout) -> None:
    """Show above and below the bands where along its stroke each step is read."""
    for band in layout.bands:
        inside = [patch.box for patch in layout.patches if patch.box.within(band.box)]
        spans = {(box.x_mm, box.x_mm + box.width_mm) for box in inside}
        top, bottom = band.box.y_mm, band.box.y_mm + band.box.height_mm
        for left, right in spans:
            for y, out in ((top, -BRACKET_MM), (bottom, BRACKET_MM)):
                page.line((left, y + out), (right, y + out), 0.2, 0.5)
                page.line((left, y + out / 3), (left, y + out), 0.2, 0.5)
                page.line((right, y + out / 3), (right, y + out), 0.2, 0.5)


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
        used = page.one_line(d.paint, third, _FINE_PT, grey=0.25)
    upper = Box(box.x_mm, box.y_mm + used, box.width_mm, box.height_mm / 2)
    seat = [patch.box for patch in layout.patches if patch.step == text.step]
    ratio, align = _pointed(layout, text, seat, ratio)
    used += page.one_line(ratio, upper, _LABEL_PT, font=BOLD, align=align)
    foot = box.y_mm + box.height_mm - 0.3
    start = box.x_mm
    if box.width_mm >= _WIDE_MM:
        if d.paint is None:
            rest = Box(box.x_mm, box.y_mm + used, box.width_mm, foot - 2.4 - box.y_mm - used)
            _mixed(page, rest, d)
        else:
            rest = Box(box.x_mm, box.y_mm + used, box.width_mm, 3.4)
            alone = alone or not d.white or d.step.endswith("masstone")
            said = f"{d.paint} alone" if alone else f"{d.white} to {d.paint}"
            page.one_line(said, rest, _FINE_PT, grey=0.25, align=align)
        said = "coats" if d.opaque else "remarks"
        page.words(said, start, foot, _FINE_PT - 0.5, grey=0.35)
        start += 8.5 if d.opaque else 12.0
    page.line((start, foot), (box.x_mm + box.width_mm, foot), 0.6, 0.3)


def _pointed(layout: Layout, text: Text, boxes: Sequence[Box], words: str) -> tuple[str, str]:
    """Words, with an arrow where a label stands between two columns, and the side they begin at."""
    columns = {patch.box.x_mm < text.box.x_mm for patch in layout.patches}
    if len(columns) < 2 or any(box.in_line_with(text.box) for box in boxes):
        return words, "left"
    if all(box.x_mm < text.box.x_mm for box in boxes):
        return f"◂ {words}", "left"
    return f"{words} ▸", "right"


def _mixed(page: Page, box: Box, d: Drawdown) -> None:
    """Say what a free mixture holds, about, to know it by; cut short where there is no room."""
    for longest in (_WHOLE, _SHORT):
        words = " + ".join(
            f"{grams:.2g} g {paint if len(paint) <= longest else f'{paint[: longest - 1]}…'}"
            for paint, grams in d.masses.items()
        )
        if page.fitting(words, box, _FINE_PT) is not None:
            page.fitted(words, box, _FINE_PT, grey=0.25)
            return
    page.one_line(words, box, SMALLEST_PT, grey=0.25)


def _other(
    page: Page,
    layout: Layout,
    text: Text,
    card: Card | None,
    number: int | None,
    least_pt: float,
) -> None:
    box, file = text.box, layout.name
    match text.holds:
        case "heading":
            _heading(page, layout, box, card, number, least_pt)
        case "black" | "white":
            page.words(text.holds, box.x_mm, box.y_mm + box.height_mm - 1.1, LEAST_PT, grey=0.25)
        case "bare":
            boxes = [patch.box for patch in layout.patches if not patch.step]
            _reference(page, layout, text, boxes, (BARE_WORDS, BARE_SHORT), least_pt)
        case "grey":
            boxes = [each.box for each in layout.references if each.kind == GREY]
            _reference(page, layout, text, boxes, (GREY_WORDS, GREY_SHORT), least_pt)
        case "bands":
            draw_painting(page, box, layout.method, LEAST_PT + 1, least_pt, file)
        case "cautions":
            page.fitted(CAUTIONS, box, LEAST_PT + 1, grey=0.15, file=file, least=least_pt)
        case "write":
            _write_on(page, box)
        case "ruler":
            _ruler(page, box)


def _reference(
    page: Page,
    layout: Layout,
    text: Text,
    boxes: Sequence[Box],
    words: tuple[str, str],
    least_pt: float,
) -> None:
    """Name what isn't painted with a step, at length where there is room."""
    said, align = _pointed(layout, text, boxes, words[text.box.width_mm < _SHORT_MM])
    page.fitted(said, text.box, LEAST_PT, grey=0.25, file=layout.name, align=align, least=least_pt)


def _heading(
    page: Page,
    layout: Layout,
    box: Box,
    card: Card | None,
    number: int | None,
    least_pt: float,
) -> None:
    first = f"Card {card.name}" if card else layout.title
    first += "" if number is None else f" · no. {number}"
    page.fitted(first, Box(box.x_mm, box.y_mm, box.width_mm, 6), 13, font=BOLD)
    said = (f"{layout.title} ({layout.name})", "print at 100 % and check the rulers")
    rest = Box(box.x_mm, box.y_mm + 6.4, box.width_mm, box.height_mm - 6.4)
    page.fitted(" · ".join(said), rest, LEAST_PT, grey=0.3, file=layout.name, least=least_pt)


def _write_on(page: Page, box: Box) -> None:
    """Lines to write on: whose, when, and with which black, white and sealer."""
    rows = (("Painted on", "by"), ("Black paint", "White paint"), ("Sealed with", "Remarks"))
    high = box.height_mm / len(rows)
    half = box.width_mm / 2
    size = min(LEAST_PT, 2.2 * high)
    for i, row in enumerate(rows):
        foot = box.y_mm + (i + 1) * high - 0.8
        for j, words in enumerate(row):
            x = box.x_mm + j * half
            page.words(words, x, foot, size, grey=0.25)
            page.line((x + 2.6 * size, foot + 0.3), (x + half - 3, foot + 0.3), 0.5, 0.3)


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
