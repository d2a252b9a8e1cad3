"""What all pictures share: paper and ink, marks, labels that keep clear of each other, files."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation
from matplotlib.transforms import offset_copy
from PIL.PngImagePlugin import PngInfo

from ...calibrate.errors import InputError
from ...calibrate.optics.output_intent import with_output_intent
from ...calibrate.optics.spectra import Array
from ..common.files import write_whole
from ..common.remedies import StudioDo
from .label_places import label_places

PAPER, MAT, INK, SOFT, FAINT = "#ffffff", "#777777", "#1f1f1f", "#636363", "#d0d0d0"
"""Greys only, so that nothing tints the colours beside it; the mat has L* 50."""
TITLE, TEXT, SMALL = 13.0, 8.0, 7.2
"""Sizes of type, points."""
WIDE = 7.3
"""Width of a whole picture, inches: it prints on A4 and letter as large as it is drawn."""
TALLEST = 10.0
"""Height of a picture, inches, that prints on A4 as large as it is drawn, its record below."""
DPI = 300
SUFFIXES = (".png", ".svg", ".pdf")
_LINE = 1.35 * SMALL / 72
"""Height of a line of the record, inches."""
_ROW = 1.3 * TEXT / 72
"""Height of the lowest row that has a name, inches."""


_RELATIVE = b"\x01"
"""Rendering intent of a PNG's sRGB chunk: relative colorimetric."""


