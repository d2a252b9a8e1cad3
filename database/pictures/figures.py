"""The pictures of a studio, each a whole figure."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from matplotlib.figure import Figure

from ...calibrate.cards.card import Card
from ...calibrate.fit.problem.result import PaintFit
from ..mixing.ladder import in_a_sentence, ladder, tint_path
from .spectra import plot_k_and_s, plot_reflectance
from .style import INK, SMALL, SOFT, TEXT, TITLE, WIDE, new_figure
from .tint import path_legend, plot_hue_path, plot_lightness_path, plot_strip

_LEFT, _RIGHT = 0.09, 0.94


def tint_figure(fit: PaintFit, name: str = "", cards: Sequence[Card] = ()) -> Figure:
    """Show how a paint tints toward white.

    A strip of its ladder as it looks, its path in CIELAB, its reflectance, and its K and S; see
    `plot_strip`, `plot_hue_path`, `plot_lightness_path`, `plot_reflectance` and `plot_k_and_s`,
    each of which draws on axes of one's own too.

    Parameters
    ----------
    name : str, optional
        The paint's full name.
    cards : sequence of Card, optional
        The cards it was fitted to, so that steps bear the ratio that was weighed.

    Returns
    -------
    Figure
        Of no global state; `style.signed` prints its record and `style.save` writes it.
    """
    steps, path = ladder(fit, cards), tint_path(fit)
    bands = max(1, len(steps.substrates))
    # Each flag may take two lines.
    notes = 2 * len({words for flags in steps.flags.values() for words in flags if words}) + 1
    why = _verdict(fit)
    head, paths, spectra = 0.80 + 0.15 * len(why), 2.75, 2.2
    strip = 0.50 + 0.56 * bands + 0.15 * notes
    tall = head + strip + paths + spectra + 2.15
    figure = new_figure(WIDE, tall)

    def place(
        left: float, top: float, width: float, height: float
    ) -> tuple[float, float, float, float]:
        return left, 1 - (top + height) / tall, width, height / tall

    _head(figure, fit, name, [in_a_sentence(steps, path), *why], tall)
    wide = _RIGHT - _LEFT
    plot_strip(steps, path, figure.add_axes(place(0.03, head, 0.94, strip)))
    half = wide / 2 - 0.05
    top = head + strip + 0.35
    hue = plot_hue_path(steps, path, figure.add_axes(place(_LEFT, top, half, paths)))
    plot_lightness_path(steps, path, figure.add_axes(place(_RIGHT - half, top, half, paths)))
    path_legend(hue)
    top += paths + 1.15
    plot_reflectance(steps, figure.add_axes(place(_LEFT, top, half - 0.06, spectra)))
    plot_k_and_s(fit, figure.add_axes(place(_RIGHT - half, top, half - 0.03, spectra)))
    return figure


def _head(figure: Figure, fit: PaintFit, name: str, lines: Sequence[str], tall: float) -> None:
    title = f"{name} ({fit.paint})" if name and name != fit.paint else fit.paint
    for y, text, size, colour, weight in (
        (0.16, title, TITLE, INK, "bold"),
        (0.44, lines[0], TEXT + 0.5, INK, "normal"),
        (0.66, "\n".join(lines[1:]), SMALL, SOFT, "normal"),
    ):
        figure.text(
            0.03, 1 - y / tall, text, fontsize=size, color=colour, fontweight=weight, va="top",
            linespacing=1.4,
        )  # fmt: skip


def _verdict(fit: PaintFit) -> list[str]:
    """Say how far the fit can be trusted, and why, in lines."""
    words = f"{fit.verdict[:1].upper()}{fit.verdict[1:]}: {'; '.join(fit.reasons)}"
    return textwrap.wrap(words, 120)
