"""A drawing in millimetres that paper, page and picture render alike, each in its own way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle
from reportlab.pdfbase.pdfmetrics import stringWidth

from ...calibrate.cards.box import Box
from ...calibrate.cards.printing import BOLD, PLAIN, Page, load_fonts
from ...calibrate.optics.display import hex_code, lab_to_srgb
from ...calibrate.optics.spectra import Array

TYPE_PT = 7.2
"""Size of type on a plate: nothing is smaller."""
MM = 72 / 25.4
"""Points in a millimetre."""
Point = tuple[float, float]


@dataclass(frozen=True)
class Filled:
    """A filled box in a colour; `cut`: no display shows it, so the nearest stands."""

    box: Box
    rgb: tuple[float, float, float]
    cut: bool
    words: str

    @property
    def corner(self) -> float:
        """Side of the corner that is cut off, mm."""
        return min(min(self.box.width_mm, self.box.height_mm) * 0.3, 1.6)


@dataclass(frozen=True)
class Stroke:
    """A line through points, or the area within them where it is filled."""

    points: tuple[Point, ...]
    grey: float
    width_pt: float
    fill: float | None
    name: str


@dataclass(frozen=True)
class Text:
    """Words with their foot at y."""

    x: float
    y: float
    words: str
    size: float
    bold: bool
    align: str
    grey: float
    upright: bool


@dataclass
class Plate:
    """Marks in order, each over those before.

    Attributes
    ----------
    width, height : float
        mm; y leads down.
    """

    width: float
    height: float
    marks: list[Filled | Stroke | Text] = field(default_factory=list)

    def swatch(self, box: Box, lab: Array, words: str = "") -> None:
        """Fill a box with a CIELAB colour."""
        rgb, cut = lab_to_srgb(lab)
        red, green, blue = (float(x) for x in rgb[0])
        self.marks.append(Filled(box, (red, green, blue), bool(cut[0]), words))

    @property
    def cut(self) -> bool:
        """Whether it holds a colour that no display shows."""
        return any(isinstance(mark, Filled) and mark.cut for mark in self.marks)

    def line(
        self, points: Sequence[Point], grey: float = 0.0, width_pt: float = 0.5, name: str = ""
    ) -> None:
        """Draw a line; `name` tells what it shows, as ``band/hue``."""
        self.marks.append(Stroke(tuple(points), grey, width_pt, None, name))

    def area(self, points: Sequence[Point], fill: float, name: str = "") -> None:
        """Fill an area with grey, from 0, black, to 1."""
        self.marks.append(Stroke(tuple(points), fill, 0.0, fill, name))

    def frame(self, box: Box, grey: float = 0.6) -> None:
        """Draw the edge of a box."""
        x, y, w, h = box.x_mm, box.y_mm, box.width_mm, box.height_mm
        self.line([(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)], grey, 0.4)

    def text(
        self, x: float, y: float, words: str, size: float = TYPE_PT, *, bold: bool = False,
        align: str = "left", grey: float = 0.0, upright: bool = False,
    ) -> None:  # fmt: skip
        """Write a line with its foot at y; upright: turned to read from below."""
        if words:
            self.marks.append(Text(x, y, words, size, bold, align, grey, upright))

    # --- renderings ---

    def on_page(self, page: Page, left: float, top: float) -> None:
        """Draw it on a page, its upper left corner there, mm."""
        for mark in self.marks:
            if isinstance(mark, Filled):
                b = mark.box
                page.colour(Box(b.x_mm + left, b.y_mm + top, b.width_mm, b.height_mm), mark.rgb)
                if mark.cut:
                    corner = mark.corner
                    page.colour(Box(b.x_mm + left, b.y_mm + top, corner, corner), (1, 1, 1))
            elif isinstance(mark, Stroke):
                points = [(x + left, y + top) for x, y in mark.points]
                if mark.fill is not None:
                    page.polygon(points, mark.fill, mark.fill, 0.0)
                else:
                    page.polyline(points, mark.grey, mark.width_pt)
            else:
                page.words(
                    mark.words, mark.x + left, mark.y + top, mark.size,
                    font=BOLD if mark.bold else PLAIN, align=mark.align, grey=mark.grey,
                    upright=mark.upright,
                )  # fmt: skip

    def svg(self, label: str) -> str:
        """Return it as an element of a page, its type as wide as it was measured."""
        parts = [
            f'<svg class="plate" viewBox="0 0 {self.width:g} {self.height:g}" role="img" '
            f'aria-label="{escape(label)}">'
        ]
        for mark in self.marks:
            if isinstance(mark, Filled):
                b = mark.box
                said = f' role="img" aria-label="{escape(mark.words)}"' if mark.words else ""
                place = f'x="{b.x_mm:.2f}" y="{b.y_mm:.2f}"'
                size = f'width="{b.width_mm:.2f}" height="{b.height_mm:.2f}"'
                parts.append(f'<rect{said} {place} {size} fill="{hex_code(np.array(mark.rgb))}"/>')
                if mark.cut:
                    corner = mark.corner
                    parts.append(
                        f'<rect {place} width="{corner:.2f}" height="{corner:.2f}" fill="#fff"/>'
                    )
            elif isinstance(mark, Stroke):
                parts.append(_stroke(mark))
            else:
                parts.append(_text(mark))
        return "".join([*parts, "</svg>"])

    def on_axes(self, ax: Axes) -> None:
        """Draw it on axes, whose limits become its own."""
        for mark in self.marks:
            if isinstance(mark, Filled):
                b = mark.box
                place = (b.x_mm, b.y_mm)
                ax.add_patch(Rectangle(place, b.width_mm, b.height_mm, fc=mark.rgb, ec="none"))
                if mark.cut:
                    corner = mark.corner
                    ax.add_patch(Rectangle(place, corner, corner, fc="white", ec="none"))
            elif isinstance(mark, Stroke) and mark.fill is not None:
                ax.add_patch(Polygon(mark.points, fc=str(mark.fill), ec="none", gid=mark.name))
            elif isinstance(mark, Stroke):
                x, y = zip(*mark.points, strict=True)
                ax.plot(x, y, color=str(mark.grey), lw=mark.width_pt, gid=mark.name)
            else:
                ax.text(
                    mark.x, mark.y, mark.words, fontsize=mark.size, color=str(mark.grey),
                    ha="center" if mark.align == "centre" else mark.align, va="baseline",
                    fontweight="bold" if mark.bold else "normal",
                    rotation=90 if mark.upright else 0,
                )  # fmt: skip
        ax.set_xlim(0, self.width)
        ax.set_ylim(self.height, 0)
        ax.axis("off")


def width_mm(words: str, size: float = TYPE_PT, bold: bool = False) -> float:
    """Width of words."""
    load_fonts()
    return float(stringWidth(words, BOLD if bold else PLAIN, size)) / MM


def fitting(room: float, *choices: str, size: float = TYPE_PT) -> str:
    """Return the first of some wordings that a room holds; none of them is cut short."""
    return next((words for words in choices if width_mm(words, size) <= room), "")


def _stroke(mark: Stroke) -> str:
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in mark.points)
    kind = f' class="{mark.name.replace("/", " ")}"' if mark.name else ""
    grey = "#" + 3 * f"{round(255 * mark.grey):02x}"
    if mark.fill is not None:
        return f'<polygon{kind} points="{points}" fill="{grey}"/>'
    wide = mark.width_pt / MM
    return (
        f'<polyline{kind} points="{points}" fill="none" stroke="{grey}" stroke-width="{wide:.2f}"/>'
    )


def _text(mark: Text) -> str:
    anchor = {"left": "start", "centre": "middle", "right": "end"}[mark.align]
    grey = f"{round(255 * mark.grey):02x}"
    turn = f' transform="rotate(-90 {mark.x:.2f} {mark.y:.2f})"' if mark.upright else ""
    bold = ' font-weight="bold"' if mark.bold else ""
    wide = width_mm(mark.words, mark.size, mark.bold)
    return (
        f'<text x="{mark.x:.2f}" y="{mark.y:.2f}" font-size="{mark.size / MM:.2f}"{bold} '
        f'text-anchor="{anchor}" fill="#{grey * 3}" textLength="{wide:.2f}" '
        f'lengthAdjust="spacingAndGlyphs"{turn}>{escape(mark.words)}</text>'
    )
