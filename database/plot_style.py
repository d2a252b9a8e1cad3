"""What all pictures share: paper and ink, marks, labels that keep clear of each other, files."""

from __future__ import annotations

import contextlib
import io
import itertools
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Literal

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from matplotlib.transforms import Bbox, offset_copy

from ..calibrate.errors import InputError
from ..calibrate.optics.spectra import Array

PAPER, MAT, INK, SOFT, FAINT = "#ffffff", "#777777", "#1f1f1f", "#636363", "#d0d0d0"
"""Greys only, so that nothing tints the colours beside it; the mat has L* 50."""
TITLE, TEXT, SMALL = 15.0, 9.0, 7.5
"""Sizes of type, points."""
DPI = 200
SUFFIXES = (".png", ".svg")

# Where a label may stand around its point, as a direction, in order of liking.
_AROUND = [(np.cos(a), np.sin(a)) for a in np.radians([35, 325, 145, 215, 90, 270, 0, 180])]


def new_figure(width: float, height: float) -> Figure:
    """Make an empty figure, sizes in inches, that no global state knows of."""
    figure = Figure(figsize=(width, height), dpi=DPI, facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def axes_or_new(ax: Axes | None, width: float, height: float) -> Axes:
    """Return the axes given, or those of a new figure."""
    if ax is not None:
        return ax
    return new_figure(width, height).add_subplot()


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
    ax: Axes,
    points: Array,
    texts: Sequence[str],
    avoid: Array | None = None,
    away: float = 9.0,
) -> list[Annotation]:
    """Label points so that no label touches another, a point, or the edge.

    The axes must have their final place and limits. The first and the last are placed first and
    may stand off with a leader line; any other that finds no room beside its point is left out.

    Parameters
    ----------
    points : (N, 2) array
    texts : sequence of N str
    avoid : (M, 2) array, optional
        Other points to keep clear of, such as those of a curve.
    away : float
        Distance from a point to its label, in points of type.
    """
    figure = ax.get_figure(root=True)
    assert figure is not None
    renderer = FigureCanvasAgg.get_renderer(figure.canvas)  # type: ignore[arg-type]
    ax.apply_aspect()
    unit = figure.dpi / 72
    marks = np.concatenate([points, points[:0] if avoid is None else avoid])
    marks = ax.transData.transform(marks[np.isfinite(marks).all(axis=1)])
    inside = ax.get_window_extent(renderer)
    taken: list[Bbox] = []
    placed = []
    order = list(dict.fromkeys([0, len(points) - 1, *range(len(points))])) if len(points) else []
    for i in order:
        if not np.isfinite(points[i]).all():
            continue
        reaches = (1.0, 1.8, 2.8) if i in (0, len(points) - 1) else (1.0,)
        for reach, (dx, dy) in itertools.product(reaches, _AROUND):
            label = ax.annotate(
                texts[i],
                points[i],
                xytext=(dx * away * reach, dy * away * reach),
                textcoords="offset points",
                ha="left" if dx > 0.3 else "right" if dx < -0.3 else "center",
                va="bottom" if dy > 0.3 else "top" if dy < -0.3 else "center",
                fontsize=SMALL,
                color=INK,
                zorder=7,
                arrowprops=(
                    {"arrowstyle": "-", "lw": 0.4, "color": SOFT, "shrinkA": 0, "shrinkB": 3}
                    if reach > 1
                    else None
                ),
            )
            # The text alone: with its leader line the box would cover the point itself.
            box = _text_box(label, renderer).padded(1.5 * unit)
            clear = (
                inside.padded(4 * unit).contains(box.x0, box.y0)
                and inside.padded(4 * unit).contains(box.x1, box.y1)
                and not any(box.overlaps(other) for other in taken)
                and not _holds(box.padded(1.5 * unit), marks)
            )
            if clear:
                taken.append(box)
                placed.append(label)
                break
            label.remove()
    return placed


def _text_box(label: Annotation, renderer: object) -> Bbox:
    label.update_positions(renderer)  # type: ignore[arg-type]
    return Text.get_window_extent(label, renderer)  # type: ignore[arg-type]


def _holds(box: Bbox, marks: Array) -> bool:
    x, y = marks[:, 0], marks[:, 1]
    return bool(((x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)).any())


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
            path, None, "expected a file that ends in .png or .svg", "give one of these"
        )
    return path


def save(figure: Figure, path: str | Path) -> Path:
    """Write a picture as PNG (200 dpi) or SVG by its suffix, whole or not at all.

    The same figure gives the same bytes.

    Raises
    ------
    InputError
        For another suffix, or a place that can't be written.
    """
    path = check_suffix(path)
    kind: Literal["png", "svg"] = "png" if path.suffix.lower() == ".png" else "svg"
    nothing = {"Software": None} if kind == "png" else {"Date": None, "Creator": None}
    held = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "tintladder"}):
        figure.savefig(held, format=kind, dpi=DPI, metadata=nothing, facecolor=PAPER)
    part = path.with_name(f".{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(held.getvalue())
        part.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise InputError(
            path, None, f"can't be written ({error.strerror})", "choose another place with --out"
        ) from error
    return path
