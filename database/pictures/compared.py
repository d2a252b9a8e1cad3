"""A picture of what changed from one release to another, paint by paint."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from ..easel.record import HIDING
from ..mixing.model_choice import WORDS
from ..mixing.viewing import AS_READ
from ..releases.compare import Comparison
from .style import FAINT, INK, PAPER, SMALL, SOFT, WIDE, axes_or_new, dress, foot, whole

_SEEN = ((1.0, "hard to see"), (2.0, "side by side"), (5.0, "a near miss"))
"""CIEDE2000 below which a difference is so called (a rule of thumb, no source)."""
_SHOWN = 30


def comparison_figure(comparison: Comparison) -> Figure:
    """Show what changed as `plot_comparison` does, and below it what that rests on."""
    table, by = comparison.table, WORDS[comparison.model]
    said = f"{int(table['refitted'].sum())} refitted of {len(table)} paints that are in both."
    rests = (
        f"From {comparison.old} to {comparison.new}, each by its own fits and {by}; {HIDING}; "
        f"{AS_READ.words}; no 95 % band of a difference is worked out: one that is less than what "
        "either is sure to may be no change."
    )
    return whole(plot_comparison(comparison), (said, rests))


def plot_comparison(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Show by how much the colour of each refitted paint moved: masstone disc, mid-tint ring.

    The paint that moved most is on top; beyond thirty paints the rest are left out, and the
    picture says so.
    """
    table = comparison.table[comparison.table["refitted"]].copy()
    both = table[["masstone_de00", "tint_de00"]].fillna(0.0)
    table = table.assign(most=both.max(axis=1)).sort_values("most", ascending=False, kind="stable")
    left_out = max(len(table) - _SHOWN, 0)
    table = table.head(_SHOWN)
    ax = axes_or_new(ax, WIDE, 1.3 + 0.24 * max(len(table), 3))
    dress(ax, f"From {comparison.old} to {comparison.new}", "CIEDE2000, D50/2°", "")
    at = -np.arange(len(table), dtype=float)
    masstone, tint = (table[name].to_numpy(float) for name in ("masstone_de00", "tint_de00"))
    for y, a, b in zip(at, masstone, tint, strict=True):
        if np.isfinite([a, b]).all():
            ax.plot([a, b], [y, y], color=FAINT, lw=2, zorder=1)
    ax.plot(masstone, at, "o", ms=5, mfc=INK, mec=INK, zorder=3, label="masstone")
    ax.plot(
        tint, at, "o", ms=5, mfc=PAPER, mec=INK, mew=0.8, zorder=3, label="mid-tint, 1 part in 5",
    )  # fmt: skip
    widest = max(float(table["most"].max()) * 1.08 if len(table) else 0.0, 2.4)
    for limit, words in _SEEN:
        if limit < widest:
            ax.axvline(limit, color=SOFT, lw=0.5, ls=(0, (2, 3)), zorder=0)
            ax.annotate(
                f"under {limit:g}: {words}", (limit, 0.9), (-3, 0), textcoords="offset points",
                fontsize=SMALL, color=SOFT, ha="right", va="center",
            )  # fmt: skip
    ax.set_xlim(0, widest)
    ax.set_yticks(at, list(table["paint"]))
    ax.set_ylim(-max(len(table), 3) + 0.4, 1.3)
    said = [f"{left_out} paints that moved less are left out"] if left_out else []
    if not len(table):
        said.append("no paint was refitted")
    if said:
        foot(ax, "; ".join(said), table["paint"])
    if len(table):
        ax.legend(loc="lower right", frameon=False, fontsize=SMALL, labelcolor=INK)
    return ax
