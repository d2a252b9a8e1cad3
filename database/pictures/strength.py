"""A picture of how strongly paints tint, one below the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from ...calibrate.fit.judging.strength import Strength
from ...calibrate.optics.coefficients import Coefficients
from ..mixing.viewing import AS_SEEN, Viewing
from .style import FAINT, INK, MAT, SMALL, SOFT, WIDE, axes_or_new, dress, foot, gamut_mark, tall_of
from .swatch import films, shown


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
    coefficients : Coefficients
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
