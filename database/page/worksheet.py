"""The mixing worksheet: what its address asks, and what the studio answers, step by step."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ..on_hand import usable
from ..recipe import Answer, Recipe, recipes
from ..recipe_batch import area_grams, batch_grams
from ..recipe_order import Order, order_of
from ..recipe_palette import Palette
from ..recipe_parts import MEASURES, Snapped, amount_words, scale, snap
from ..recipe_target import Target, parse_target
from ..report_colours import Swatch
from ..store import Store
from .swatch import swatch
from .uploads import TEXTS

SCALES = (0.01, 0.1)
"""Steps of a scale to choose from, g."""
_KEPT = 12


@dataclass(frozen=True)
class Way:
    """One way to the target.

    Attributes
    ----------
    key : str
        Its tubes, by which an address names it.
    recipe : Recipe
    swatch : Swatch
    parts : Snapped
        In whole parts by weight.
    """

    key: str
    recipe: Recipe
    swatch: Swatch
    parts: Snapped


@dataclass(frozen=True)
class Ways:
    """What the tubes make of a target.

    Attributes
    ----------
    answer : Answer
    ways : tuple of Way
    model : str
        Which model they are reckoned by, in words.
    """

    answer: Answer
    ways: tuple[Way, ...]
    model: str


class Searches:
    """The last searches: the same question over the same fits has the same answer."""

    def __init__(self) -> None:
        self._found: OrderedDict[object, Ways] = OrderedDict()
        self._lock = Lock()

    def ways(
        self, store: Store, target: Target, said: str, laid_out: Sequence[str], most: int
    ) -> Ways:
        """Search, or remember, the ways to a target from the tubes laid out.

        Raises
        ------
        InputError
            As `usable` and `recipes`.
        """
        there = usable(store)
        coefficients = there.select([paint for paint in there.paints if paint in laid_out])
        if not coefficients.paints:
            raise InputError(None, None, "none of the tubes laid out is on hand", "lay out others")
        fits = tuple(sorted(store.current_fits().items()))
        key = (said, tuple(target.lab), coefficients.paints, most, fits)
        with self._lock:
            if key not in self._found:
                names = {paint.nickname: paint.name for paint in store.paints()}
                self._found[key] = _search(
                    coefficients, target, most, names, store.model_words(coefficients)
                )
            self._found.move_to_end(key)
            while len(self._found) > _KEPT:
                self._found.popitem(last=False)
            return self._found[key]


def _search(
    coefficients: Coefficients, target: Target, most: int, names: Mapping[str, str], model: str
) -> Ways:
    answer = recipes(coefficients, target, most, ways=4, names=names)
    palette = Palette(coefficients)
    in_parts = next(measure for measure in MEASURES if measure.unit == "part")
    ways = tuple(
        Way(
            ",".join(sorted(recipe.parts)),
            recipe,
            swatch(recipe.lab),
            snap(palette, recipe.parts, target.lab, in_parts),
        )
        for recipe in answer.recipes
    )
    return Ways(answer, ways, model)


@dataclass(frozen=True)
class Amounts:
    """How much of each tube, and in which order.

    Attributes
    ----------
    weighed : Snapped
    others : tuple of Snapped
        By other measures.
    order : Order
    """

    weighed: Snapped
    others: tuple[Snapped, ...]
    order: Order

    def said(self, snapped: Snapped, paint: str) -> str:
        """Return an amount as it is measured."""
        return amount_words(snapped.amounts[paint], snapped.measure)


def amounts(store: Store, target: Target, way: Way, make: str, coats: int, step: float) -> Amounts:
    """Say how much of each tube a way takes.

    Parameters
    ----------
    store : Store
    target : Target
    way : Way
    make : str
        ``40ml``, ``25g``, or an area such as ``40x50cm``.
    coats : int
        With an area.
    step : float
        Of the scale, g.

    Raises
    ------
    InputError
        For an amount that is none of these.
    """
    coefficients = store.current_coefficients(list(way.recipe.parts))
    palette, parts = Palette(coefficients), way.recipe.parts
    if "x" in make.casefold():
        grams = area_grams(coefficients, parts, make, coats)
    else:
        grams = batch_grams(coefficients, parts, make)
    by_hand = [measure for measure in MEASURES if measure.unit != "g"]
    snapped = [
        snap(palette, parts, target.lab, measure) for measure in (scale(step, grams), *by_hand)
    ]
    return Amounts(snapped[0], tuple(snapped[1:]), order_of(palette, parts))


def aim(store: Store, text: str) -> Target:
    """Return the target that a field says.

    Raises
    ------
    InputError
        As `parse_target`; a file is never opened from here.
    """
    name = text.partition("::")[0]
    if Path(name).suffix.lower() in TEXTS or Path(name).is_file():
        raise InputError(
            "target", text, "is a file", "drop it under Cards, then name it as CARD/STEP"
        )
    return parse_target(text, store)
