"""Paper for the wall, from what a studio holds: mixing chart, labels of tubes and of pots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...calibrate.errors import InputError
from ..common.remedies import StudioDo
from ..easel.basis import Manner, on_hand
from ..easel.habits import habits, weighing
from .chart import chart
from .labels import print_labels, tube_labels
from .pots import pot_labels, print_pots

if TYPE_CHECKING:
    from ..store.store import Store


def mixing_chart(store: Store, paints: Sequence[str] = (), page: str = "a4") -> bytes:
    """Print every pair of some tubes, by nickname or part of a name; default: of all on hand.

    Returns
    -------
    bytes
        A PDF, as for all of these.

    Raises
    ------
    InputError
        For a tube or a paper that there isn't, and for fewer than two tubes to pair.
    """
    chosen = _chosen(store, paints)
    basis = on_hand(store, Manner(habits(store).seen), chosen)
    return chart(basis.palette, basis.names, chosen, page, basis.manner.viewing)


def labels_of_tubes(store: Store, paints: Sequence[str] = (), page: str = "a4") -> bytes:
    """Print labels of some tubes, by nickname or part of a name; default: of all on hand.

    Raises
    ------
    InputError
        For a tube or a paper that there isn't, and for a tube without a fit.
    """
    return print_labels(tube_labels(store, _chosen(store, paints)), page)


def labels_of_pots(store: Store, recipes: Sequence[str] = (), page: str = "a4") -> bytes:
    """Print labels of every batch of some kept recipes, by name; default: of all.

    Raises
    ------
    InputError
        For a recipe that isn't kept, a paper that there isn't, and where no batch was kept.
    """
    kept = {each.recipe.name: each for each in store.recipes.all()}
    asked = [text.strip().casefold() for text in recipes or kept]
    for name in asked:
        if name not in kept:
            raise InputError(None, name, "is no kept recipe", StudioDo.LIST_RECIPES())
    paints = {paint.nickname: paint for paint in store.paints.all()}
    scale = weighing(store).measuring.scale
    return print_pots(pot_labels([kept[name] for name in asked], paints, scale), page)


def _chosen(store: Store, paints: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(store.paints.find(text).nickname for text in paints))
