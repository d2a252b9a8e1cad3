"""Pictures of how well a fit holds: what it leaves over, what steps predict, hiding, drift."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from ...calibrate.fit.judging.hiding import BY_RATIO, HIDES_AT, PAINT_VIEW, contrast_ratio
from ...calibrate.fit.judging.quality_report import QualityReport
from ...calibrate.fit.problem.result import PaintFit
from .style import FAINT, INK, PAPER, SMALL, SOFT, WIDE, axes_or_new, dress, foot

_ROOM = 0.42
"""How far the largest residual reaches from its line, the lines being 1 apart."""
_WORTH_SHOWING_UM = 1000.0
"""A film that hides only beyond this would press all others against the axis."""
_TOP = 1.04


def plot_residuals(
    report: QualityReport, ax: Axes | None = None, scanned: bool = False, name: str = ""
) -> Axes:
    """Show what the fit leaves over of every patch: measured less fitted, by wavelength.

    A line for each patch, all on one scale, over the band that its readings leave open (95 %). Of a
    paint that was scanned it is one of the lines that three channels allow, and that is said.
    """
    ax = axes_or_new(ax, WIDE, 4.8)
    dress(ax, f"What the fit {name and f'of {name} '}leaves over", "wavelength, nm", "")
    patches = list(zip(report.patches["card"], report.patches["patch"], strict=True))
    table = report.residuals.set_index(["card", "patch"]).sort_index()
    left = report.residuals["measured"] - report.residuals["fitted"]
    widest = float(np.nanmax(np.abs(left), initial=1e-4))
    # Nothing is cut off: the widest band, or else the widest swing, just finds room.
    open_ = 1.96 * float(np.nanmax(report.residuals["sigma"], initial=1e-4))
    scale = _ROOM / max(widest, open_)
    for i, name_ in enumerate(patches):
        rows = table.loc[[name_]].sort_values("wavelength")
        at = -float(i)
        band = 1.96 * rows["sigma"].to_numpy(float) * scale
        x = rows["wavelength"].to_numpy(float)
        shade = ax.fill_between(x, at - band, at + band, color=FAINT, lw=0, zorder=1)
        shade.set_gid(f"band/{name_[1]}")
        ax.axhline(at, color=SOFT, lw=0.3, zorder=2)
        residual = (rows["measured"] - rows["fitted"]).to_numpy(float)
        ax.plot(x, at + scale * residual, color=INK, lw=0.9, zorder=3, gid=f"residual/{name_[1]}")
    ax.set_yticks(
        [-float(i) for i in range(len(patches))], [n[1].replace("/", ", ") for n in patches]
    )
    ax.set_ylim(-len(patches) + 0.4, 0.6)
    foot(
        ax,
        f"the largest swing is {widest:.3f} of reflectance, the widest band ± {open_:.3f};\n"
        "grey is what readings and model leave open (95 %)"
        + ("\nscanned in three channels: of all lines that these allow, one is drawn" * scanned),
        [patch for _, patch in patches],
    )
    return ax


def plot_hiding(
    fit: PaintFit, report: QualityReport, ax: Axes | None = None, name: str = ""
) -> Axes:
    """Show contrast ratio by dry thickness with its 95 % band, and the films as painted.

    The films stand over the card's own black and white, the curve over the standard ones. The film
    that hides is marked where the report has it; the ratio 0.98 only where that is its rule.

    Raises
    ------
    ValueError
        Where hiding can't be said of the paint.
    """
    ax = axes_or_new(ax, WIDE, 4.0)
    dress(ax, f"How {name or fit.paint} hides", "dry thickness, µm", "contrast ratio Yb/Yw")
    films = report.anchor
    reach = max([150.0, *(1.2 * f.thickness_um for f in report.films)])
    hiding = report.hiding
    hides = np.inf if hiding is None else hiding.thickness_um
    if hides < _WORTH_SHOWING_UM:
        reach = max(reach, 1.2 * hides)
    x = np.linspace(reach / 60, reach, 60)
    if hides < reach:
        x = np.union1d(x, [hides])
    found = [contrast_ratio(fit.coefficients, fit.paint, float(t), films=films) for t in x]
    ratio = np.array([c.ratio for c in found])
    # A ratio lies between 0 and 1, and so does its band: of the logarithm of ratio over the rest.
    rest = np.maximum(1 - ratio, 1e-9)
    wide = 1.96 * np.array([c.uncertainty for c in found]) / (ratio * rest)
    odds = np.log(ratio / rest)
    low, high = (1 / (1 + np.exp(-(odds + way * wide))) for way in (-1, 1))
    shade = ax.fill_between(x, low, high, color=FAINT, lw=0, zorder=1, label="95 %")
    shade.set_gid("band/contrast")
    ax.plot(x, ratio, color=INK, lw=1.1, zorder=2, label=f"predicted, {PAINT_VIEW}")
    if hiding is not None and hiding.criterion == BY_RATIO:
        ax.axhline(HIDES_AT, color=SOFT, lw=0.6, ls=(0, (4, 2)), zorder=1)
        ax.annotate(
            f"{HIDES_AT:g}", (0, HIDES_AT), (3, -2), textcoords="offset points", va="top",
            fontsize=SMALL, color=SOFT,
        )  # fmt: skip
    if report.films:
        ax.plot(
            [f.thickness_um for f in report.films],
            [f.contrast for f in report.films],
            "o", ms=5, mfc=PAPER, mec=INK, mew=0.8, zorder=3, label="as painted",
        )  # fmt: skip
    if hiding is not None:
        label = f"hides at {hides:.0f} µm dry" if np.isfinite(hides) else "never hides"
        if np.isfinite(hides):
            least, most = hiding.band
            label += f" (95 %: {least:.0f} to {most:.0f} µm)"
        label += f",\n{hiding.criterion}"
        if hides < reach:
            ax.plot([hides, hides], [0, _TOP], color=INK, lw=0.8, ls=":", zorder=1, gid="hides")
        at = [[hides], [float(np.interp(hides, x, ratio))]] if hides < reach else [[], []]
        ax.plot(*at, "|", ms=9, mew=1.4, color=INK, zorder=4, label=label)
    ax.set_xlim(0, reach)
    ax.set_ylim(0, _TOP)
    ax.legend(
        loc="lower right", frameon=False, fontsize=SMALL, labelcolor=INK,
    )  # fmt: skip
    return ax
