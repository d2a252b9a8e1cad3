"""Pictures over wavelength: reflectance, and K and S."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from ...calibrate.fit.problem.result import PaintFit
from ...calibrate.optics.coefficients import ABSOLUTE
from ...calibrate.optics.display import srgb
from ..mixing.ladder import Ladder
from ..mixing.model_choice import LETTERS, WORDS
from .style import FAINT, INK, SMALL, SOFT, axes_or_new, dress, spread

_LABELLED = 6
"""How many curves are labelled by name; the strip names them all."""


def plot_reflectance(steps: Ladder, ax: Axes | None = None) -> Axes:
    """Show measured reflectance as points over predicted curves, by wavelength.

    Over white in full lines, over black in thinner dashes. Of what a scanner saw there are no
    points: it has three channels, and no reading at any wavelength.
    """
    ax = axes_or_new(ax, 6, 4)
    dress(ax, "Reflectance", "wavelength, nm", "reflectance", pad=30)
    for over, dash, width, size in (("black", (0, (4, 2)), 0.6, 1.6), ("white", "-", 0.9, 3.4)):
        if over not in steps.measured:
            continue
        rgb, _ = srgb(steps.measured[over], steps.wavelengths)
        for spectrum, curve, colour in zip(
            steps.measured[over], steps.fitted[over], rgb, strict=True
        ):
            fill = tuple(colour) if np.isfinite(colour).all() else FAINT
            ax.plot(steps.wavelengths, curve, ls=dash, color=INK, lw=width, zorder=2)
            if not steps.scanned:
                ax.plot(
                    steps.wavelengths, spectrum, "o", ms=size, mfc=fill, mec=INK, mew=0.35, zorder=3
                )
        ax.plot([], [], ls=dash, color=INK, lw=width, label=f"predicted over {over}")
    if steps.scanned:
        ax.plot([], [], " ", label="scanned in three channels: no points")
    else:
        ax.plot([], [], "o", ms=3.4, mfc=FAINT, mec=INK, mew=0.35, label="measured")
    highest = max((float(np.nanmax(values)) for values in steps.measured.values()), default=1.0)
    ax.set_ylim(0, max(0.1, 1.08 * highest))
    ax.set_xlim(steps.wavelengths[0] - 5, steps.wavelengths[-1] + 5)
    _name_curves(ax, steps)
    _legend(ax)
    return ax


def _legend(ax: Axes) -> None:
    """Set the legend between title and axes, clear of every curve."""
    handles, labels = ax.get_legend_handles_labels()
    ax.legend(
        handles[::-1], labels[::-1],
        loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False, fontsize=SMALL,
        labelcolor=INK, handlelength=1.8, columnspacing=1.0, borderaxespad=0.0, handletextpad=0.5,
    )  # fmt: skip


def _name_curves(ax: Axes, steps: Ladder) -> None:
    """Name some curves at their right end, apart from each other."""
    if not steps.substrates:
        return
    ends = steps.fitted[steps.substrates[0]]
    named = [i for i in range(len(steps.labels)) if np.isfinite(ends[i]).any()]
    if not named:
        return
    chosen = np.unique(np.linspace(0, len(named) - 1, min(_LABELLED, len(named))).round())
    named = [named[int(i)] for i in chosen]
    last = [float(ends[i][np.isfinite(ends[i])][-1]) for i in named]
    low, high = ax.get_ylim()
    figure = ax.get_figure(root=True)
    assert figure is not None
    tall = ax.get_position().height * figure.get_figheight() * 72
    gap = 1.25 * SMALL / tall * (high - low)
    for i, value, at in zip(named, last, spread(last, gap, low, high), strict=True):
        ax.annotate(
            steps.labels[i].splitlines()[0],
            (steps.wavelengths[-1], value),
            xytext=(steps.wavelengths[-1] + 16, at),
            va="center",
            fontsize=SMALL,
            color=INK,
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "lw": 0.4, "color": SOFT, "shrinkA": 0, "shrinkB": 2},
        )


def plot_k_and_s(fit: PaintFit, ax: Axes | None = None) -> Axes:
    """Show K and S of a paint over wavelength with 95 % bands, on a log scale.

    Or, of a fit by transport, its absorption and its reduced scattering. Crosses at the foot mark
    wavelengths of which only their ratio is known.
    """
    ax = axes_or_new(ax, 6, 4)
    c = fit.coefficients
    i = c.index(fit.paint)
    unit = "1/mm" if c.scale == ABSOLUTE else c.scale
    made = ", made from a scan" if c.scan_made[i] else ""
    k, s = LETTERS[c.model]
    title = f"{k} absorbs, {s} scatters{made}"
    dress(ax, title, f"wavelength, nm (by {WORDS[c.model]})", f"{k} and {s}, {unit}", pad=30)
    low, high = np.inf, 0.0
    ends = []
    for name, values, sd, dash, shade in (
        (k, c.k[i], c.uncertainty[0][i], "-", 0.28),
        (s, c.s[i], c.uncertainty[1][i], (0, (5, 2)), 0.16),
    ):
        # K and S are positive, and fitted as logarithms: so is their band.
        wide = np.exp(1.96 * sd / values)
        band = ax.fill_between(
            c.wavelengths, values / wide, values * wide, color=INK, alpha=shade, lw=0, zorder=1
        )
        band.set_gid(f"band/{name}")
        ax.plot(c.wavelengths, values, ls=dash, color=INK, lw=1.3, zorder=3)
        read = np.isfinite(values)
        if read.any():
            low, high = min(low, np.nanmin(values)), max(high, np.nanmax(values))
            ends.append((name, float(c.wavelengths[read][-1]), float(values[read][-1])))
    ax.set_yscale("log")
    if high > 0:
        ax.set_ylim(low / 2.5, high * 2.0)
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ax.yaxis.set_minor_formatter(NullFormatter())
    if high < 100 * low:
        ax.yaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    ax.tick_params(which="minor", length=2, width=0.4, colors=SOFT)
    ax.set_xlim(c.wavelengths[0] - 5, c.wavelengths[-1] + 5)
    bottom, top = np.log(ax.get_ylim())
    apart = spread([np.log(value) for _, _, value in ends], 0.06 * (top - bottom), bottom, top)
    for (name, x, _), at in zip(ends, apart, strict=True):
        ax.text(x + 14, np.exp(at), name, va="center", fontsize=SMALL + 2, color=INK)
    hidden = c.ratio_only[i]
    if hidden.any():
        ax.plot(
            c.wavelengths[hidden], np.full(hidden.sum(), 0.03), "x", color=INK, ms=3.5, mew=0.8,
            transform=ax.get_xaxis_transform(), label=f"only {k}/{s} known", gid="ratio-only",
        )  # fmt: skip
    ax.fill_between([], [], [], color=INK, alpha=0.25, lw=0, label="95 % band")
    _legend(ax)
    return ax
