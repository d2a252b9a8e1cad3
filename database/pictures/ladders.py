"""A picture of several paints' tints side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from ...calibrate.fit.judging.strength import Strength
from ...calibrate.optics.coefficients import Coefficients
from ..mixing.ladder import ratio_label
from ..mixing.viewing import AS_SEEN, Viewing
from .style import (
    FAINT,
    INK,
    MAT,
    SMALL,
    SOFT,
    TEXT,
    WIDE,
    axes_or_new,
    dress,
    foot,
    gamut_mark,
    tall_of,
)
from .swatch import films, shown, tint_band

STEPS = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
"""Parts of white to one of colour, by weight."""
_EDGE = 0.12
"""Width of the mat between rows and around them, a swatch being 1."""


def plot_ladders(
    coefficients: Coefficients,
    whites: Mapping[str, str],
    paints: Sequence[str],
    names: Mapping[str, str],
    ax: Axes | None = None,
    viewing: Viewing = AS_SEEN,
) -> Axes:
    """Show the tints of several paints in rows, predicted in films that hide, on a grey mat.

    Steps stand below each other at the same parts of white by weight, so a row that pales late is
    a strong paint's. A ring marks a colour that a display can't show.

    Parameters
    ----------
    whites : mapping of nickname to nickname
        The white that each was let down with; of a paint that has none the masstone alone is shown.
    names : mapping of nickname to str
        How each is called at its row.
    ax : Axes, optional
    viewing : Viewing
        How they are looked at.
    """
    rows = len(paints)
    ax = axes_or_new(ax, WIDE, tall_of(1.2, 0.36, rows))
    wide = len(STEPS) + 1
    ax.add_patch(
        Rectangle(
            (-_EDGE, -rows * (1 + _EDGE)), wide + 2 * _EDGE, rows * (1 + _EDGE) + _EDGE,
            fc=MAT, ec="none", zorder=0,
        )
    )  # fmt: skip
    cut = False
    for row, paint in enumerate(paints):
        white = whites.get(paint)
        mixes = [{paint: 1.0}]
        if white is not None:
            mixes += [{paint: 1.0, white: parts} for parts in STEPS[1:]] + [{white: 1.0}]
        made = films(coefficients, mixes, viewing=viewing)
        colours, outside = shown(made, coefficients.wavelengths, viewing)
        y = -row * (1 + _EDGE) - 1
        for i, (colour, out) in enumerate(zip(colours, outside.tolist(), strict=True)):
            known = bool(np.isfinite(colour).all())
            ax.add_patch(
                Rectangle(
                    (i, y), 1, 1, fc=tuple(colour) if known else MAT, ec="none", lw=0, zorder=2,
                    hatch=None if known else "///", gid=f"tint/{paint}",
                )
            )  # fmt: skip
            if known and out:
                gamut_mark(ax, i + 0.15, y + 0.5)
                cut = True
        if white is not None:
            ax.text(
                wide + 0.25, y + 0.5, f"± {tint_band(coefficients, mixes, viewing):.1f}",
                va="center", fontsize=SMALL, color=SOFT, gid=f"band/{paint}",
            )  # fmt: skip
        ax.text(
            -0.3,
            y + 0.5,
            names.get(paint, paint),
            ha="right",
            va="center",
            fontsize=TEXT,
            color=INK,
        )
    labels = [ratio_label(parts) for parts in STEPS] + ["white"]
    for i, text in enumerate(labels):
        ax.text(i + 0.5, 0.3, text, ha="center", va="bottom", fontsize=TEXT, color=INK)
    ax.text(wide + 0.25, 0.3, "95 %", va="bottom", fontsize=SMALL, color=SOFT)
    ax.text(-0.3, 0.3, "white to colour", ha="right", va="bottom", fontsize=SMALL, color=SOFT)
    foot = f"by weight, predicted in films that hide\n{viewing.words}"
    if cut:
        foot += "\n◎ a display can't show this colour: the nearest is shown"
    ax.text(0, -rows * (1 + _EDGE) - 0.2, foot, ha="left", va="top", fontsize=SMALL, color=SOFT)
    ax.set_xlim(-3.4, wide + 1.1)
    ax.set_ylim(-rows * (1 + _EDGE) - (1.3 if cut else 1.0), 1.0)
    ax.axis("off")
    return ax


def plot_strengths(
    strengths: Sequence[Strength],
    coefficients: Coefficients,
    names: Mapping[str, str],
    ax: Axes | None = None,
    viewing: Viewing = AS_SEEN,
) -> Axes:
    """Show tinting strengths gram for gram, with their 95 % intervals, on a log scale.

    Each disc has the colour of the paint's tint at the parts of white that are compared; a ring in
    it marks one that a display can't show.

    Parameters
    ----------
    strengths : sequence of Strength
        Against one reference, in the order of their rows.
    names : mapping of nickname to str
    ax : Axes, optional
    viewing : Viewing
        How the tints are looked at.
    """
    ax = axes_or_new(ax, WIDE, tall_of(1.3, 0.34, len(strengths)))
    dress(ax, "Tinting strength, gram for gram", "", "")
    if not strengths:
        ax.text(0.5, 0.5, "no paint has a ladder in white", ha="center", fontsize=SMALL, color=INK)
        return ax
    first = strengths[0]
    reference = names.get(first.reference, first.reference)
    ax.set_xlabel(
        f"grams of {reference} that do the work of one gram", fontsize=SMALL + 1.5, color=SOFT
    )
    ax.set_xscale("log")
    mixes = [{s.paint: 1.0, s.white: s.white_parts} for s in strengths]
    tints = films(coefficients, mixes, viewing=viewing)
    colours, outside = shown(tints, coefficients.wavelengths, viewing)
    for row, (one, colour, cut) in enumerate(zip(strengths, colours, outside, strict=True)):
        low, high = one.band
        ax.axhline(-row, color=FAINT, lw=0.5, zorder=0)
        ax.plot([low, high], [-row, -row], color=INK, lw=1.2, zorder=2, gid=f"band/{one.paint}")
        fill = tuple(colour) if np.isfinite(colour).all() else MAT
        ax.plot(
            one.ratio, -row, "o", ms=11, mfc=fill, mec=INK, mew=0.8, zorder=3,
            gid=f"strength/{one.paint}",
        )  # fmt: skip
        if cut:
            gamut_mark(ax, one.ratio, -row, 3.5)
        ax.annotate(
            f"{one.ratio:.2f} ({low:.2f} to {high:.2f})", (1, -row), (6, 0),
            xycoords=("axes fraction", "data"),
            textcoords="offset points", fontsize=SMALL, color=INK, va="center",
        )  # fmt: skip
    ax.axvline(1.0, color=SOFT, lw=0.6, ls=(0, (4, 2)), zorder=1)
    rows = range(len(strengths))
    ax.set_yticks([-float(i) for i in rows], [names.get(s.paint, s.paint) for s in strengths])
    ax.set_ylim(-len(strengths) + 0.4, 0.6)
    bands = np.array([s.band for s in strengths])
    ax.set_xlim(bands.min() / 1.3, bands.max() * 1.3)
    narrow = bands.max() < 4 * bands.min()
    ax.xaxis.set_major_locator(LogLocator(subs=range(1, 10) if narrow else (1, 2, 5)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ax.xaxis.set_minor_formatter(NullFormatter())
    foot(
        ax,
        f"K/S added to the white at the absorption maximum, {first.white_parts:g} parts of white "
        f"to 1 of {reference} by weight; lines and brackets: 95 %; discs: {viewing.words}",
        [names.get(s.paint, s.paint) for s in strengths],
    )
    return ax
