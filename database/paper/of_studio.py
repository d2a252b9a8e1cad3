"""Paper for the wall, from what a studio holds: mixing chart, labels of tubes and of pots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...calibrate.errors import InputError
from ..common.remedies import StudioDo
from ..easel.atlas import three_of, wall_of
from ..easel.basis import Basis, Manner, just, on_hand
from ..easel.habits import habits, weighing
from ..easel.record import record_of
from ..pictures.swatch import tint_band
from .atlas import atlas, triangle_sheet
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
    shown = chosen or [p for p in basis.read.paints if p != basis.palette.white]
    band = f"tubes alone are sure to within CIEDE2000 {_surest(basis):.1f}, 95 of 100 times"
    return chart(basis.palette, basis.names, chosen, page, record_of(basis, shown, band=band))


def wall_atlas(store: Store, paints: Sequence[str] = (), page: str = "a4") -> bytes:
    """Print the atlas of some tubes, by nickname or part of a name; default: of all on hand.

    Raises
    ------
    InputError
        For a tube or a paper that there isn't, and for a tube without a fit.
    """
    return atlas(wall_of(store, _chosen(store, paints)), page)


def triangle_of(store: Store, paints: Sequence[str], page: str = "a4") -> bytes:
    """Print three tubes, by nickname or part of a name, as a triangle to paint on.

    Raises
    ------
    InputError
        As `wall_atlas`, and for other than three tubes.
    """
    chosen = three_of(_chosen(store, paints))
    return triangle_sheet(wall_of(store, chosen), chosen, page)


def _surest(basis: Basis) -> float:
    """CIEDE2000 that 95 of 100 tubes alone stay within."""
    return tint_band(basis.read, [{p: 1.0} for p in basis.read.paints], basis.manner.viewing)


def labels_of_tubes(store: Store, paints: Sequence[str] = (), page: str = "a4") -> bytes:
    """Print labels of some tubes, by nickname or part of a name; default: of all on hand.

    Raises
    ------
    InputError
        For a tube or a paper that there isn't, and for a tube without a fit.
    """
    labels = tube_labels(store, _chosen(store, paints))
    shown = [label.nickname for label in labels]
    basis = just(store, Manner(habits(store).seen), shown)
    band = "brackets, and sure to: 95 % (colours in CIEDE2000)"
    return print_labels(labels, page, record_of(basis, shown, band=band))


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
