"""A mixing chart for the wall: every pair of tubes in steps, as it is and let down with white."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ...calibrate.cards.box import Box
from ...calibrate.cards.printing import BOLD
from ...calibrate.errors import InputError
from ...calibrate.optics.spectra import Array
from ..common.remedies import StudioDo
from ..common.words import colour_words
from ..easel.record import Record
from ..easel.wall import TINT_LIGHTNESS, white_to_let_down
from ..mixing.palette import Palette
from .sheet import Paper

STEPS = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Share of the second paint in each step, counted in strength, so that steps look alike."""
_BLOCK_MM, _NAME_MM, _WORDS_MM, _LABEL_MM = 43.0, 4.4, 3.8, 3.4
_MANY = 9.5
"""Parts from which on a tenth of one is nothing."""


@dataclass(frozen=True)
class Pair:
    """Two paints in steps, from the first to the second.

    Attributes
    ----------
    paints : (str, str)
    parts : (N, 2) array
        By weight of tube paint, each step's smaller part 1; 1 and 0 where it is one alone.
    lab : (N, 3) array
        CIELAB, opaque.
    white : (N,) array
        Parts of white to one of colour, by weight, in the tints; 0 where a step is light as it is.
    tint_lab : (N, 3) array
        NaN where there is no white.
    """

    paints: tuple[str, str]
    parts: Array
    lab: Array
    white: Array
    tint_lab: Array


def pairs(palette: Palette, paints: Sequence[str] = ()) -> list[Pair]:
    """Work out every pair of some tubes of a palette (default: of all but its white).

    Raises
    ------
    InputError
        Where there are fewer than two to pair.
    """
    white = palette.white
    chosen = list(paints) or [p for p in palette.paints if p != white]
    if len(chosen) < 2:
        raise InputError(
            None, ", ".join(chosen) or None, "a chart needs two tubes beside the white",
            StudioDo.MORE_ON_HAND(),
        )  # fmt: skip
    return [_pair(palette, one, other, white) for one, other in combinations(chosen, 2)]


def _pair(palette: Palette, one: str, other: str, white: str | None) -> Pair:
    tubes = np.array([palette.paints.index(p) for p in (one, other)])
    by_strength = np.stack([1 - np.array(STEPS), np.array(STEPS)], axis=1)
    shares = np.zeros((len(STEPS), len(palette.paints)))
    volume = palette.coefficients.dry_volume
    masses = palette.to_masses(palette.to_shares(by_strength, tubes), tubes)
    # The colour is that of the parts as they are printed, not of those before rounding.
    masses = _rounded(masses / np.where(masses > 0, masses, np.inf).min(axis=1, keepdims=True))
    shares[:, tubes] = masses * volume[tubes]
    shares /= shares.sum(axis=1, keepdims=True)
    lab = palette.lab(shares)
    if white is None or white in (one, other):
        nothing = np.full(len(STEPS), np.nan)
        return Pair((one, other), masses, lab, nothing, np.full_like(lab, np.nan))
    at = palette.paints.index(white)
    let_in = white_to_let_down(palette, shares)
    weight = shares * (1 - let_in)[:, None] / volume
    parts = _rounded(let_in / volume[at] / weight.sum(axis=1))
    let_down = shares / volume
    let_down[:, at] = parts * let_down.sum(axis=1)
    let_down *= volume
    let_down /= let_down.sum(axis=1, keepdims=True)
    as_it_is = lab[:, 0] >= TINT_LIGHTNESS
    return Pair(
        (one, other),
        masses,
        lab,
        np.where(as_it_is, 0.0, parts),
        np.where(as_it_is[:, None], lab, palette.lab(let_down)),
    )


def _rounded(parts: Array) -> Array:
    """Parts as a hand measures them: whole ones where they are many, or nearly whole."""
    whole = np.round(parts)
    near = (parts >= _MANY) | (np.abs(parts - whole) < 0.1)
    return np.where(near, whole, np.round(parts, 1))


def parts_label(parts: Array) -> str:
    """Two parts by weight as a hand measures them: ``1 : 3``, ``12 : 1``; ``alone`` for one."""
    if np.min(parts) == 0:
        return "alone"
    return " : ".join(f"{p:g}" for p in _rounded(parts))


def white_label(parts: float) -> str:
    """Parts of white to one of colour."""
    if not np.isfinite(parts):
        return ""
    if parts == 0:
        return "as it is"
    return f"{_rounded(np.array(parts)):g} : 1"


def chart(
    palette: Palette,
    names: Mapping[str, str],
    paints: Sequence[str] = (),
    page: str = "a4",
    record: Record | None = None,
) -> bytes:
    """Print the mixing chart of some tubes.

    Parameters
    ----------
    names : mapping of nickname to name
    paints : sequence of str
        To pair; default: all but the white.
    page : {"a4", "letter"}
    record : Record, optional
        What the palette rests on.

    Returns
    -------
    bytes
        A PDF.

    Raises
    ------
    InputError
        As `pairs`, or for a paper that there isn't.
    """
    made = pairs(palette, paints)
    white = names.get(palette.white or "", palette.white)
    under = "Upper row: the two alone, parts by weight. "
    if white:
        under += (
            f"Lower row: let down with {white} to one lightness (L* {TINT_LIGHTNESS:.0f}), "
            "white to colour by weight."
        )
    paper = Paper("Mixing chart", under, page, record)
    for pair, box in zip(made, paper.places(2, _BLOCK_MM), strict=False):
        _draw(paper, pair, names, box)
    return paper.finish()


def _draw(paper: Paper, pair: Pair, names: Mapping[str, str], box: Box) -> None:
    one, other = (names.get(p, p) for p in pair.paints)
    half_way = pair.lab[len(STEPS) // 2]
    if np.isfinite(pair.tint_lab).all():
        half_way = pair.tint_lab[len(STEPS) // 2]
    head = Box(box.x_mm, box.y_mm, box.width_mm - 1, _NAME_MM)
    paper.page.one_line(f"{one} + {other}", head, 8, font=BOLD)
    under = Box(box.x_mm, box.y_mm + _NAME_MM, box.width_mm - 1, _WORDS_MM)
    paper.page.one_line(f"half way: {colour_words(half_way)}", under, 7, grey=0.2)
    top = box.y_mm + _NAME_MM + _WORDS_MM
    width = box.width_mm / len(STEPS)
    rows = [
        (pair.lab, [parts_label(p) for p in pair.parts]),
        (pair.tint_lab, [white_label(w) for w in pair.white]),
    ]
    rows = [row for row in rows if np.isfinite(row[0]).all()]
    tall = (box.y_mm + box.height_mm - top) / 2
    for r, (colours, labels) in enumerate(rows):
        y = top + r * tall
        for i, (colour, label) in enumerate(zip(colours, labels, strict=True)):
            x = box.x_mm + i * width
            paper.swatch(Box(x, y, width - 1, tall - _LABEL_MM - 0.6), colour)
            paper.page.one_line(
                label, Box(x, y + tall - _LABEL_MM - 0.4, width - 1, _LABEL_MM), 7, grey=0.2
            )
