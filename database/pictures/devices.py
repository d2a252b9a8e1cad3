"""A picture of an instrument over time: what its tiles read, and how its repeats scatter."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse

from ...calibrate.instrument.agreement import Scatter
from ...calibrate.instrument.tiles import TRAP
from ...calibrate.optics.colour import D50
from ..cards.device_report import InstrumentReport
from .style import (
    FAINT,
    INK,
    PAPER,
    SMALL,
    SOFT,
    TEXT,
    TITLE,
    WIDE,
    axes_or_new,
    dress,
    new_figure,
    signed,
)

_MARKS = ("o", "s", "D", "^", "v", "P", "X", "*")
_SHORTEST = 10.0
"""Days that the picture shows at least."""
_INSIDE = 5.991
"""Chi-square of two degrees of freedom that 95 % stay below (any statistical table)."""


def instrument_figure(report: InstrumentReport) -> Figure:
    """Show how the tiles of an instrument moved, and how its repeats scatter."""
    figure = new_figure(WIDE, 3.6)
    for y, words, size, colour, weight in (
        (0.965, report.name, TITLE, INK, "bold"),
        (0.875, f"{report.readings} readings in {report.sessions} sessions", TEXT, SOFT, "normal"),
    ):
        figure.text(0.045, y, words, fontsize=size, color=colour, fontweight=weight, va="top")
    plot_tiles(report, figure.add_axes((0.075, 0.14, 0.50, 0.62)))
    plot_scatter(report, figure.add_axes((0.68, 0.14, 0.28, 0.62)))
    dated = f", {report.first[:10]} to {report.last[:10]}" if report.first else ""
    device = ", ".join(filter(None, (report.name, report.serial, report.optics)))
    rests = (
        f"Readings that the studio keeps{dated}; levels: mean reflectance; a* and b* under {D50}; "
        "ellipses: 95 %."
    )
    return signed(figure, (f"{device}.", rests))


def plot_tiles(report: InstrumentReport, ax: Axes | None = None) -> Axes:
    """Show each tile's level against its first reading, in per cent, over time.

    The black trap is left out: of next to nought a share means nothing.
    """
    ax = axes_or_new(ax, 6, 4)
    dress(ax, "What its tiles read, against the first time", "", "change of level, %")
    tiles = [tile for tile in report.tiles if not tile.name.startswith(TRAP)]
    ax.axhline(0, color=FAINT, lw=0.8, zorder=0)
    for i, tile in enumerate(tiles):
        when = date2num([datetime.fromisoformat(date).replace(tzinfo=None) for date in tile.dates])
        change = 100 * (tile.level / tile.level[0] - 1)
        moments = np.unique(when)
        # Several readings of one moment, or of one day without an hour, have no order to show.
        mean = [change[when == moment].mean() for moment in moments]
        ax.plot(moments, mean, lw=0.7, color=SOFT, zorder=1)
        ax.plot(
            when, change, ls="", marker=_MARKS[i % len(_MARKS)], ms=4.5,
            mfc=INK if i % 2 == 0 else PAPER, mec=INK, mew=0.8, label=tile.name,
        )  # fmt: skip
    if not tiles:
        _nothing(ax, "no tile was read with it yet")
        return ax
    low, high = ax.get_ylim()
    middle, half = (low + high) / 2, max((high - low) / 2, 0.25)
    ax.set_ylim(middle - half, middle + half)
    ax.xaxis_date()
    first, last = ax.get_xlim()
    if last - first < _SHORTEST:
        ax.set_xlim((first + last - _SHORTEST) / 2, (first + last + _SHORTEST) / 2)
    locator = AutoDateLocator(minticks=3)
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(ConciseDateFormatter(locator))
    ax.xaxis.get_offset_text().set(fontsize=SMALL, color=SOFT)
    ax.legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=4, frameon=False, fontsize=SMALL,
        labelcolor=INK,
    )  # fmt: skip
    return ax


def plot_scatter(report: InstrumentReport, ax: Axes | None = None) -> Axes:
    """Show the ellipses that hold 95 % of readings in a* and b*: of repeats, and over sessions."""
    ax = axes_or_new(ax, 4, 4)
    dress(ax, "How far readings of one patch lie apart", "Δa*", "Δb*")
    drawn = [
        (found, words, style)
        for found, words, style in (
            (report.repeatability, "repeats", "-"),
            (report.reproducibility, "sessions", (0, (4, 2))),
        )
        if found is not None
    ]
    if not drawn:
        _nothing(ax, "no patch was read twice")
        return ax
    reach = 0.05
    for found, words, style in drawn:
        ellipse, size = _ellipse(found)
        ellipse.set(fill=False, edgecolor=INK, linewidth=1.0, linestyle=style, label=words)
        ax.add_patch(ellipse)
        reach = max(reach, size)
    ax.set_xlim(-1.2 * reach, 1.2 * reach)
    ax.set_ylim(-1.2 * reach, 1.2 * reach)
    ax.set_aspect("equal", adjustable="box")
    ax.axhline(0, color=FAINT, lw=0.6, zorder=0)
    ax.axvline(0, color=FAINT, lw=0.6, zorder=0)
    ax.legend(
        loc="upper left", bbox_to_anchor=(0.0, 1.0), frameon=False, fontsize=SMALL, labelcolor=INK
    )
    return ax


def _ellipse(found: Scatter) -> tuple[Ellipse, float]:
    """The ellipse of a* and b* that 95 % stay within, and its half-length."""
    values, vectors = np.linalg.eigh(found.covariance[1:, 1:])
    half = np.sqrt(_INSIDE * np.maximum(values, 0))
    angle = float(np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1])))
    return Ellipse((0, 0), 2 * half[1], 2 * half[0], angle=angle), float(half[1])


def _nothing(ax: Axes, words: str) -> None:
    ax.set_xticks([])
    ax.set_yticks([])
    ax.text(0.5, 0.5, words, transform=ax.transAxes, ha="center", fontsize=SMALL, color=SOFT)
