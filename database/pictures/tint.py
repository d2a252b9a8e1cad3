"""Pictures of how a paint tints: the strip of its ladder, and its path in CIELAB."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from ...calibrate.optics.colour import chroma_hue, lab
from ...calibrate.optics.display import srgb
from ...calibrate.optics.spectra import Array
from ..common.words import few
from ..mixing.ladder import Ladder, TintPath
from .style import (
    FAINT,
    INK,
    MAT,
    PAPER,
    SMALL,
    SOFT,
    TEXT,
    axes_or_new,
    dress,
    flag_mark,
    gamut_mark,
    place_labels,
)

_GAP = 0.18
"""Height of the mat between bands, a swatch being 1."""
_EDGE = 0.09
"""Width of the mat around the swatches, a swatch being 1; its height there is twice that."""


_ROOM = 105
"""Letters in a line below the strip."""


def _seen(steps: Ladder) -> str:
    """What a ladder's own colours are called."""
    return "scanned" if steps.scanned else "measured"


def plot_strip(steps: Ladder, path: TintPath | None, ax: Axes | None = None) -> Axes:
    """Show the ladder's colours as they look, measured above predicted, on a grey mat.

    A band over white and, where it was read, one over black; the white itself at the end. Light is
    D50, adapted to the display (sRGB). A ring marks a colour that the display can't show, a
    triangle a flagged patch, whose flag stands below.

    Parameters
    ----------
    path : TintPath or None
        For the white at the end; None leaves it out.
    ax : Axes, optional
    """
    ax = axes_or_new(ax, 11, 3)
    count = len(steps.labels)
    top = 0.0
    said: dict[str, list[str]] = {}
    cut = False
    for over in steps.substrates:
        for row, (kind, values) in enumerate(
            ((_seen(steps), steps.measured[over]), ("predicted", steps.fitted[over]))
        ):
            colours, outside = srgb(values, steps.wavelengths)
            read = ~np.isnan(values).all(axis=1)
            y = top - row - 1
            for i in np.flatnonzero(read).tolist():
                cut |= _swatch(ax, i, y, colours[i], bool(outside[i]), f"{kind}/{over}")
            ax.text(-0.12, y + 0.5, kind, ha="right", va="center", fontsize=SMALL, color=INK)
        ax.text(-1.42, top - 1, f"over\n{over}", ha="left", va="center", fontsize=TEXT, color=INK)
        for i, words in enumerate(steps.flags[over]):
            if words:
                flag_mark(ax, i + 0.86, top - 0.24)
                said.setdefault(words, []).append(f"{steps.labels[i].splitlines()[0]} over {over}")
        top -= 2 + _GAP
    bottom = top + _GAP
    labels = list(steps.labels)
    if path is not None and steps.white is not None:
        colour, outside = srgb(path.reflectance[-1:], steps.wavelengths)
        cut |= _swatch(ax, count + _EDGE, bottom, colour[0], bool(outside[0]), "white", -bottom)
        labels.append(f"{steps.white},\npredicted")
    if not labels:
        ax.text(0, 0.4, "no patch of it alone was read", va="center", fontsize=TEXT, color=INK)
    reader = "scanner" if steps.scanned else "instrument"
    lines = [f"as the {reader} reads them, not as the eye sees them"] if labels else []
    lines += [f"▲ {words}: {few(where, 5)}" for words, where in said.items()]
    if cut:
        lines.append("◎ a display can't show this colour: the nearest is shown")
    lines = [part for line in lines for part in textwrap.wrap(line, _ROOM)]
    _mat(ax, labels, count, bottom, lines)
    if steps.white is not None:
        ax.text(
            -1.42, 3 * _EDGE, "white to colour", ha="left", va="bottom", fontsize=SMALL, color=SOFT
        )
    return ax


def _mat(ax: Axes, labels: Sequence[str], count: int, bottom: float, lines: Sequence[str]) -> None:
    """Lay the mat under the swatches, with their labels above and the notes below it."""
    for i, text in enumerate(labels):
        ax.text(
            i + 0.5 + (_EDGE if i == count else 0.0),
            3 * _EDGE,
            text,
            ha="center",
            va="bottom",
            fontsize=TEXT,
            color=INK,
            linespacing=1.1,
        )
    ax.text(
        0, bottom - 4 * _EDGE, "\n".join(lines), ha="left", va="top", fontsize=SMALL, color=INK,
        linespacing=1.4,
    )  # fmt: skip
    ax.add_patch(
        Rectangle(
            (-_EDGE, bottom - 2 * _EDGE),
            len(labels) + (3 if len(labels) > count else 2) * _EDGE,
            4 * _EDGE - bottom,
            fc=MAT,
            ec="none",
            zorder=0,
            clip_on=False,
        )
    )
    ax.set_xlim(-1.45, max(len(labels), 7) + 2 * _EDGE)
    ax.set_ylim(bottom - 0.3 - 0.35 * len(lines), 1.0)
    ax.axis("off")


def _swatch(
    ax: Axes, x: float, y: float, rgb: Array, outside: bool, gid: str, height: float = 1.0
) -> bool:
    """Paint one swatch, hatched where its colour isn't known; return whether it was cut."""
    known = bool(np.isfinite(rgb).all())
    ax.add_patch(
        Rectangle(
            (x, y),
            1.0,
            height,
            ec="none" if known else PAPER,
            lw=0,
            gid=gid,
            zorder=2,
            fc=tuple(rgb) if known else MAT,
            hatch=None if known else "///",
        )
    )
    if known and outside:
        gamut_mark(ax, x + 0.12, y + height / 2)
    return known and outside


