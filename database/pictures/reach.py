"""A picture of what a set of tubes can make: all of it, and lightness by lightness."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ...calibrate.optics.display import lab_to_srgb
from ...calibrate.optics.spectra import Array
from ..mixing.gamut import Gamut, outline
from ..mixing.viewing import AS_READ, Viewing
from .style import (
    FAINT,
    INK,
    MAT,
    PAPER,
    SMALL,
    SOFT,
    TITLE,
    WIDE,
    axes_or_new,
    dress,
    new_figure,
    place_labels,
)

_STEPS = (25.0, 45.0, 65.0, 85.0)
"""Lightnesses that have a picture of their own."""
_HALF = 5.0
_CROWD = 6000
"""Dots drawn at most: more only cover each other."""
_NAMED = 12
"""So many tubes are named; of more the farthest out in each of as many parts of the hue circle."""


def reach_figure(
    drawn: Gamut,
    names: Sequence[str],
    target: Array | None = None,
    title: str = "What these tubes can make",
    viewing: Viewing = AS_READ,
) -> Figure:
    """Show the colours of a set of tubes: all of them, and at four lightnesses.

    Parameters
    ----------
    names : sequence of str
        Of the tubes, as many as the gamut was drawn from.
    target : (3,) array, optional
        CIELAB of a colour to mark.
    viewing : Viewing
        How the mixes were looked at.
    """
    figure = new_figure(WIDE, 4.9)
    figure.text(0.03, 0.955, title, fontsize=TITLE, color=INK, fontweight="bold", va="center")
    limit = _limit(drawn, target)
    whole = figure.add_axes((0.085, 0.15, 0.475, 0.708))
    plot_reach(drawn, names, target, whole, limit)
    for i, lightness in enumerate(_STEPS):
        left, bottom = 0.635 + 0.195 * (i % 2), 0.59 - 0.46 * (i // 2)
        ax = figure.add_axes((left, bottom, 0.145, 0.216))
        _slice(drawn, lightness, target, ax, limit)
    figure.text(
        0.065, 0.025,
        "Mixes of up to three tubes, as predicted, each dot in its colour as near as a display "
        f"comes; the mat is a grey of L* 50.\nThey are shown {viewing.words}.",
        fontsize=SMALL, color=SOFT,
    )  # fmt: skip
    return figure


def plot_reach(
    drawn: Gamut,
    names: Sequence[str],
    target: Array | None = None,
    ax: Axes | None = None,
    limit: float | None = None,
) -> Axes:
    """Show all colours of a set of tubes by a* and b*, each mix a dot in its own colour.

    Parameters
    ----------
    names : sequence of str
        Of the tubes.
    target : (3,) array, optional
        CIELAB of a colour to mark.
    ax : Axes, optional
    limit : float, optional
        Of both axes.
    """
    ax = axes_or_new(ax, 6.5, 6.5)
    limit = limit or _limit(drawn, target)
    _field(ax, limit)
    dress(ax, "All, whatever their lightness", "a*  (green to red)", "b*  (blue to yellow)")
    # The lighter lie on top, as one sees a heap of colours from above.
    dots = drawn.colours[np.argsort(drawn.colours[:, 0], kind="stable")]
    _dots(ax, dots[:: max(1, len(dots) // _CROWD)], 7.0)
    _outline(ax, drawn)
    tubes = drawn.colours[: len(names)]
    colours = lab_to_srgb(tubes)[0]
    ax.scatter(
        tubes[:, 1], tubes[:, 2], s=46, c=colours, edgecolors=PAPER, linewidths=1.2, zorder=5,
        gid="tubes",
    )  # fmt: skip
    _mark(ax, target)
    some = _named(tubes[:, 1:])
    for label in place_labels(ax, tubes[some, 1:], [names[i] for i in some], leader=PAPER):
        label.set_bbox({"fc": PAPER, "ec": "none", "pad": 1.0, "alpha": 0.85})
    return ax


def _named(spots: Array) -> list[int]:
    """Which tubes are named: all, or of many those that lie farthest out, each place once."""
    if len(spots) <= _NAMED:
        return list(range(len(spots)))
    hue = np.degrees(np.arctan2(spots[:, 1], spots[:, 0])) // (360 / _NAMED)
    far = np.hypot(spots[:, 0], spots[:, 1])
    return [int(max(np.flatnonzero(hue == each), key=lambda i: far[i])) for each in np.unique(hue)]


def _slice(drawn: Gamut, lightness: float, target: Array | None, ax: Axes, limit: float) -> None:
    _field(ax, limit)
    dress(ax, f"L* {lightness:.0f}")
    here = np.abs(drawn.colours[:, 0] - lightness) <= _HALF
    # A light rim, for in a grey print dots of one lightness are lost on a mat of that lightness.
    _, a, b = drawn.colours[here].T
    ax.scatter(a, b, s=18.0, c=PAPER, linewidths=0, zorder=1.5, rasterized=True)
    _dots(ax, drawn.colours[here], 9.0)
    if target is not None and abs(target[0] - lightness) <= 2 * _HALF:
        _mark(ax, target)


def _limit(drawn: Gamut, target: Array | None) -> float:
    far = float(np.abs(drawn.colours[:, 1:]).max())
    if target is not None:
        far = max(far, float(np.abs(target[1:]).max()))
    return 10 * np.ceil(1.05 * far / 10)


def _field(ax: Axes, limit: float) -> None:
    ax.set_facecolor(MAT)
    ax.set_xlim(-limit, limit)
    ax.set_ylim(-limit, limit)
    ax.set_aspect("equal")
    for line in (ax.axhline, ax.axvline):
        line(0, color=FAINT, lw=0.5, zorder=1)


def _dots(ax: Axes, colours: Array, size: float) -> None:
    ax.scatter(
        colours[:, 1], colours[:, 2], s=size, c=lab_to_srgb(colours)[0], linewidths=0, zorder=2,
        rasterized=True, gid="mixes",
    )  # fmt: skip


def _outline(ax: Axes, drawn: Gamut) -> None:
    # Dark beside light, so that it is seen on any colour.
    edges = outline(drawn)
    for width, colour in ((2.2, INK), (0.9, PAPER)):
        ax.plot(*edges.T, color=colour, lw=width, zorder=3, gid="skin")


def _mark(ax: Axes, target: Array | None) -> None:
    if target is not None:
        for width, colour in ((3.2, INK), (1.4, PAPER)):
            ax.plot(target[1], target[2], "+", ms=13, color=colour, mew=width, zorder=6)
