"""The mixing worksheet: what its address asks, and what the studio answers, step by step."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ..easel.asked_colour import is_there, kept_target, parse_target
from ..easel.densities import volume_slip, with_densities
from ..easel.heap import likely_of
from ..easel.manner import Manner, as_kept, tubes_for
from ..easel.plate import KeptDab
from ..easel.setting_out import open_photo
from ..mixing.batch import batch_grams, density
from ..mixing.gamut import Widening, one_more
from ..mixing.heap_guess import Likely
from ..mixing.measures import (
    MEASURES,
    SYRINGE,
    WEIGHED_PARTS,
    Snapped,
    amount_words,
    of_size,
    scale,
    snap,
    tint_words,
    weighed,
)
from ..mixing.medium import MEDIUM, NAME
from ..mixing.order import Order, order_of
from ..mixing.photo import Photo, parse_spot, shrunk, spot
from ..mixing.recipes import Answer, Recipe, recipes
from ..mixing.target import Target
from ..pictures.swatch import Swatch
from ..store import schema
from ..store.store import Store
from .swatch import swatch
from .uploads import TEXTS

SCALES = (0.01, 0.1)
"""Steps of a scale to choose from, g."""
SHOWN = 640
"""px of the longer side of a photograph on the page."""
_KEPT = 12
Found = TypeVar("Found")


@dataclass(frozen=True)
class Goal:
    """A target, and how tubes are to come near it.

    Attributes
    ----------
    target : Target
    manner : Manner
        How mixes are painted and seen.
    must : tuple of str
        Nicknames that have to be in the mix; the clear medium may be among them.
    medium : bool
        Whether the clear medium may be in a film.
    kept : schema.Recipe or None
        The one to be mixed again as it was kept.
    """

    target: Target
    manner: Manner
    must: tuple[str, ...] = ()
    medium: bool = True
    kept: schema.Recipe | None = None


def names_of(store: Store) -> dict[str, str]:
    """Name of every paint, by nickname; the clear medium too."""
    return {MEDIUM: NAME} | {paint.nickname: paint.name for paint in store.paints.all()}


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
    read : Coefficients
        Of the tubes laid out, as an instrument reads them.
    """

    answer: Answer
    ways: tuple[Way, ...]
    model: str
    read: Coefficients


class Searches:
    """The last searches: the same question over the same fits has the same answer."""

    def __init__(self) -> None:
        self._found: OrderedDict[object, Any] = OrderedDict()
        self._lock = Lock()

    def likely(self, store: Store, dab: KeptDab) -> Likely:
        """Say, or remember, what a heap is likely made of.

        Raises
        ------
        InputError
            As `likely_of`.
        """
        there = tuple(paint.nickname for paint in store.paints.all() if paint.on_hand)
        fits = tuple(sorted(store.fits.current().items()))
        return self._remembered((dab, there, fits), lambda: likely_of(store, dab))

    def ways(self, store: Store, goal: Goal, laid_out: Sequence[str], most: int) -> Ways:
        """Search, or remember, the ways to a target from the tubes laid out.

        Raises
        ------
        InputError
            As `usable` and `recipes`.
        """
        must = [paint for paint in goal.must if paint != MEDIUM]
        there = {paint.nickname for paint in store.paints.all() if paint.on_hand}
        if goal.kept is not None:
            read = tubes_for(store, list(goal.kept.parts)).select(list(goal.kept.parts))
        else:
            if not there & {*laid_out, *must}:
                raise InputError(
                    None, None, "none of the tubes laid out is on hand", "lay out others"
                )
            out = sorted(there - {*laid_out, *must})
            film = goal.manner.film is not None and goal.medium
            read = tubes_for(store, goal.must, out, film)
        fits = tuple(sorted(store.fits.current(read.model).items()))
        key = (
            goal.target.said, tuple(goal.target.lab), goal.manner, goal.must, most, fits,
            read.paints, read.model, tuple(read.density), goal.kept and goal.kept.id,
        )  # fmt: skip
        return self._remembered(key, lambda: _search(store, read, goal, most))

    def further(self, store: Store, goal: Goal, ways: Ways, most: int) -> list[Widening]:
        """Try, or remember, each fitted tube that isn't laid out as one more, best first."""
        laid_out = [paint for paint in ways.read.paints if paint != MEDIUM]
        lab, fits = ways.answer.target.lab, tuple(sorted(store.fits.current().items()))
        key = ("further", tuple(lab), tuple(laid_out), goal.manner, most, fits)
        whole = goal.manner.viewing.of(store.fits.coefficients())
        return self._remembered(key, lambda: one_more(whole, laid_out, lab, most))

    def _remembered(self, key: object, search: Callable[[], Found]) -> Found:
        with self._lock:
            if key not in self._found:
                self._found[key] = search()
            self._found.move_to_end(key)
            while len(self._found) > _KEPT:
                self._found.popitem(last=False)
            found: Found = self._found[key]
            return found


