"""Recipes for a colour: what is asked, how it is searched, and how much of each tube it takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ...calibrate.errors import InputError
from ...calibrate.optics.surface import Gloss
from ..mixing.drying import Wet
from ..mixing.film import Film
from ..mixing.made import Made, as_made
from ..mixing.measures import WEIGHED_PARTS, area_grams, batch_grams
from ..mixing.order import Order, order_of
from ..mixing.recipes import Answer, Recipe, recipe_as_given, recipes
from ..mixing.target import Target
from ..mixing.viewing import Viewing
from .asked_colour import kept_target
from .basis import Basis, Manner, on_hand
from .ground import unsure
from .habits import BY_SCALE, Measuring

MOST_COATS = 3
"""Coats over a ground of one's own, at most."""
_SEEN = 0.3
"""CIEDE2000 that a coat more has to earn (our own rule)."""

if TYPE_CHECKING:
    from ..store import schema
    from ..store.store import Store


@dataclass(frozen=True)
class RecipeRequest:
    """What is asked for: a colour, or a recipe that is to be mixed as it was kept.

    Attributes
    ----------
    target : Target or None
        None: `kept` is asked for.
    kept : str
        Name of a recipe.
    must, without : tuple of str
        Nicknames of what has to be in the mix and what may not; the clear medium may be among them.
    laid_out : tuple of str or None
        Nicknames of the tubes on hand that may be used; None: all.
    finish : {"gloss", "satin", "matt"} or None
        None: the colour is matched as it is meant.
    film : Film or None
        None: paint that hides.
    most, ways : int
        Tubes in a mix, and ways to return, at most.
    """

    target: Target | None = None
    kept: str = ""
    must: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    laid_out: tuple[str, ...] | None = None
    finish: Gloss | None = None
    film: Film | None = None
    most: int = 4
    ways: int = 4


@dataclass(frozen=True)
class RecipeQuestion:
    """A request together with what its answer rests on: the studio isn't needed to answer it.

    Attributes
    ----------
    target : Target
        As it is compared.
    most, ways : int
        As in the request.
    parts : dict of nickname to share by weight, or None
        Of a recipe as it was kept; None: it is searched.
    """

    basis: Basis
    target: Target
    must: tuple[str, ...] = ()
    most: int = 4
    ways: int = 4
    parts: Mapping[str, float] | None = None

    @property
    def key(self) -> object:
        """By which two questions are told apart."""
        target, parts = self.target, tuple((self.parts or {}).items())
        colour = (target.said, tuple(target.lab), target.viewing)
        return "recipe", self.basis.key, colour, self.must, self.most, self.ways, parts

    def answer(self) -> Ways:
        """Search.

        Raises
        ------
        InputError
            As `recipes`.
        """
        basis, palette = self.basis, self.basis.palette
        if self.parts is not None:
            one = recipe_as_given(palette, self.parts, self.target, basis.names)
            one = widened(basis, one)
            return Ways(basis, Answer(self.target, (one,), 1, one.difference, ""))
        film = basis.manner.film
        ways = self._found(basis)
        while film and film.ground and film.coats < MOST_COATS and not ways.answer.reachable:
            # One coat more, only where it comes nearer by what can be seen.
            film = replace(film, coats=film.coats + 1)
            thicker = replace(basis, manner=replace(basis.manner, film=film))
            more = self._found(thicker)
            if more.answer.nearest > ways.answer.nearest - _SEEN:
                break
            ways = more
        return ways

    def _found(self, basis: Basis) -> Ways:
        """Search for mixes that are painted in one manner."""
        found = recipes(
            basis.palette.coefficients, self.target, self.most, self.must, self.ways, basis.names,
            film=basis.manner.film, view=basis.view,
        )  # fmt: skip
        return Ways(
            basis, replace(found, recipes=tuple(widened(basis, each) for each in found.recipes))
        )


def widened(basis: Basis, recipe: Recipe) -> Recipe:
    """Return a way with the band that dried batches of its paints make of its own.

    Over a ground of which only the colour is known, the band holds what that leaves open.
    """
    band = recipe.band * basis.widening(recipe.parts).times
    film = basis.manner.film
    if film is not None and film.ground is not None and film.ground.others:
        palette = basis.palette
        volume = palette.coefficients.dry_volume
        dry = np.array([recipe.parts.get(p, 0.0) for p in palette.paints]) * volume
        band = float(np.hypot(band, unsure(palette, recipe.lab, dry / dry.sum())))
    return replace(recipe, band=band)


def kept_named(store: Store, name: str) -> schema.Recipe:
    """Return the recipe kept last under a name.

    Raises
    ------
    InputError
        Where there is none.
    """
    kept = store.recipes.find(name)
    if kept is None:
        raise InputError(None, name, "is no kept recipe", "choose one that is kept")
    return kept


