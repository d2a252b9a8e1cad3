"""Labels for pots: what was mixed, of which tubes, when, and what it dried to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...calibrate.cards.box import Box
from ...calibrate.cards.printing import BOLD
from ...calibrate.errors import InputError
from ...calibrate.optics.spectra import Array
from ..common.remedies import StudioDo
from ..common.words import caution
from ..easel.asked_colour import kept_viewing
from ..easel.batches import batch_words, expected
from ..easel.record import HIDING, fit_words
from ..mixing.measures import Measure
from ..mixing.medium import MEDIUM, NAME
from ..mixing.viewing import Viewing
from ..store.recipes import Kept
from ..store.schema import Batch, Paint, Recipe
from .sheet import Paper

_TALL_MM, _SQUARE_MM = 46.0, 20.0


@dataclass(frozen=True)
class PotLabel:
    """What a label says of a pot.

    Attributes
    ----------
    name : str
        Of the recipe.
    made : str
        The day.
    lines : tuple of str
        What was measured out of each tube, with its lot.
    colour : (3,) array
        CIELAB: of the dried swatch where one was read, else as predicted.
    said : str
        Whether it was read or predicted, how it is looked at, how sure that is, and what it rests
        on.
    """

    name: str
    made: str
    lines: tuple[str, ...]
    colour: Array
    said: str
    note: str
    cautions: tuple[str, ...]


def pot_labels(kept: Sequence[Kept], paints: Mapping[str, Paint], scale: Measure) -> list[PotLabel]:
    """Labels of every batch of kept recipes, the newest first.

    Parameters
    ----------
    paints : mapping of nickname to Paint
    scale : Measure
        The kitchen scale: grams that were typed are told no finer.

    Raises
    ------
    InputError
        Where no batch was kept.
    """
    labels = []
    names = {MEDIUM: NAME} | {nickname: paint.name for nickname, paint in paints.items()}
    for each in kept:
        for batch in each.batches:
            recipe = each.of[batch.recipe_id]
            seen = batch.swatch or expected(batch, recipe)
            held = [paints[p] for p in batch.masses if p in paints]
            labels.append(
                PotLabel(
                    each.recipe.name,
                    batch.made[:10],
                    tuple(batch_words(batch, names, scale)),
                    np.array(seen["lab"]),
                    _said(batch, recipe, kept_viewing(seen)),
                    batch.note or each.recipe.note,
                    tuple(dict.fromkeys(filter(None, (caution(p.pigments) for p in held)))),
                )
            )
    if not labels:
        raise InputError(
            None, None, "no batch was kept yet",
            StudioDo.KEEP_BATCH(recipe="NAME"),
        )  # fmt: skip
    return sorted(labels, key=lambda label: label.made, reverse=True)


def _said(batch: Batch, recipe: Recipe, viewing: Viewing) -> str:
    how = f"in {viewing.finish}" if viewing.finish else "by instrument"
    if batch.swatch is not None:
        what, day, band = "as it dried", f", read {batch.swatch['read'][:10]}", batch.swatch
    else:
        what, day, band = f"as predicted in {HIDING}", "", recipe.predicted
    key = "band" if batch.swatch is not None else "band_de00"
    sure = f", sure to within {band[key]:.1f} (CIEDE2000, 95 %)" if band.get(key) else ""
    fits = fit_words([int(n) for n in recipe.fits], "")
    rests = f"Recipe of {recipe.created[:10]}, {fits[:1].lower()}{fits[1:]}."
    return f"{what}, {how}, {viewing.view}{sure}{day}. {rests}"


def print_pots(labels: Sequence[PotLabel], page: str = "a4") -> bytes:
    """Print labels to cut out.

    Parameters
    ----------
    page : {"a4", "letter"}

    Returns
    -------
    bytes
        A PDF.

    Raises
    ------
    InputError
        For a paper that there isn't.
    """
    under = "Cut along the lines. In each square the printed colour, and room for a dried dab."
    paper = Paper("Pot labels", under, page)
    for label, box in zip(labels, paper.places(2, _TALL_MM, 0.0), strict=False):
        _draw(paper, label, box)
    return paper.finish()


def _draw(paper: Paper, label: PotLabel, box: Box) -> None:
    paper.page.outline(box, grey=0.7)
    x, y, width = box.x_mm + 3, box.y_mm + 2.5, box.width_mm - 6
    paper.page.one_line(label.name, Box(x, y, width - 22, 5.5), 11, font=BOLD)
    paper.page.one_line(label.made, Box(x + width - 20, y + 0.7, 20, 4.5), 8, grey=0.2)
    top = y + 8
    paper.swatch(Box(x, top, _SQUARE_MM, _SQUARE_MM), label.colour)
    left, wide = x + _SQUARE_MM + 3, width - _SQUARE_MM - 3
    words = "\n".join([*label.lines, *filter(None, (label.note,))])
    paper.page.fitted(words, Box(left, top - 0.5, wide, _SQUARE_MM + 0.5), 7.5)
    said = f"{label.said[:1].upper()}{label.said[1:]}"
    under = Box(x, top + _SQUARE_MM + 0.6, width, 7.0)
    foot = under.y_mm + paper.page.fitted(said, under, 7, grey=0.2, least=7) + 0.4
    if label.cautions:
        place = Box(x, foot, width, box.y_mm + box.height_mm - foot - 0.6)
        paper.page.fitted(f"Caution: {'; '.join(label.cautions)}.", place, 7, font=BOLD, least=7)
