"""A picture of the ways to a colour: each beside its target, under three lights, and as a film."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from ...calibrate.optics.coefficients import ABSOLUTE
from ...calibrate.optics.colour import View, lab, surely_in_words
from ...calibrate.optics.display import lab_to_srgb
from ...calibrate.optics.spectra import GRID, Array
from ..easel.made_words import parts_words
from ..easel.recipe import Ways
from ..easel.record import HIDING, record_of
from ..mixing.made import as_made
from ..mixing.measures import WEIGHED_PARTS
from ..mixing.palette import Palette
from ..mixing.prediction import VIEWS
from ..mixing.recipes import Answer, Recipe
from ..mixing.target import Target
from ..mixing.viewing import AS_READ, LIGHTS
from .style import INK, MAT, SMALL, SOFT, TEXT, WIDE, axes_or_new, gamut_mark, whole
from .swatch import FILM_UM, films

_WIDE, _TALL, _GAP, _WORDS = 1.5, 1.75, 0.22, 5.2
"""Of a swatch, of the mat between, and of the words, in units of a swatch's height."""


def plot_ways(
    answer: Answer,
    palette: Palette,
    names: Mapping[str, str],
    ax: Axes | None = None,
    film_um: float = FILM_UM,
) -> Axes:
    """Show the ways to a colour in rows, each swatch touching its target's.

    Under each light a swatch is drawn as an eye used to that light sees it (CIELAB). Where only the
    target's colour is known, and not its spectrum, it stands beside the mix under the light that it
    was matched under. With K and S in 1/mm each row ends with the mix as a film, over white and
    over black.

    Parameters
    ----------
    palette : Palette
        That they were searched in.
    names : mapping of nickname to str
    ax : Axes, optional
    film_um : float
        How thick the film is, dry: what the recipe is for, else two brushed coats.
    """
    rows, coefficients = len(answer.recipes), palette.coefficients
    thin = coefficients.scale == ABSOLUTE
    columns = len(VIEWS) + thin
    wide = columns * (_WIDE + _GAP) + _GAP
    tall = rows * (_TALL + _GAP) + _GAP
    across, down = wide + _WORDS, tall + 1.7
    ax = axes_or_new(ax, WIDE, WIDE * down / across)
    ax.add_patch(Rectangle((0, -tall), wide, tall, fc=MAT, ec="none", zorder=0))
    heads = [f"{LIGHTS[view.illuminant]} ({view.illuminant})" for view in VIEWS]
    heads += [f"film of {film_um:.0f} µm\nover white, black"] if thin else []
    for i, head in enumerate(heads):
        x = _GAP + i * (_WIDE + _GAP) + _WIDE / 2
        ax.text(x, 0.12, head, ha="center", va="bottom", fontsize=SMALL, color=SOFT)
    cut = False
    for row, recipe in enumerate(answer.recipes):
        y = -(row + 1) * (_TALL + _GAP)
        pairs = _lit(recipe, answer.target, palette.view)
        if thin:
            # The palette's paints are looked at as the target is already.
            seen = [
                films(coefficients, [recipe.parts], film_um, over, AS_READ)[0]
                for over in ("white", "black")
            ]
            pairs.append(lab(np.array(seen), coefficients.wavelengths, palette.view))
        for i, colours in enumerate(pairs):
            cut |= _swatch(ax, _GAP + i * (_WIDE + _GAP), y, colours, f"way/{row}/{i}")
        parts = as_made(palette, recipe.parts, answer.target.lab, WEIGHED_PARTS)
        head = f"{row + 1}.  {parts_words(parts, names)}"
        _words(ax, recipe, head, wide + 0.25, y + _TALL)
    foot = "left half the target, right half the mix as predicted"
    if answer.target.reflectance is None:
        foot += ";\nthe target's spectrum is unknown, so other lights show the mix alone"
    if cut:
        foot += "; ◎ a display can't show this colour: the nearest is shown"
    ax.text(0, -tall - 0.15, foot, ha="left", va="top", fontsize=SMALL, color=SOFT)
    ax.set_xlim(-0.05, across)
    ax.set_ylim(0.8 - down, 0.8)
    ax.set_aspect("equal")
    ax.axis("off")
    return ax


def ways_figure(ways: Ways) -> Figure:
    """Return the picture of an answer, with the record of what it rests on."""
    basis, film = ways.basis, ways.basis.manner.film
    um = FILM_UM if film is None else film.whole_um
    used = dict.fromkeys(paint for way in ways.answer.recipes for paint in way.parts)
    shown = f"{um:.0f} µm dry over {film.over}" if film is not None else HIDING
    record = record_of(basis, used, film=shown, band="beside each way, what 95 of 100 stay within")
    return whole(plot_ways(ways.answer, basis.palette, basis.names, film_um=um), record.lines)


def _lit(recipe: Recipe, target: Target, matched: View) -> list[Array]:
    """Target and mix under each light, (2, 3) each; the mix alone, (1, 3), without a spectrum."""
    found = []
    for view in VIEWS:
        mine = lab(recipe.reflectance[None], GRID, view)
        if target.reflectance is not None:
            other = lab(target.reflectance[None], GRID, view)
            found.append(np.concatenate([other, mine]))
        else:
            found.append(np.stack([target.lab, mine[0]]) if view == matched else mine)
    return found


def _swatch(ax: Axes, x: float, y: float, colours: Array, gid: str) -> bool:
    """Draw colours (N, 3) side by side as one swatch; whether a display can't show one."""
    shown, outside = lab_to_srgb(colours)
    each = _WIDE / len(shown)
    for i, (colour, out) in enumerate(zip(shown, outside.tolist(), strict=True)):
        ax.add_patch(
            Rectangle((x + i * each, y), each, _TALL, fc=tuple(colour), ec="none", lw=0, gid=gid)
        )
        if out:
            gamut_mark(ax, x + i * each + 0.12, y + 0.12)
    return bool(outside.any())


def _words(ax: Axes, recipe: Recipe, title: str, x: float, top: float) -> None:
    said: Sequence[str] = [
        f"{surely_in_words(recipe.difference, recipe.band)} (CIEDE2000 {recipe.difference:.1f}),\n"
        f"sure to within {recipe.band:.1f}"
    ]
    if recipe.lights:
        light, worst = max(recipe.lights.items(), key=lambda item: item[1])
        said = [*said, f"parts from the target by {worst:.1f} under {LIGHTS[light]} ({light})"]
    if recipe.scan_made:
        said = [*said, "a paint of it was read by a scanner"]
    head = textwrap.wrap(title, 44)
    ax.text(x, top, "\n".join(head), ha="left", va="top", fontsize=TEXT, color=INK)
    below = top - 0.04 - 0.23 * len(head)
    ax.text(
        x, below, "\n".join(said), ha="left", va="top", fontsize=SMALL, color=SOFT, linespacing=1.4
    )