def recipe_question(store: Store, request: RecipeRequest) -> RecipeQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        As `on_hand` and `kept_named`.
    """
    if request.target is None:
        return as_kept(store, kept_named(store, request.kept))
    manner = Manner.matching(request.target, request.finish, request.film)
    basis = on_hand(store, manner, request.must, request.without, request.laid_out)
    target = request.target.under(manner.viewing, basis.read.surface)
    return RecipeQuestion(basis, target, request.must, request.most, request.ways)


def as_kept(store: Store, kept: schema.Recipe, viewing: Viewing | None = None) -> RecipeQuestion:
    """Return the question what a kept recipe looks like by the fits of today.

    Parameters
    ----------
    viewing : Viewing, optional
        Another condition than it was kept for.

    Raises
    ------
    InputError
        Where one of its tubes has no fit any more.
    """
    paints, manner = tuple(kept.parts), Manner.of_kept(kept.predicted)
    if viewing is not None:
        manner = replace(manner, viewing=viewing)
    return RecipeQuestion(
        on_hand(store, manner, paints).of(paints), kept_target(kept), parts=kept.parts
    )


@dataclass(frozen=True)
class Ways:
    """The ways to a colour."""

    basis: Basis
    answer: Answer

    def wet(self, recipe: Recipe) -> Wet | None:
        """Return what a way looks like wet; None where that was never taught."""
        drying = self.basis.drying(recipe.parts)
        return None if drying is None else drying.wet(recipe.lab, recipe.band)

    def in_parts(self, recipe: Recipe) -> Made:
        """Return a way in whole parts by weight."""
        return as_made(self.basis.palette, recipe.parts, self.answer.target.lab, WEIGHED_PARTS)

    def kept(self, recipe: Recipe) -> tuple[dict[str, Any], dict[str, Any]]:
        """Return what is kept of the target, and of what is expected of a way to it."""
        target = self.answer.target
        wanted = {
            "said": target.said,
            "words": target.words,
            "lab": target.lab.tolist(),
            "estimate": target.estimate,
        }
        expected = {
            "lab": recipe.lab.tolist(),
            "difference_de00": recipe.difference,
            "band_de00": recipe.band,
            "model_band_de00": recipe.band / self.basis.widening(recipe.parts).times,
        }
        return wanted, expected | self.basis.manner.said


@dataclass(frozen=True)
class Quantity:
    """How much to make, and what with.

    Attributes
    ----------
    make : str
        ``40ml``, ``25g``, or an area such as ``40x50cm``; empty: a handy batch.
    coats : int
        With an area, of paint that hides.
    """

    make: str = ""
    coats: int = 2
    measuring: Measuring = BY_SCALE


@dataclass(frozen=True)
class Amounts:
    """How much of each tube, and in which order.

    Attributes
    ----------
    grams : float or None
        To be made; None: a handy batch.
    measured : tuple of Made
        By each measure, that of the painter first.
    assumed : tuple of str
        Paints in it whose density was never weighed.
    slip : float
        CIEDE2000 that it may therefore be off, measured by volume.
    """

    grams: float | None
    measured: tuple[Made, ...]
    order: Order
    assumed: tuple[str, ...]
    slip: float

    @property
    def first(self) -> Made:
        """By the painter's measure."""
        return self.measured[0]

    @property
    def others(self) -> tuple[Made, ...]:
        """By every other measure."""
        return self.measured[1:]

    @property
    def batch(self) -> Made:
        """What a batch of it is: by the first measure whose unit has a size."""
        return next(made for made in self.measured if made.measure.size is not None)

    @property
    def by_ratio(self) -> tuple[Made, ...]:
        """Those that are a handy batch in the same ratio, although so much was asked for."""
        return tuple(made for made in self.measured if self.grams and made.asked is None)


def amounts(ways: Ways, recipe: Recipe, quantity: Quantity) -> Amounts:
    """Say how much of each tube a way takes.

    Raises
    ------
    InputError
        For an amount that is none.
    """
    basis, parts, wanted = ways.basis, recipe.parts, ways.answer.target.lab
    grams = grams_to_make(basis, parts, quantity)
    measured = tuple(
        basis.made(parts, wanted, measure, grams) for measure in quantity.measuring.every
    )
    return Amounts(
        grams, measured, order_of(basis.palette, parts), tuple(basis.assumed(parts)),
        basis.volume_slip(parts),
    )  # fmt: skip


def grams_to_make(basis: Basis, parts: Mapping[str, float], quantity: Quantity) -> float | None:
    """Return how much of a mix is to be made, g; None for a handy batch.

    Raises
    ------
    InputError
        For an amount that is none.
    """
    if not quantity.make:
        return None
    if "x" not in quantity.make.casefold():
        return batch_grams(basis.read, parts, quantity.make)
    film = basis.manner.film
    if film is not None:
        return area_grams(basis.read, parts, quantity.make, film.coats, film.thickness_um)
    return area_grams(basis.read, parts, quantity.make, quantity.coats)
