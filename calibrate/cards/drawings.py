"""Small drawings of how a card is painted: tape it down, seal, paint, dry, take the picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from .box import Box
from .layout import Method
from .printing import Page

WORDS: Mapping[Method, tuple[str, ...]] = {
    "brush": (
        "Tape it down flat, by the edges.",
        "2 coats of black, 2 of white; then seal: 2 of clear. Let each dry.",
        "Each step between its marks, in thin coats.",
        "Dry it flat for a night.",
        "Scan it, or take a photo from above.",
    ),
    "drawdown": (
        "Tape the card down flat, by its edges.",
        "Two coats of black, two of white; then seal: two of clear. Let each coat dry.",
        "Tape above and below the marks; draw once, from outside in; lift the tape wet.",
        "Dry it lying flat: overnight, a thick film three days.",
        "Read it with the instrument, and scan it too.",
    ),
}
"""What each drawing shows, by how a layout is painted."""
_WIDE, _HIGH = 20.0, 10.0
"""mm of a drawing as drawn here; it is scaled to its place."""
_LEAST_SHARE = 40
"""Letters that the place of a drawing is as wide as, and as many more as it has words below."""
_PALE, _MIDDLE = 0.8, 0.55


@dataclass(frozen=True)
class _Pen:
    """Draws in mm of a drawing, scaled, on a page."""

    page: Page
    at: tuple[float, float]
    scale: float

    def point(self, x: float, y: float) -> tuple[float, float]:
        return self.at[0] + x * self.scale, self.at[1] + y * self.scale

    def box(self, x: float, y: float, width: float, height: float) -> Box:
        return Box(*self.point(x, y), width * self.scale, height * self.scale)

    def line(self, *points: tuple[float, float]) -> None:
        for start, end in pairwise(points):
            self.page.line(self.point(*start), self.point(*end), 0.15, 0.7)

    def shape(self, grey: float, *points: tuple[float, float]) -> None:
        self.page.polygon([self.point(*each) for each in points], grey, 0.15, 0.5)

    def card(
        self, x: float = 3.0, y: float = 2.0, width: float = 14.0, height: float = 7.0
    ) -> None:
        """A card: its left half black, its right half white."""
        self.shape(1.0, (x, y), (x + width, y), (x + width, y + height), (x, y + height))
        self.page.fill([self.box(x + 1, y + 1, width / 2 - 1, height - 2)], 0.25)
        self.page.outline(self.box(x + width / 2, y + 1, width / 2 - 1, height - 2), 0.4)

    def brush(self, x: float, y: float) -> None:
        """A brush whose tip is there, its handle to the upper right."""
        self.shape(_MIDDLE, (x, y), (x + 0.5, y - 2.0), (x + 2.0, y - 0.7))
        handle = ((0.7, -1.9), (5.0, -5.0), (5.6, -4.2), (1.8, -0.9))
        self.shape(1.0, *((x + across, y + down) for across, down in handle))


def _tape(pen: _Pen, _: Method) -> None:
    pen.card()
    for x, y in ((1.5, 1.2), (14.5, 1.2), (1.5, 7.8), (14.5, 7.8)):
        pen.shape(_PALE, (x, y), (x + 4.0, y), (x + 4.0, y + 2.0), (x, y + 2.0))


def _seal(pen: _Pen, _: Method) -> None:
    pen.card()
    for x in (5.0, 8.5, 12.0):
        pen.line((x, 7.5), (x + 2.5, 4.0))
    pen.brush(13.0, 6.5)


def _paint(pen: _Pen, method: Method) -> None:
    pen.card()
    if method == "brush":
        pen.shape(_MIDDLE, (4.5, 4.3), (12.0, 4.3), (12.0, 6.8), (4.5, 6.8))
        pen.brush(12.0, 5.8)
        return
    for y in (2.2, 7.0):
        pen.shape(_PALE, (2.0, y), (18.0, y), (18.0, y + 1.8), (2.0, y + 1.8))
    pen.shape(_MIDDLE, (4.5, 4.0), (11.0, 4.0), (11.0, 7.0), (4.5, 7.0))
    pen.shape(1.0, (11.0, 1.2), (12.4, 1.2), (12.4, 9.8), (11.0, 9.8))
    pen.line((13.4, 5.5), (17.0, 5.5))
    pen.line((15.9, 4.8), (17.0, 5.5), (15.9, 6.2))


def _dry(pen: _Pen, _: Method) -> None:
    pen.card(2.0, 5.5, 11.0, 3.5)
    for x in (4.0, 7.0, 10.0):
        pen.line((x, 4.6), (x + 0.7, 3.6), (x - 0.1, 2.4), (x + 0.6, 1.2))
    pen.page.circle(pen.point(16.3, 4.2), 2.9 * pen.scale, 0.15, 0.7)
    pen.line((16.3, 2.1), (16.3, 4.2), (17.8, 5.0))


def _picture(pen: _Pen, _: Method) -> None:
    pen.card(3.0, 6.0, 14.0, 3.5)
    pen.shape(1.0, (7.0, 0.6), (13.0, 0.6), (13.0, 2.8), (7.0, 2.8))
    pen.page.circle(pen.point(10.0, 1.7), 0.7 * pen.scale, 0.15, 0.6)
    pen.line((8.8, 3.2), (4.0, 5.7))
    pen.line((11.2, 3.2), (16.0, 5.7))


_DRAWN: tuple[Callable[[_Pen, Method], None], ...] = (_tape, _seal, _paint, _dry, _picture)


def draw_painting(
    page: Page, box: Box, method: Method, largest: float, least: float, file: str
) -> None:
    """Draw how a card is painted, each act with its words below.

    Parameters
    ----------
    page : Page
    box : Box
        The drawings stand side by side in it.
    method : {"brush", "drawdown"}
    largest, least : float
        Size of the letters, pt.
    file : str
        What an error names.

    Raises
    ------
    InputError
        Where the words don't fit at that size.
    """
    shares = [_LEAST_SHARE + len(words) for words in WORDS[method]]
    wide = [box.width_mm * share / sum(shares) for share in shares]
    high = min(0.4 * box.height_mm, (min(wide) - 1.5) * _HIGH / _WIDE)
    below, x = [], box.x_mm
    for share in wide:
        below.append(Box(x, box.y_mm + high + 0.6, share - 1.5, box.height_mm - high - 0.6))
        x += share
    said = [f"{i}. {words}" for i, words in enumerate(WORDS[method], 1)]
    sizes = [page.fitting(*each, largest, least=least) for each in zip(said, below, strict=True)]
    for draw, words, place in zip(_DRAWN, said, below, strict=True):
        draw(_Pen(page, (place.x_mm, box.y_mm), high / _HIGH), method)
        page.fitted(words, place, min(s or least for s in sizes), least=least, file=file)
