"""The pictures of a studio, each a whole figure."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matplotlib.figure import Figure

from ...calibrate.cards.card import Card
from ...calibrate.fit.problem.result import PaintFit
from ..mixing.ladder import in_a_sentence, ladder, tint_path
from .spectra import plot_k_and_s, plot_reflectance
from .style import INK, SMALL, SOFT, TEXT, TITLE, new_figure
from .tint import path_legend, plot_hue_path, plot_lightness_path, plot_strip

_WIDE = 11.0
_LEFT, _RIGHT = 0.075, 0.945


def tint_figure(fit: PaintFit, name: str = "", cards: Sequence[Card] = ()) -> Figure:
    """Show how a paint tints toward white.

    A strip of its ladder as it looks, its path in CIELAB, its reflectance, and its K and S; see
    `plot_strip`, `plot_hue_path`, `plot_lightness_path`, `plot_reflectance` and `plot_k_and_s`,
    each of which draws on axes of one's own too.

    Parameters
    ----------
    fit : PaintFit
    name : str, optional
        The paint's full name.
    cards : sequence of Card, optional
        The cards it was fitted to, so that steps bear the ratio that was weighed.

    Returns
    -------
    Figure
        Of no global state; `plot_style.save` writes it.
    """
    steps, path = ladder(fit, cards), tint_path(fit)
    bands = max(1, len(steps.substrates))
    notes = len({words for flags in steps.flags.values() for words in flags if words}) + 1
    why = _verdict(fit)
    head, paths, spectra = 0.98 + 0.16 * len(why), 4.0, 2.9
    strip = 0.62 + 0.85 * bands + 0.16 * notes
    tall = head + strip + paths + spectra + 2.55
    figure = new_figure(_WIDE, tall)

    def place(
        left: float, top: float, width: float, height: float
    ) -> tuple[float, float, float, float]:
        return left, 1 - (top + height) / tall, width, height / tall

    _head(figure, fit, name, [in_a_sentence(steps, path), *why], tall)
    wide = _RIGHT - _LEFT
    plot_strip(steps, path, figure.add_axes(place(0.03, head, 0.94, strip)))
    half = wide / 2 - 0.045
    top = head + strip + 0.4
    hue = plot_hue_path(steps, path, figure.add_axes(place(_LEFT, top, half, paths)))
    plot_lightness_path(steps, path, figure.add_axes(place(_RIGHT - half, top, half, paths)))
    path_legend(hue)
    top += paths + 1.3
    plot_reflectance(steps, figure.add_axes(place(_LEFT, top, half - 0.03, spectra)))
    plot_k_and_s(fit, figure.add_axes(place(_RIGHT - half, top, half - 0.03, spectra)))
    return figure


def _head(figure: Figure, fit: PaintFit, name: str, lines: Sequence[str], tall: float) -> None:
    title = f"{name} ({fit.paint})" if name and name != fit.paint else fit.paint
    for y, text, size, colour, weight in (
        (0.25, title, TITLE, INK, "bold"),
        (0.60, lines[0], TEXT + 2, INK, "normal"),
        (0.86, "\n".join(lines[1:]), SMALL + 0.5, SOFT, "normal"),
    ):
        figure.text(
            0.03, 1 - y / tall, text, fontsize=size, color=colour, fontweight=weight, va="top",
            linespacing=1.4,
        )  # fmt: skip


def _verdict(fit: PaintFit) -> list[str]:
    """Say how far the fit can be trusted, and why, in lines."""
    words = f"{fit.verdict[:1].upper()}{fit.verdict[1:]}: {'; '.join(fit.reasons)}"
    return textwrap.wrap(words, 150)
