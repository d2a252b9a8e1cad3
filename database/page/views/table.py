"""The mixing table of the worksheet: tubes laid out, sliders, and the colour that they make."""

from __future__ import annotations

from typing import Any

from ....calibrate.errors import InputError
from ...easel.basis import Basis, Manner, on_hand
from ...easel.habits import habits
from ...easel.recipe import Amounts, Quantity, Ways, grams_to_make
from ...mixing.recipes import Recipe
from ...store.store import Store
from ..asked import Asked
from ..table import amounts_of, amounts_typed, carried, grams_each, measure_of, tried
from ..worksheet import habits_of


def key_of(recipe: Recipe) -> str:
    """A way's tubes, by which an address names it."""
    return ",".join(sorted(recipe.parts))


def way_amounts(asked: Asked, store: Store, ways: Ways, recipe: Recipe) -> dict[str, float]:
    """Return a way as amounts on the sliders; none where it is no mix that hides."""
    if ways.basis.manner.film is not None:
        return {}
    try:
        measure = measure_of(habits_of(asked, store))
        wanted = Quantity(asked.text("make"), asked.number("coats", 2, 1, 10))
        grams = grams_to_make(ways.basis, recipe.parts, wanted)
    except InputError:
        return {}  # the worksheet says why, where it asks for it
    made = ways.basis.made(recipe.parts, ways.answer.target.lab, measure, grams)
    return amounts_of(made, ways.basis, measure)


def table_step(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    """Lay the table: what is on the sliders, and what the browser needs to go on by itself."""
    basis = _basis(asked, store, said)
    if basis is None:
        return False
    measure, plate, ways = measure_of(habits_of(asked, store)), said["plate"] or {}, said["ways"]
    on_it = plate.get("sum") or {}
    if asked.text("show"):
        amounts = amounts_typed(asked, basis)
    elif on_it:
        each = grams_each(basis, measure)
        amounts = {
            p: measure.rounded(g / each[p]) for p, g in plate["grams"].items() if g and p in each
        }
    else:
        best = said["way"] or (ways.answer.recipes[0] if ways and ways.answer.recipes else None)
        amounts = said["on_sliders"].get(key_of(best), {}) if best else {}
    target = ways.answer.target if ways else said["target"]
    order: Amounts | None = said["amounts"]
    steps = order.order.steps if order else ()
    largest = max(
        (a for way in (amounts, *said["on_sliders"].values()) for a in way.values()), default=0
    )
    said["table"] = {
        "tried": tried(basis, amounts, measure, on_it), "measure": measure, "target": target,
        "laid": {*asked.texts("lay"), *amounts, *on_it}, "tubes": basis.tubes,
        "order": {step.paint: (at, step.hold_back) for at, step in enumerate(steps)},
        "numbers": carried(asked, basis, target, measure, on_it, plate.get("unsure"), largest),
    }  # fmt: skip
    return True


def _basis(asked: Asked, store: Store, said: dict[str, Any]) -> Basis | None:
    """Every tube on hand where mixes of all are calculated as the ways were, else the ways' own."""
    ways: Ways | None = said["ways"]
    if ways is None:
        target = said["target"]
        return on_hand(store, Manner.matching(target) if target else Manner(habits(store).seen))
    if ways.basis.manner.film is not None:
        return None
    plate: Basis | None = said["plate_basis"]
    more = plate.read.paints if plate else [tube.nickname for tube in ways.basis.tubes]
    found = on_hand(store, ways.basis.manner, list(more))
    return found if found.shares == ways.basis.shares else ways.basis