def _search(store: Store, read: Coefficients, goal: Goal, most: int) -> Ways:
    names, manner = names_of(store), goal.manner
    if goal.kept is not None:
        palette, answer = as_kept(store, goal.kept, names)
    else:
        palette, target = manner.palette(read), manner.target(goal.target, read.surface)
        answer = recipes(
            palette.coefficients, target, most, goal.must, ways=4, names=names, film=manner.film
        )
    ways = tuple(
        Way(
            ",".join(sorted(recipe.parts)),
            recipe,
            swatch(recipe.lab),
            snap(palette, recipe.parts, answer.target.lab, WEIGHED_PARTS),
        )
        for recipe in answer.recipes
    )
    return Ways(answer, ways, store.fits.model_words(read), read)


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
    assumed : tuple of str
        Paints in it whose density was never weighed.
    slip : float
        CIEDE2000 that it may therefore be off, measured by volume.
    """

    weighed: Snapped
    others: tuple[Snapped, ...]
    order: Order
    names: Mapping[str, str]
    assumed: tuple[str, ...]
    slip: float

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


def amounts(
    store: Store, goal: Goal, ways: Ways, way: Way, make: str, coats: int, step: float
) -> Amounts:
    """Say how much of each tube a way takes.

    Parameters
    ----------
    store : Store
    goal : Goal
    ways : Ways
    way : Way
        One of these.
    make : str
        ``40ml``, ``25g``, or an area such as ``40x50cm``.
    coats : int
        With an area, of paint that hides.
    step : float
        Of the scale, g.

    Raises
    ------
    InputError
        For an amount that is none of these.
    """
    parts, target = way.recipe.parts, ways.answer.target.lab
    read = ways.read.select(list(parts))
    palette = goal.manner.palette(read)
    if "x" in make.casefold():
        grams = goal.manner.area_grams(read, parts, make, coats)
    else:
        grams = batch_grams(read, parts, make)
    ml = grams / density(read, parts)
    others = [of_size(SYRINGE, ml) if m is SYRINGE else m for m in MEASURES if m.unit != "g"]
    measures = (of_size(scale(step), grams), *others)
    snapped = [snap(palette, parts, target, measure) for measure in measures]
    assumed = with_densities(store, read)[1]
    return Amounts(
        snapped[0], tuple(snapped[1:]), order_of(palette, parts), names_of(store), tuple(assumed),
        volume_slip(palette, parts, assumed),
    )  # fmt: skip


def aim(store: Store, text: str) -> Target:
    """Return the target that a field says.

    Raises
    ------
    InputError
        As `parse_target`; a file is never opened from here.
    """
    name = text.partition("::")[0]
    if Path(name).suffix.lower() in TEXTS or is_there(name):
        raise InputError(
            "target", text, "is a file", "drop it under Cards, then name it as CARD/STEP"
        )
    return parse_target(text, store)


def aim_again(store: Store, name: str) -> Goal:
    """Return a kept recipe as a goal: to be mixed as it was kept.

    Raises
    ------
    InputError
        Where none is kept under that name.
    """
    kept = store.recipes.find(name)
    if kept is None:
        raise InputError(None, name, "is no kept recipe", "choose one under Kept")
    return Goal(kept_target(kept), Manner.of_kept(kept.predicted), kept=kept)


NEUTRALS = ("grey", "white", "black")
"""What a photograph may be evened by: each a field that holds a spot."""


def photo_of(path: Path, neutral: Mapping[str, str] = {}) -> Photo:
    """Open a photograph, evened by spots of it (``X,Y``), else by a printed card in it.

    Raises
    ------
    InputError
        Where it is no picture, or a spot lies outside.
    """
    spots = tuple((name, neutral[name]) for name in NEUTRALS if neutral.get(name))
    return _photo(path, path.stat().st_mtime_ns, spots)


@lru_cache(maxsize=4)
def _photo(path: Path, changed: int, spots: tuple[tuple[str, str], ...]) -> Photo:
    return open_photo(path, **dict(spots))


def shown_size(photo: Photo) -> tuple[int, int]:
    """Width and height of a photograph on the page, px."""
    high, wide = shrunk(photo, SHOWN).shape[:2]
    return wide, high


def aim_in_photo(path: Path, at: str, neutral: Mapping[str, str]) -> Target:
    """Return the spot of a photograph as a target, evened as for `photo_of`.

    Raises
    ------
    InputError
        Where the spot lies outside.
    """
    return spot(photo_of(path, neutral), parse_spot(at, "at"))
