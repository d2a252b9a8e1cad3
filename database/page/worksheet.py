"""The mixing worksheet: what its address asks, and what the studio answers, step by step."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from threading import Lock

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.surface import Gloss
from ..mixing import as_finished
from ..on_hand import usable
from ..photo import Photo, parse_spot, shrunk, spot
from ..recipe import Answer, Recipe, recipes
from ..recipe_batch import area_grams, batch_grams
from ..recipe_order import Order, order_of
from ..recipe_palette import Palette
from ..recipe_parts import MEASURES, Snapped, amount_words, scale, snap, tint_words, weighed
from ..recipe_target import Target, parse_target
from ..report_colours import Swatch
from ..setting_out import open_photo
from ..store import Store
from .swatch import swatch
from .uploads import TEXTS

SCALES = (0.01, 0.1)
"""Steps of a scale to choose from, g."""
SHOWN = 640
"""px of the longer side of a photograph on the page."""
_KEPT = 12


@dataclass(frozen=True)
class Goal:
    """A target, and how tubes are looked at to come near it.

    Attributes
    ----------
    target : Target
    finish : {"gloss", "satin", "matt"} or None
        As the eye sees a mix so finished; None: as an instrument reads it.
    """

    target: Target
    finish: Gloss | None = None

    def seen(self, coefficients: Coefficients) -> Coefficients:
        """Return tubes as they are to be compared with the target."""
        return as_finished(coefficients, self.finish)


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

    def ways(self, store: Store, goal: Goal, laid_out: Sequence[str], most: int) -> Ways:
        """Search, or remember, the ways to a target from the tubes laid out.

        Raises
        ------
        InputError
            As `usable` and `recipes`.
        """
        names = {paint.nickname: paint.name for paint in store.paints()}
        there = {paint.nickname for paint in store.paints() if paint.on_hand}
        if not there & set(laid_out):
            raise InputError(None, None, "none of the tubes laid out is on hand", "lay out others")
        read = usable(store, without=sorted(there - set(laid_out)))
        fits = tuple(sorted(store.current_fits(read.model).items()))
        key = (goal.target.said, tuple(goal.target.lab), read.paints, read.model, most, fits)
        with self._lock:
            if key not in self._found:
                model = store.model_words(read)
                self._found[key] = _search(goal.seen(read), goal.target, most, names, model)
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
    names : mapping of nickname to name
    """

    weighed: Snapped
    others: tuple[Snapped, ...]
    order: Order

    names: Mapping[str, str]

    def said(self, snapped: Snapped, paint: str) -> tuple[str, str]:
        """Return an amount as it is measured, and what of: a paint, or a tint of it."""
        of = self.names.get(paint, paint)
        if snapped.tint is not None and snapped.tint.paint == paint:
            of = tint_words(snapped.tint, self.names)
        return amount_words(snapped.amounts[paint], snapped.measure), of

    @property
    def grams(self) -> dict[str, float]:
        """Of each tube, what a tint's paints weigh told apart."""
        return weighed(self.weighed)


def amounts(store: Store, goal: Goal, way: Way, make: str, coats: int, step: float) -> Amounts:
    """Say how much of each tube a way takes.

    Parameters
    ----------
    store : Store
    goal : Goal
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
    coefficients = goal.seen(store.current_coefficients(list(way.recipe.parts)))
    palette, parts = Palette(coefficients), way.recipe.parts
    if "x" in make.casefold():
        grams = area_grams(coefficients, parts, make, coats)
    else:
        grams = batch_grams(coefficients, parts, make)
    by_hand = [measure for measure in MEASURES if measure.unit != "g"]
    snapped = [
        snap(palette, parts, goal.target.lab, measure) for measure in (scale(step, grams), *by_hand)
    ]
    names = {paint.nickname: paint.name for paint in store.paints()}
    return Amounts(snapped[0], tuple(snapped[1:]), order_of(palette, parts), names)


def aim(store: Store, text: str) -> Goal:
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
    return Goal(parse_target(text, store))


def photo_of(path: Path) -> Photo:
    """Open a photograph, evened by a printed card if one shows in it.

    Raises
    ------
    InputError
        Where it is no picture.
    """
    return _photo(path, path.stat().st_mtime_ns)


@lru_cache(maxsize=2)
def _photo(path: Path, changed: int) -> Photo:
    return open_photo(path)


def shown_size(photo: Photo) -> tuple[int, int]:
    """Width and height of a photograph on the page, px."""
    high, wide = shrunk(photo, SHOWN).shape[:2]
    return wide, high


def aim_in_photo(path: Path, at: str) -> Goal:
    """Return the spot of a photograph as a target; a mix is compared as the eye sees it in gloss.

    Raises
    ------
    InputError
        Where the spot lies outside.
    """
    return Goal(spot(photo_of(path), parse_spot(at, "at")), "gloss")
