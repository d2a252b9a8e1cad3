"""A kept batch as it was measured out: the amounts that a label, a list and the page print."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from ..mixing.made import Made
from ..mixing.measures import Measure, Portions
from .basis import Manner
from .made_words import portion_words

if TYPE_CHECKING:
    from ..store import schema


def kept_portions(made: Made, manner: Manner) -> dict[str, Any]:
    """Return what is kept of a mix as it is made, and of what it then looks like."""
    return made.kept | {"lab": [float(x) for x in made.lab], "viewing": manner.viewing.said}


def portions_of(batch: schema.Batch, scale: Measure) -> Portions:
    """Return what was measured out for a batch.

    Parameters
    ----------
    scale : Measure
        Where grams were typed, or the batch was kept before measures were: nothing is told finer
        than the kitchen scale shows.
    """
    if batch.portions is not None:
        return Portions.of_kept(batch.portions)
    return Portions(scale, dict(batch.masses), ())


def expected(batch: schema.Batch, recipe: schema.Recipe) -> Mapping[str, Any]:
    """Return what a batch is expected to look like: as it was measured out, else as its recipe."""
    found: Mapping[str, Any] = recipe.predicted if batch.portions is None else batch.portions
    return found


def batch_words(batch: schema.Batch, names: Mapping[str, str], scale: Measure) -> list[str]:
    """Say what was measured out of each paint, with its lot: ``8.2 g Hull White (lot 12)``."""
    portions, lots = portions_of(batch, scale), batch.lots or {}
    return [
        portion_words(portions, paint, names, held=True)
        + (f" (lot {lots[paint]})" if lots.get(paint) else "")
        for paint in portions.amounts
    ]
