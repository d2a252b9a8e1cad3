"""Paper for the studio wall: pages with a head and a foot, and squares to paint the real colour in.

A printer shows a colour only nearly, so every printed swatch has an empty one of its size beside
it, and every page says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from ...calibrate.cards.box import Box
from ...calibrate.cards.printing import BOLD, Page
from ...calibrate.errors import Field, InputError
from ...calibrate.optics.display import lab_to_srgb
from ...calibrate.optics.spectra import Array
from ..easel.record import Record
from ..pictures.plate import Plate

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM, HEAD_MM, FOOT_MM = 12.0, 14.0, 28.0
TYPE_PT = 7.0
"""Size of type at the least."""
NEARLY = (
    "Printed colours are only as true as the printer: paint the real one beside each. Colours are "
    "predicted from K and S of these tubes; another maker's will differ. Colour advice is not "
    "safety advice: follow the label, the safety data sheet and local rules."
)
CUT = " A corner cut off marks a colour that a display can't show: the nearest is printed."


def paper_size(name: str) -> tuple[float, float]:
    """Width and height of a paper, mm.

    Raises
    ------
    InputError
        For a paper that there isn't.
    """
    if name not in PAPERS:
        raise InputError(
            Field("page"), name, f"expected {' or '.join(PAPERS)}", "choose one of these"
        )
    return PAPERS[name]


def room_of(page: str) -> tuple[float, float]:
    """Width and height that a page leaves between its head and its foot, mm."""
    width, height = paper_size(page)
    return width - 2 * MARGIN_MM, height - 2 * MARGIN_MM - HEAD_MM - FOOT_MM


class Paper:
    """Pages under one title.

    Parameters
    ----------
    title : str
    under : str
        A line below the title.
    page : {"a4", "letter"}
    record : Record, optional
        What its colours rest on, if they rest on one thing.

    Attributes
    ----------
    note : str
        What else stands at the foot of the page that is open.
    """

    def __init__(
        self, title: str, under: str, page: str = "a4", record: Record | None = None
    ) -> None:
        self.page = Page(paper_size(page), title)
        self.title, self.under = title, under
        self.record, self.note = record, ""
        if record is not None:
            self.page.describe(record.words)
        self.left_mm, self.width_mm = MARGIN_MM, self.page.width_mm - 2 * MARGIN_MM
        self.top_mm = MARGIN_MM + HEAD_MM
        self.height_mm = room_of(page)[1]
        self._cut = self._used = False
        self._head()

    def turn(self, title: str | None = None, under: str | None = None) -> None:
        """Go on on another page, under the same title or another."""
        self._foot()
        self.page.turn()
        self._cut, self.note = False, ""
        self.title, self.under = title or self.title, under or self.under
        self._head()

    def finish(self) -> bytes:
        """End the last page; the bytes of the PDF."""
        self._foot()
        return self.page.finish()

    def places(self, columns: int, height_mm: float, gap_mm: float = 4.0) -> Iterator[Box]:
        """Boxes of one height, in columns, left to right and down, page after page."""
        width = (self.width_mm - (columns - 1) * gap_mm) / columns
        rows = max(1, int((self.height_mm + gap_mm) // (height_mm + gap_mm)))
        while True:
            for row in range(rows):
                for column in range(columns):
                    if row == column == 0 and self._used:
                        self.turn()
                    self._used = True
                    yield Box(
                        self.left_mm + column * (width + gap_mm),
                        self.top_mm + row * (height_mm + gap_mm),
                        width,
                        height_mm,
                    )

    def swatch(
        self, box: Box, colour: Array, blank: Literal["below", "right", "none"] = "below"
    ) -> None:
        """Print a CIELAB colour (3,), D50, in half of a box, the other half empty to be painted.

        A colour that a display can't show has a corner cut off.
        """
        half = box
        if blank == "below":
            half = Box(box.x_mm, box.y_mm, box.width_mm, box.height_mm / 2)
        elif blank == "right":
            half = Box(box.x_mm, box.y_mm, box.width_mm / 2, box.height_mm)
        shown, outside = lab_to_srgb(colour)
        self.page.colour(half, shown[0])
        if outside[0]:
            corner = min(half.width_mm, half.height_mm) * 0.3
            self.page.colour(Box(half.x_mm, half.y_mm, corner, corner), (1, 1, 1))
            self._cut = True
        self.page.outline(box)

    def plate(self, plate: Plate) -> None:
        """Draw a plate below the head."""
        plate.on_page(self.page, self.left_mm, self.top_mm)
        self._cut |= plate.cut

    def _head(self) -> None:
        box = Box(self.left_mm, MARGIN_MM, self.width_mm, 7.0)
        self.page.one_line(self.title, box, 14, font=BOLD)
        self.page.one_line(
            self.under, Box(box.x_mm, MARGIN_MM + 7, self.width_mm, 4.5), 8, grey=0.3
        )

    def _foot(self) -> None:
        top = self.page.height_mm - MARGIN_MM - FOOT_MM + 3
        box = Box(self.left_mm, top, self.width_mm, FOOT_MM - 3)
        said = [NEARLY + (CUT if self._cut else "")]
        if self.record is not None:
            said = [self.record.words, *said]
        if self.note:
            said = [self.note, *said]
        self.page.fitted("\n".join(said), box, TYPE_PT, grey=0.3, least=TYPE_PT)
