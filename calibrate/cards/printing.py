"""Drawing on a page in millimetres from its upper left corner, with words that fit their boxes."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from io import BytesIO

from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from ..errors import InputError
from ..optics.output_intent import with_output_intent
from .box import Box

PLAIN, BOLD = "DejaVuSans", "DejaVuSans-Bold"
"""A free typeface that matplotlib brings along: nicknames may be in Greek or Cyrillic too."""
SMALLEST_PT = 4.5
LEADING = 1.22


def load_fonts() -> None:
    """Make the typeface known to reportlab."""
    for name in (PLAIN, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            file = resources.files("matplotlib") / f"mpl-data/fonts/ttf/{name}.ttf"
            pdfmetrics.registerFont(TTFont(name, BytesIO(file.read_bytes())))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


def lines_of(words: str, font: str, size: float, width_pt: float) -> list[str]:
    """Break words into lines no wider than a width; a line break in them stays one.

    Parameters
    ----------
    words : str
    font : str
    size : float
        pt.
    width_pt : float
        pt.

    Returns
    -------
    list of str
    """
    lines = []
    for paragraph in words.split("\n"):
        line = ""
        for word in paragraph.split():
            longer = f"{line} {word}".strip()
            if line and pdfmetrics.stringWidth(longer, font, size) > width_pt:
                lines.append(line)
                longer = word
            line = longer
        lines.append(line)
    return lines


def height_of(words: str, width_mm: float, size: float, font: str = PLAIN) -> float:
    """Height that words take of a width, mm; letters in pt."""
    load_fonts()
    return len(lines_of(words, font, size, width_mm * mm)) * size * LEADING / mm


class Page:
    """A page to draw on, and as many more as are turned to.

    Parameters
    ----------
    size_mm : (width, height)
    title : str
        In the file's properties.
    """

    def __init__(self, size_mm: tuple[float, float], title: str) -> None:
        load_fonts()
        self.width_mm, self.height_mm = size_mm
        self._file = BytesIO()
        self._canvas = Canvas(
            self._file,
            pagesize=(self.width_mm * mm, self.height_mm * mm),
            initialFontName=PLAIN,
            invariant=1,
        )
        self._canvas.setTitle(title)
        self._canvas.setCreator("tintladder")
        # Viewers that honour it then print at 100 % of their own accord.
        self._canvas.setViewerPreference("PrintScaling", "None")

    def describe(self, words: str) -> None:
        """Say in the file's properties what it rests on."""
        self._canvas.setSubject(words)

    def turn(self) -> None:
        """End the page and begin another of the same size."""
        self._canvas.showPage()

    def finish(self) -> bytes:
        """End the last page; the bytes of the PDF."""
        self._canvas.showPage()
        self._canvas.save()
        return with_output_intent(self._file.getvalue())

    def _at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return x_mm * mm, (self.height_mm - y_mm) * mm

    def outline(self, box: Box, grey: float = 0.55, width_pt: float = 0.4) -> None:
        """Draw a box's edge.

        Parameters
        ----------
        box : Box
        grey : float
            From 0, black, to 1.
        width_pt : float
            pt.
        """
        self._stroke(grey, width_pt)
        x, y = self._at(box.x_mm, box.y_mm + box.height_mm)
        self._canvas.rect(x, y, box.width_mm * mm, box.height_mm * mm)

    def fill(self, boxes: Sequence[Box], grey: float = 0.0) -> None:
        """Fill boxes as one area, so that no seam shows between those that touch.

        Parameters
        ----------
        boxes : sequence of Box
        grey : float
            From 0, black, to 1.
        """
        self._canvas.setFillGray(grey)
        path = self._canvas.beginPath()
        for box in boxes:
            x, y = self._at(box.x_mm, box.y_mm + box.height_mm)
            path.rect(x, y, box.width_mm * mm, box.height_mm * mm)
        self._canvas.drawPath(path, stroke=0, fill=1)

    def colour(self, box: Box, rgb: Sequence[float]) -> None:
        """Fill a box with an sRGB colour: red, green and blue, 0-1 each."""
        self._canvas.setFillColorRGB(*map(float, rgb))
        x, y = self._at(box.x_mm, box.y_mm + box.height_mm)
        self._canvas.rect(x, y, box.width_mm * mm, box.height_mm * mm, stroke=0, fill=1)

    def line(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        grey: float = 0.0,
        width_pt: float = 0.4,
    ) -> None:
        """Draw a line, mm.

        Parameters
        ----------
        start : (x, y), mm
        end : (x, y), mm
        grey : float
            From 0, black, to 1.
        width_pt : float
            pt.
        """
        self._stroke(grey, width_pt)
        self._canvas.line(*self._at(*start), *self._at(*end))

    def polyline(
        self, points: Sequence[tuple[float, float]], grey: float = 0.0, width_pt: float = 0.4
    ) -> None:
        """Draw a line through points, mm.

        Parameters
        ----------
        points : sequence of (x, y), mm
        grey : float
            From 0, black, to 1.
        width_pt : float
            pt.
        """
        self._stroke(grey, width_pt)
        self._canvas.drawPath(self._through(points), stroke=1, fill=0)

    def _stroke(self, grey: float, width_pt: float) -> None:
        self._canvas.setStrokeGray(grey)
        self._canvas.setLineWidth(width_pt)

    def _through(self, points: Sequence[tuple[float, float]]) -> PDFPathObject:
        """Path through points, mm, still open."""
        path = self._canvas.beginPath()
        path.moveTo(*self._at(*points[0]))
        for point in points[1:]:
            path.lineTo(*self._at(*point))
        return path

    def polygon(
        self, points: Sequence[tuple[float, float]], grey: float, edge: float, width_pt: float
    ) -> None:
        """Fill an area with straight sides, and draw its edge.

        Parameters
        ----------
        points : sequence of (x, y), mm
        grey, edge : float
            From 0, black, to 1.
        width_pt : float
            pt, of the edge.
        """
        self._canvas.setFillGray(grey)
        self._stroke(edge, width_pt)
        path = self._through(points)
        path.close()
        self._canvas.drawPath(path, stroke=1, fill=1)

    def circle(
        self, centre: tuple[float, float], radius_mm: float, grey: float, width_pt: float
    ) -> None:
        """Draw a circle.

        Parameters
        ----------
        centre : (x, y), mm
        radius_mm : float
        grey : float
            From 0, black, to 1.
        width_pt : float
            pt.
        """
        self._stroke(grey, width_pt)
        self._canvas.circle(*self._at(*centre), radius_mm * mm)

    def words(
        self,
        words: str,
        x_mm: float,
        y_mm: float,
        size: float,
        *,
        font: str = PLAIN,
        align: str = "left",
        grey: float = 0.0,
        upright: bool = False,
    ) -> None:
        """Write one line with its foot at y.

        Parameters
        ----------
        words : str
        x_mm : float
            mm.
        y_mm : float
            mm.
        size : float
            pt.
        font : str
        align : str
        grey : float
            From 0, black, to 1.
        upright : bool
            Turned, to be read from below.
        """
        self._canvas.setFont(font, size)
        self._canvas.setFillGray(grey)
        draw = {
            "left": self._canvas.drawString,
            "right": self._canvas.drawRightString,
            "centre": self._canvas.drawCentredString,
        }[align]
        if not upright:
            draw(*self._at(x_mm, y_mm), words)
            return
        self._canvas.saveState()
        self._canvas.translate(*self._at(x_mm, y_mm))
        self._canvas.rotate(90)
        draw(0, 0, words)
        self._canvas.restoreState()

    def one_line(
        self,
        words: str,
        box: Box,
        largest: float,
        *,
        font: str = PLAIN,
        grey: float = 0.0,
        align: str = "left",
    ) -> float:
        """Write one line into a box, cut short where it is too long; its height, mm.

        Parameters
        ----------
        words : str
        box : Box
        largest : float
            Size of the letters at most, pt.
        font : str
        grey : float
            From 0, black, to 1.
        align : {"left", "right"}

        Returns
        -------
        float
            Height, mm.
        """
        size = min(largest, box.height_mm * mm / LEADING)
        natural = max(pdfmetrics.stringWidth(words, font, size), 1e-9)
        size = max(SMALLEST_PT, min(size, size * box.width_mm * mm / natural))
        shown = words
        while len(words) > 1 and pdfmetrics.stringWidth(shown, font, size) > box.width_mm * mm:
            words = words[:-1]
            shown = f"{words}…"
        x = box.x_mm + (box.width_mm if align == "right" else 0.0)
        self.words(shown, x, box.y_mm + 0.95 * size / mm, size, font=font, grey=grey, align=align)
        return float(size * LEADING / mm)

    def fitting(
        self, words: str, box: Box, largest: float, *, font: str = PLAIN, least: float = SMALLEST_PT
    ) -> float | None:
        """The largest letters that words fit a box in, pt; None where none are large enough.

        Parameters
        ----------
        words : str
        box : Box
        largest, least : float
            pt.
        font : str

        Returns
        -------
        float or None
        """
        size = largest
        while size >= least - 1e-6:
            lines = lines_of(words, font, size, box.width_mm * mm)
            widest = max(pdfmetrics.stringWidth(line, font, size) for line in lines)
            height = len(lines) * size * LEADING / mm
            if widest <= box.width_mm * mm + 0.01 and height <= box.height_mm + 0.01:
                return size
            size -= 0.1
        return None

    def fitted(
        self,
        words: str,
        box: Box,
        largest: float,
        *,
        font: str = PLAIN,
        grey: float = 0.0,
        file: str | None = None,
        align: str = "left",
        least: float = SMALLEST_PT,
    ) -> float:
        """Write words into a box, as large as fits; the height that they took, mm.

        Parameters
        ----------
        words : str
        box : Box
        largest : float
            Size of the letters at most, pt.
        font : str
        grey : float
            From 0, black, to 1.
        file : str, optional
            What an error names.
        align : str
        least : float
            Size of the letters at least, pt.

        Returns
        -------
        float
            Height, mm.

        Raises
        ------
        InputError
            Where they don't fit at that size.
        """
        size = self.fitting(words, box, largest, font=font, least=least)
        if size is None:
            raise InputError(
                file,
                f"text at {box.x_mm:g}, {box.y_mm:g} mm",
                f"the words don't fit a box of {box.width_mm:g} x {box.height_mm:g} mm in letters "
                f"of {least:g} pt",
                "make it larger",
            )
        lines = lines_of(words, font, size, box.width_mm * mm)
        x = box.x_mm + {"left": 0.0, "centre": box.width_mm / 2, "right": box.width_mm}[align]
        for i, line in enumerate(lines):
            foot = box.y_mm + (i * LEADING + 0.95) * size / mm
            self.words(line, x, foot, size, font=font, grey=grey, align=align)
        return float(len(lines) * size * LEADING / mm)