def new_figure(width: float, height: float) -> Figure:
    """Make an empty figure, sizes in inches, that no global state knows of."""
    figure = Figure(figsize=(width, height), dpi=DPI, facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def tall_of(head: float, row: float, rows: int) -> float:
    """Height of a picture of rows, inches: they grow lower rather than leave A4, as type allows.

    Parameters
    ----------
    head : float
        Height of all but the rows.
    row : float
        Height of a row where there is room.
    """
    return head + min(row * rows, max(TALLEST - head, _ROW * rows))


def axes_or_new(ax: Axes | None, width: float, height: float) -> Axes:
    """Return the axes given, or those of a new figure."""
    if ax is not None:
        return ax
    return new_figure(width, height).add_subplot()


def signed(figure: Figure, record: Sequence[str]) -> Figure:
    """Print what a picture rests on below it, which grows by its lines, and keep it for the file.

    Parameters
    ----------
    record : sequence of str
        `Record.lines`; sentences of the same facts where no paints are shown.
    """
    wide, tall = figure.get_size_inches()
    # Letters of this face are half as wide as they are tall, near enough to break lines by.
    room = int((wide - 0.5) * 72 / (0.53 * SMALL))
    lines = [line for said in record for line in textwrap.wrap(said, room)]
    more = _LINE * len(lines) + 0.16
    share = more / (tall + more)
    figure.set_size_inches(wide, tall + more)
    if figure.get_layout_engine() is not None:
        figure.set_layout_engine("tight", rect=(0, share, 1, 1))
    else:
        for ax in figure.axes:
            left, low, width, height = ax.get_position(original=True).bounds
            ax.set_position((left, share + low * (1 - share), width, height * (1 - share)))
        for text in figure.texts:
            text.set_y(share + text.get_position()[1] * (1 - share))
    figure.text(
        0.25 / wide, 0.10 / (tall + more), "\n".join(lines), fontsize=SMALL, color=SOFT,
        va="bottom", linespacing=1.3, gid="record",
    )  # fmt: skip
    figure.set_label(" ".join(record))
    return figure


def whole(ax: Axes, record: Sequence[str]) -> Figure:
    """Return the figure that axes are on, its parts moved apart, with its record below."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    figure.set_layout_engine("tight")
    return signed(figure, record)


def dress(ax: Axes, title: str, x_label: str = "", y_label: str = "", pad: float = 8) -> None:
    """Give axes the common look: a title at the left, thin grey lines, no box."""
    ax.set_title(title, loc="left", fontsize=TEXT, color=INK, fontweight="bold", pad=pad)
    ax.set_xlabel(x_label, fontsize=TEXT, color=SOFT)
    ax.set_ylabel(y_label, fontsize=TEXT, color=SOFT)
    ax.tick_params(labelsize=SMALL, colors=SOFT, width=0.6, length=3)
    for side, spine in ax.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(SOFT)
        spine.set_linewidth(0.6)


def foot(ax: Axes, said: str, rows: Iterable[str] = ()) -> None:
    """Write below axes, in lines that end within a whole picture.

    Parameters
    ----------
    said : str
        A line feed begins a new line anyway.
    rows : iterable of str
        Names that stand left of the axes.
    """
    figure = ax.get_figure(root=True)
    assert figure is not None
    names = 0.56 * TEXT * max(map(len, rows), default=6)
    letters = int((72 * figure.get_size_inches()[0] - names - 24) / (0.53 * SMALL))
    lines = [line for part in said.splitlines() for line in textwrap.wrap(part, letters)]
    ax.annotate(
        "\n".join(lines), (0, 0), (0, -34), xycoords="axes fraction",
        textcoords="offset points", fontsize=SMALL, color=SOFT, va="top",
    )  # fmt: skip


def flag_mark(ax: Axes, x: float, y: float, size: float = 9.0, beside: float = 0.0) -> None:
    """Mark a flagged patch: a light triangle with a dark rim, seen on any colour.

    Parameters
    ----------
    size, beside : float
        Of the mark, and how far left of and above the point it stands, in points of type.
    """
    figure = ax.get_figure(root=True)
    at = offset_copy(ax.transData, figure, -beside, beside, units="points")
    ax.plot(
        x, y, "^", ms=size, mfc=PAPER, mec=INK, mew=0.9, zorder=8, clip_on=False, gid="flag",
        transform=at,
    )  # fmt: skip


def gamut_mark(ax: Axes, x: float, y: float, size: float = 5.0) -> None:
    """Mark a colour that the display can't show: a light ring with a dark rim."""
    for width, colour in ((2.4, INK), (1.1, PAPER)):
        ax.plot(
            x, y, "o", ms=size, mfc="none", mec=colour, mew=width, zorder=8, clip_on=False,
            gid="gamut",
        )  # fmt: skip


def place_labels(
    ax: Axes, points: Array, texts: Sequence[str], away: float = 9.0, leader: str = SOFT
) -> list[Annotation]:
    """Label points so that no label touches another, a mark, or the edge; a line only at need.

    All lines and marks that labels are to keep clear of must be drawn, and the axes have their
    final place and limits; a cloud of dots counts for nothing. A label that finds no room beside
    its point stands off with a leader line.

    Parameters
    ----------
    points : (N, 2) array
    texts : sequence of N str
    away : float
        Distance from a point to its label, in points of type.
    leader : str
        Colour of leader lines.
    """
    figure = ax.get_figure(root=True)
    assert figure is not None
    renderer = FigureCanvasAgg.get_renderer(figure.canvas)  # type: ignore[arg-type]
    ax.apply_aspect()
    unit = figure.dpi / 72
    at = ax.transData.transform(np.asarray(points, dtype=float).reshape(-1, 2))
    marks, lines = _drawn(ax, unit)
    own = np.column_stack([at, np.full(len(at), 3.5 * unit)])
    places = label_places(
        at,
        np.array([_size(ax, text, renderer) for text in texts]),
        ax.get_window_extent(renderer).padded(-2 * unit),
        np.concatenate([own[np.isfinite(own).all(axis=1)], marks]),
        lines,
        away=away * unit,
        gap=1.5 * unit,
    )
    placed = []
    for text, point, shown, place in zip(texts, points, at, places, strict=True):
        if place is None:
            continue
        label = ax.annotate(
            text,
            point,
            xytext=tuple((np.array(place.box[:2]) - shown) / unit),
            textcoords="offset points",
            ha="left",
            va="bottom",
            fontsize=SMALL,
            color=INK,
            zorder=7,
        )
        placed.append(label)
        if place.led:
            end = (np.array(place.nearest(*shown)) - shown) / unit
            ax.annotate(
                "",
                point,
                xytext=tuple(end),
                textcoords="offset points",
                zorder=6,
                gid="leader",
                arrowprops={
                    "arrowstyle": "-", "lw": 0.5, "color": leader, "shrinkA": 0, "shrinkB": 3
                },
            )  # fmt: skip
    return placed


def _size(ax: Axes, text: str, renderer: object) -> tuple[float, float]:
    """Width and height of a label, pixels."""
    trial = ax.text(0, 0, text, fontsize=SMALL)
    box = trial.get_window_extent(renderer)  # type: ignore[arg-type]
    trial.remove()
    return box.width, box.height


def _drawn(ax: Axes, unit: float) -> tuple[Array, list[Array]]:
    """Marks of axes with their half widths, (M, 3), and their lines; pixels."""
    marks, lines = [np.zeros((0, 3))], []
    for line in ax.lines:
        at = line.get_transform().transform(line.get_xydata())
        at = at[np.isfinite(at).all(axis=1)]
        if line.get_linestyle() != "None":
            lines.append(at)
        if line.get_marker() not in ("", " ", "None", None):
            half = (line.get_markersize() + line.get_markeredgewidth()) / 2 * unit
            marks.append(np.column_stack([at, np.full(len(at), half)]))
    return np.concatenate(marks), lines


def spread(wanted: Iterable[float], gap: float, low: float, high: float) -> list[float]:
    """Move positions apart to at least `gap`, within limits, each as little as can be."""
    values = np.asarray(list(wanted), dtype=float)
    order = np.argsort(values, kind="stable")
    out = values[order].copy()
    for i in range(1, out.size):
        out[i] = max(out[i], out[i - 1] + gap)
    if out.size and out[-1] > high:
        out[-1] = high
        for i in range(out.size - 2, -1, -1):
            out[i] = min(out[i], out[i + 1] - gap)
    back = np.empty_like(out)
    back[order] = np.maximum(out, low)
    return [float(v) for v in back]


def check_suffix(path: str | Path) -> Path:
    """Return a path that a picture can be written to.

    Raises
    ------
    InputError
        For a suffix other than .png and .svg.
    """
    path = Path(path)
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(
            path, None, "expected a file that ends in .png, .svg or .pdf", "give one of these"
        )
    return path


def png_of(figure: Figure, dpi: float = DPI) -> bytes:
    """Return a picture as PNG that says its colours are sRGB's, with the record it was signed by.

    The same figure gives the same bytes.
    """
    held, tagged = io.BytesIO(), PngInfo()
    tagged.add(b"sRGB", _RELATIVE)
    tagged.add_itxt("Description", str(figure.get_label()))
    figure.savefig(held, format="png", dpi=dpi, facecolor=PAPER, pil_kwargs={"pnginfo": tagged})
    return held.getvalue()


def save(figure: Figure, path: str | Path) -> Path:
    """Write a picture as PNG (300 dpi), SVG or PDF by its suffix, whole or not at all.

    As `png_of`; a PDF says which colours it holds too.

    Raises
    ------
    InputError
        For another suffix, or a place that can't be written.
    """
    path = check_suffix(path)
    suffix, record, held = path.suffix.lower(), str(figure.get_label()), io.BytesIO()
    said: dict[str, str | None] = {"Creator": None}
    with mpl.rc_context({"svg.hashsalt": "tintladder", "pdf.fonttype": 42}):
        if suffix == ".png":
            made = png_of(figure)
        elif suffix == ".svg":
            said |= {"Date": None, "Description": record}
            figure.savefig(held, format="svg", dpi=DPI, metadata=said, facecolor=PAPER)
            made = held.getvalue()
        else:
            said |= {"CreationDate": None, "Producer": None, "Subject": record}
            figure.savefig(held, format="pdf", dpi=DPI, metadata=said, facecolor=PAPER)
            made = with_output_intent(held.getvalue())
    write_whole({path: made}, StudioDo.CHOOSE_PLACE())
    return path