def plot_hue_path(steps: Ladder, path: TintPath | None, ax: Axes | None = None) -> Axes:
    """Show the path in the a*b* plane, seen from above: hue is the direction, chroma the distance.

    Steps read over white as discs of their own colour, over black as small squares; a cross is what
    is predicted over white of films as painted, the line of films thick enough to hide.
    """
    ax = axes_or_new(ax, 5, 5)
    dress(ax, "Hue, seen from above", "a*  green to red", "b*  blue to yellow")
    ax.axhline(0, color=FAINT, lw=0.8, zorder=0)
    ax.axvline(0, color=FAINT, lw=0.8, zorder=0)
    _path(ax, steps, path, lambda colours: colours[:, 1:], equal=True)
    return ax


def plot_lightness_path(steps: Ladder, path: TintPath | None, ax: Axes | None = None) -> Axes:
    """Show lightness against chroma, as `plot_hue_path` shows hue."""
    ax = axes_or_new(ax, 5, 5)
    dress(ax, "Lightness and chroma", "C*  grey to vivid", "L*  dark to light")

    def project(colours: Array) -> Array:
        return np.stack([chroma_hue(colours)[0], colours[:, 0]], axis=1)

    _path(ax, steps, path, project, equal=False)
    return ax


def path_legend(ax: Axes) -> None:
    """Name the marks of a path below its axes."""
    handles, labels = ax.get_legend_handles_labels()
    if not handles:
        return
    ax.legend(
        handles, labels,
        loc="upper left", bbox_to_anchor=(0.0, -0.155), ncols=4, frameon=False, fontsize=SMALL,
        labelcolor=INK, borderaxespad=0.0, handletextpad=0.4, columnspacing=1.2, handlelength=1.6,
    )  # fmt: skip


_LEAST = 24.0
"""Chroma that a picture spans at least, so that a white's small differences look small."""


def _path(
    ax: Axes,
    steps: Ladder,
    path: TintPath | None,
    project: Callable[[Array], Array],
    equal: bool,
) -> None:
    shown = [np.zeros((0, 2))]
    if path is not None:
        line = project(path.lab)
        ax.plot(*line.T, "-", color=INK, lw=1.1, zorder=2, label="predicted, film that hides all")
        ax.plot(*line[-1], "+", color=INK, ms=7, mew=1.1, zorder=2)
        shown.append(line)
    for over, mark, size in (("black", "s", 3.6), ("white", "o", 8.0)):
        if over not in steps.measured:
            continue
        spots = project(lab(steps.measured[over], steps.wavelengths))
        rgb, _ = srgb(steps.measured[over], steps.wavelengths)
        shown.append(spots)
        for spot, colour, words in zip(spots, rgb, steps.flags[over], strict=True):
            if np.isfinite(spot).all():
                ax.plot(*spot, mark, ms=size, mfc=tuple(colour), mec=INK, mew=0.8, zorder=4)
                if words:
                    flag_mark(ax, spot[0], spot[1], size=5.0, beside=6.0)
        ax.plot(
            [], [], mark, ms=size * 0.8, mfc=FAINT, mec=INK, mew=0.8, ls="",
            label=f"{_seen(steps)} over {over}",
        )  # fmt: skip
    if path is not None and "white" in steps.fitted:
        # Small, on top of the discs and with a light rim: it lies in nearly every one.
        crosses = project(lab(steps.fitted["white"], steps.wavelengths))
        ax.plot(*crosses.T, "x", color=PAPER, ms=3.8, mew=2.1, zorder=5)
        ax.plot(
            *crosses.T, "x", color=INK, ms=3.4, mew=0.9, zorder=6, gid="as painted",
            label="predicted over white, as painted",
        )  # fmt: skip
        shown.append(crosses)
    points = np.concatenate(shown)
    _frame(ax, points, equal)
    spots, texts = shown[0], [text.splitlines()[0] for text in steps.labels]
    for over in steps.substrates[:1]:
        spots = project(lab(steps.measured[over], steps.wavelengths))
    if path is not None and steps.white is not None:
        spots, texts = np.concatenate([spots, line[-1:]]), [*texts, steps.white]
    place_labels(ax, spots, texts)


def _frame(ax: Axes, points: Array, equal: bool) -> None:
    """Set limits around points, with room for labels; equal scales where the axes are alike."""
    points = points[np.isfinite(points).all(axis=1)]
    if not equal:
        widest = max(float(points[:, 0].max(initial=0.0)), _LEAST)
        ax.set_xlim(-0.05 * widest, 1.22 * widest)
        ax.set_ylim(0, 102)
        return
    points = np.concatenate([points, [[0.0, 0.0]]])
    low, high = points.min(axis=0), points.max(axis=0)
    figure = ax.get_figure(root=True)
    assert figure is not None
    shape = np.array(ax.get_position().size) * figure.get_size_inches()
    reach = float((np.maximum(1.22 * (high - low), _LEAST) / 2 / shape).max()) * shape
    middle = (low + high) / 2
    ax.set_aspect("equal", adjustable="datalim")
    ax.set_xlim(middle[0] - reach[0], middle[0] + reach[0])
    ax.set_ylim(middle[1] - reach[1], middle[1] + reach[1])
