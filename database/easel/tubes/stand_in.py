"""A tube that is gone: what stands in for it in a mix, and what can't be helped."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ....calibrate.errors import Field, InputError
from ....calibrate.optics.colour import in_words
from ....calibrate.optics.surface import Gloss
from ...mixing.medium import MEDIUM
from ...mixing.palette import Palette
from ...mixing.ranking import VISIBLE
from ...mixing.recipes import Answer, lacks, recipe_as_given, recipes
from ...mixing.target import Target
from ...mixing.tubes.stand_in import StandIn, by_light, stand_ins
from ...mixing.viewing import LIGHTS
from ..basis import Basis, Manner, on_hand
from ..recipe import Ways, widened

if TYPE_CHECKING:
    from ...store.store import Store


@dataclass(frozen=True)
class StandInRequest:
    """What is asked for.

    Attributes
    ----------
    target : Target
        The colour of a mix of tubes.
    gone : str
        Nickname of the tube of it that is gone.
    without : tuple of str
        Nicknames of tubes that may not stand in.
    laid_out : tuple of str or None
        Nicknames of the tubes on hand that may; None: all.
    finish : {"gloss", "satin", "matt"} or None
    most : int
        Tubes in a mix that needn't hold what is left of the old one.
    """

    target: Target
    gone: str
    without: tuple[str, ...] = ()
    laid_out: tuple[str, ...] | None = None
    finish: Gloss | None = None
    most: int = 4


@dataclass(frozen=True)
class InPlace:
    """What stands in for a tube.

    Attributes
    ----------
    found : tuple of StandIn
        Nearest first.
    lights : tuple of mapping of light to CIEDE2000
        Of each, from the mix as it was.
    ways : Ways
        The mix calculated anew: with the nearest stand-in, and from any tubes, where that comes
        nearer by what can be seen.
    lacks : str
        What the best of these would have to be, to be the old colour; empty where it is.
    """

    gone: str
    found: tuple[StandIn, ...]
    lights: tuple[Mapping[str, float], ...]
    ways: Ways
    lacks: str

    @property
    def cannot_words(self) -> str:
        """Say what can't be helped."""
        best, lights = self.ways.answer, self.lights[0]
        if self.lacks:
            return (
                f"What can't be helped: no mix of the other tubes comes nearer than CIEDE2000 "
                f"{best.nearest:.1f}; {self.lacks}."
            )
        worst = max(lights, key=lambda light: lights[light])
        if lights[worst] > VISIBLE:
            return (
                f"What can't be helped: in {LIGHTS[worst]} the two part by {lights[worst]:.1f} "
                f"({in_words(lights[worst])}), for their spectra differ."
            )
        return "Nothing of it can be seen, in none of these lights."


@dataclass(frozen=True)
class StandInQuestion:
    """A request together with what its answer rests on: the studio isn't needed to answer it."""

    basis: Basis
    target: Target
    request: StandInRequest

    @property
    def key(self) -> object:
        """By which two questions are told apart."""
        parts, asked = tuple((self.target.parts or {}).items()), self.request
        return "stand-in", self.basis.key, parts, asked.gone, asked.without, asked.most

    def answer(self) -> InPlace:
        """Search.

        Raises
        ------
        InputError
            As `recipes`.
        """
        basis, target, gone = self.basis, self.target, self.request.gone
        palette, parts = basis.palette, target.parts
        assert parts is not None
        found = stand_ins(palette, parts, gone)
        left = [p for p in palette.paints if p != gone]
        anew = recipes(
            palette.select(left).coefficients, target, self.request.most, ways=1,
            names=basis.names, view=basis.view,
        )  # fmt: skip
        best = recipe_as_given(palette, found[0].parts, target, basis.names)
        mixes = [best]
        if anew.recipes[0].difference < best.difference - VISIBLE:
            mixes.append(anew.recipes[0])
        nearest = min(mixes, key=lambda each: each.difference)
        missing = lacks(nearest.lab, target.lab) if nearest.difference > VISIBLE else ""
        few = basis.of(left)
        ways = Ways(few, Answer(
            target, tuple(widened(basis, each) for each in mixes),
            anew.searched, nearest.difference, missing,
        ))  # fmt: skip
        return InPlace(gone, found, _lights(palette, parts, found), ways, missing)


def _lights(
    palette: Palette, parts: Mapping[str, float], found: tuple[StandIn, ...]
) -> tuple[Mapping[str, float], ...]:
    return tuple(by_light(palette, parts, each.parts) for each in found)


def stand_in_question(store: Store, request: StandInRequest) -> StandInQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        Where the colour is of no mix, the tube isn't in it, or nothing else is on hand.
    """
    target, gone = request.target, request.gone
    if target.parts is None:
        raise InputError(
            Field("instead"), gone, f"{target.said} isn't known as a mix of tubes",
            "name a kept recipe, or a mix such as 'ANCHOR=1,HULL=4'",
        )  # fmt: skip
    if gone not in target.parts:
        raise InputError(
            Field("instead"), gone, f"isn't in {target.said}: {', '.join(target.parts)} are",
            "name one of these",
        )  # fmt: skip
    if MEDIUM in target.parts:
        raise InputError(
            Field("instead"), gone, f"{target.said} holds clear medium: it lets its ground show",
            "name a mix that hides",
        )  # fmt: skip
    without = [paint for paint in request.without if paint not in target.parts]
    manner = Manner.matching(target, request.finish)
    basis = on_hand(store, manner, tuple(target.parts), without, request.laid_out)
    if len(basis.read.paints) == 1:
        raise InputError(Field("instead"), gone, "no other tube is on hand", "put more on hand")
    seen = target.under(manner.viewing, basis.read.surface)
    return StandInQuestion(basis, replace(seen, said=target.said), request)
