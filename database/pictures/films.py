"""Pictures of paints as films grow thicker: from undertone to masstone, and what still shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from ...calibrate.fit.judging.hiding import (
    BY_RATIO,
    BY_UNIT,
    COAT_UM,
    HIDES_AT,
    PAINT_VIEW,
    Hiding,
    contrast_ratio,
    hiding_thickness,
    to_model,
)
from ...calibrate.fit.judging.own_films import Anchor
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.spectra import Array
from ..mixing.viewing import AS_SEEN, Viewing
from .style import (
    FAINT,
    INK,
    MAT,
    PAPER,
    SMALL,
    SOFT,
    WIDE,
    axes_or_new,
    dress,
    foot,
    spread,
    tall_of,
)
from .swatch import films, shown

THINNEST, THICKEST = 3.0, 400.0
"""Dry films that are shown, µm: from a wash to far more than anyone brushes."""
_TICKS = (3, 5, 10, 20, 30, 60, 100, 200, 400)
_MANY = 100
_DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1, 2)), (0, (1, 1)))


def plot_films(
    coefficients: Coefficients,
    paints: Sequence[str],
    names: Mapping[str, str],
    ax: Axes | None = None,
    anchors: Mapping[str, Anchor] | None = None,
    viewing: Viewing = AS_SEEN,
) -> Axes:
    """Show masstone against undertone: each paint alone, as its film grows from thin to thick.

    The upper half of a band lies over white and shows the undertone at its left; the lower half
    lies over black. Where both halves look alike the film hides; a tick marks where that begins.

    Parameters
    ----------
    names : mapping of nickname to str
    ax : Axes, optional
    anchors : mapping of nickname to Anchor, optional
        What paints' own films say of thickness.
    viewing : Viewing
        How they are looked at.

    Raises
    ------
    ValueError
        Where K and S are relative to a white.
    """
    ax = axes_or_new(ax, WIDE, tall_of(1.5, 0.55, len(paints)))
    dress(ax, "From undertone to masstone", "dry thickness, µm", "")
    edges = np.geomspace(THINNEST, THICKEST, _MANY + 1)
    middle = np.sqrt(edges[1:] * edges[:-1])
    ax.set_facecolor(MAT)
    cut, anchors = False, anchors or {}
    for row, paint in enumerate(paints):
        own = anchors.get(paint)
        # A film as painted looks as one does that K and S have this thick.
        thick = middle * to_model(own)
        for over, low in (("white", 0.0), ("black", -0.4)):
            seen = films(coefficients, [{paint: 1.0}] * _MANY, thick, over, viewing)
            colours, outside = shown(seen, coefficients.wavelengths, viewing)
            colours = np.nan_to_num(colours, nan=0.47)
            mesh = ax.pcolormesh(
                edges, [low - row, low - row + 0.4], colours[None], rasterized=True, zorder=2
            )
            mesh.set_gid(f"film/{paint}/{over}")
            edge = low - row + (0.37 if over == "white" else 0.03)
            # A light rim, for on a dark film dark dots are lost.
            ax.plot(
                middle[outside], np.full(int(outside.sum()), edge), "o", ms=2.2, color=INK,
                mec=PAPER, mew=0.5, zorder=4, gid="gamut",
            )  # fmt: skip
            cut |= bool(outside.any())
        hiding = hiding_thickness(coefficients, paint, films=own)
        hides = hiding.thickness_um
        if np.isfinite(hides):
            low, high = np.clip(hiding.band, THINNEST, THICKEST)
            ax.plot(
                [low, high], [0.46 - row, 0.46 - row], color=INK, lw=0.9, zorder=3,
                gid=f"band/{paint}",
            )  # fmt: skip
        if THINNEST < hides < THICKEST:
            ax.plot([hides, hides], [0.4 - row, 0.48 - row], color=INK, lw=1.4, zorder=3)
            ax.plot([hides, hides], [-0.48 - row, -0.4 - row], color=INK, lw=1.4, zorder=3)
    _thickness_axis(ax)
    ax.set_yticks([-float(i) for i in range(len(paints))], [names.get(p, p) for p in paints])
    ax.set_ylim(-len(paints) + 0.45, 0.55)
    said = (
        "upper half over white, lower over black; ticks: from here on it hides, bars: 95 % of it. "
        f"A brushed coat leaves about {COAT_UM:.0f} µm.\n{viewing.words}"
    )
    if cut:
        said += "\ndots at an edge: a display can't show these colours, the nearest are shown"
    foot(ax, said, [names.get(p, p) for p in paints])
    return ax


def plot_contrasts(
    coefficients: Coefficients,
    paints: Sequence[str],
    names: Mapping[str, str],
    ax: Axes | None = None,
    anchors: Mapping[str, Anchor] | None = None,
) -> Axes:
    """Show the contrast ratio of several paints by dry thickness, over standard black and white.

    A stroke across each curve marks the film that hides, and stands in words beside its name. A
    light paint hides where its ratio reaches 0.98, any other where its film over black and white
    differs by one CIELAB unit, as `hiding_thickness` has it.

    Parameters
    ----------
    names : mapping of nickname to str
    ax : Axes, optional
    anchors : mapping of nickname to Anchor, optional
        What paints' own films say of thickness.

    Raises
    ------
    ValueError
        Where K and S are relative to a white, or were read with a gap.
    """
    ax = axes_or_new(ax, WIDE, max(4.2, tall_of(1.4, 0.19, len(paints))))
    dress(ax, "How they hide", "dry thickness, µm", f"contrast ratio Yb/Yw, {PAINT_VIEW}")
    x = np.geomspace(THINNEST, THICKEST, 36)
    ends, said, lights = [], [], []
    for i, paint in enumerate(paints):
        own = (anchors or {}).get(paint)

        def ratio_at(um: float, paint: str = paint, own: Anchor | None = own) -> float:
            return contrast_ratio(coefficients, paint, um, films=own).ratio

        ratio = np.array([ratio_at(float(um)) for um in x])
        ax.plot(
            x, ratio, color=INK, lw=1.1, ls=_DASHES[i % len(_DASHES)], zorder=3,
            gid=f"contrast/{paint}",
        )  # fmt: skip
        hiding = hiding_thickness(coefficients, paint, films=own)
        hides = hiding.thickness_um
        if THINNEST < hides < THICKEST:
            ax.plot(
                hides, ratio_at(hides), "|", color=INK, ms=9, mew=1.4, zorder=4,
                gid=f"hides/{paint}",
            )  # fmt: skip
        if np.isfinite(hides):
            low, high = np.clip(hiding.band, THINNEST, THICKEST)
            between = np.geomspace(low, high, 9)
            ax.plot(
                between, [ratio_at(float(um)) for um in between], color=INK, lw=3.2, alpha=0.28,
                solid_capstyle="butt", zorder=2, gid=f"band/{paint}",
            )  # fmt: skip
        name = names.get(paint, paint)
        said.append(f"{name}, {_film_in_words(hiding)}")
        if hiding.criterion == BY_RATIO:
            lights.append(name)
        ends.append(ratio)
    if lights:
        ax.axhline(HIDES_AT, color=SOFT, lw=0.6, zorder=1)
    for um, words in ((COAT_UM, "one coat"), (2 * COAT_UM, "two")):
        ax.axvline(um, color=FAINT, lw=0.8, zorder=0)
        ax.annotate(
            words, (um, 0), (3, 3), textcoords="offset points", fontsize=SMALL, color=SOFT,
            va="bottom",
        )  # fmt: skip
    _thickness_axis(ax)
    ax.set_ylim(0, 1.06)
    _name_lines(ax, x, ends, said)
    light = f"{', '.join(lights)}: {BY_RATIO}, the level line"
    by_rule = f"{light}; others: {BY_UNIT}" if lights else BY_UNIT
    foot(
        ax,
        "strokes, and figures beside the names: the dry film from which it hides, shaded and in "
        f"brackets its 95 % ({by_rule})",
    )
    return ax


def _film_in_words(hiding: Hiding) -> str:
    if not np.isfinite(hiding.thickness_um):
        return "never hides"
    low, high = hiding.band
    return f"{hiding.thickness_um:.0f} µm ({low:.0f} to {high:.0f})"


def _thickness_axis(ax: Axes) -> None:
    ax.set_xscale("log")
    ax.set_xlim(THINNEST, THICKEST)
    ax.xaxis.set_major_locator(FixedLocator(_TICKS))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def _name_lines(ax: Axes, x: Array, lines: Sequence[Array], names: Sequence[str]) -> None:
    """Name lines at the right, each led to where it lies at one coat: there they differ most."""
    if not lines:
        return
    at = int(np.argmin(np.abs(x - COAT_UM)))
    heights = [float(line[at]) for line in lines]
    figure = ax.get_figure(root=True)
    assert figure is not None
    tall = ax.get_position().height * figure.get_figheight() * 72
    gap = 1.35 * SMALL / tall * 1.06
    for height, line, name in zip(spread(heights, gap, 0.0, 1.04), lines, names, strict=True):
        ax.annotate(
            name, (x[at], line[at]), (THICKEST * 1.12, height), fontsize=SMALL, color=INK,
            va="center", annotation_clip=False,
            arrowprops={
                "arrowstyle": "-", "lw": 0.35, "color": SOFT, "shrinkA": 0, "shrinkB": 0,
                "relpos": (0.0, 0.5),
            },
        )  # fmt: skip
        ax.plot(x[at], line[at], "o", ms=2.6, color=INK, zorder=4)
