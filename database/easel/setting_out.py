"""What to set out for a photograph or for several colours, from what a studio holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from ...calibrate.optics.spectra import Array
from ...calibrate.optics.surface import Gloss
from ..mixing.drying import Wet
from ..mixing.made import Made
from ..mixing.measures import Beforehand, Measure, Tint, mixed
from ..mixing.setout import BATCH_ML, WITHIN, Dab, SetOut, set_out
from ..mixing.target import Target
from ..mixing.viewing import Viewing
from .basis import Basis, Manner, on_hand
from .habits import BY_SCALE, Measuring
from .recipe import widened

if TYPE_CHECKING:
    from ..mixing.photo import Spot
    from ..store.store import Store


@dataclass(frozen=True)
class CardSeen:
    """What looks like a reference card in a photograph.

    Attributes
    ----------
    at : (x, y)
        Its middle, px.
    lab : (3,) array
        Its colour as the photograph shows it.
    """

    at: Spot
    lab: Array


def cards_words(cards: Sequence[CardSeen]) -> str:
    """Say what looks like a reference card, a sentence without its end; empty if nothing."""
    if not cards:
        return ""
    places = " and ".join(f"{x:g},{y:g}" for x, y in (card.at for card in cards))
    return (
        f"what is seen at {places} px looks like reference cards and is left out: say which is "
        "the white, the grey or the black, and the colours are surer"
    )


@dataclass(frozen=True)
class WantedColours:
    """Colours that are to be mixed.

    Attributes
    ----------
    name : str
        What they are of, in a word or two.
    shares, places : tuple or None
        How much of a photograph each covers, and where it is seen best.
    remark : str
        How far a photograph can be trusted.
    cards : tuple of CardSeen
        What looks like reference cards in it, and nobody said so.
    """

    targets: tuple[Target, ...]
    name: str
    shares: tuple[float, ...] | None = None
    places: tuple[Spot, ...] | None = None
    remark: str = ""
    cards: tuple[CardSeen, ...] = ()

    @property
    def cards_words(self) -> str:
        """Say what looks like a reference card; see `cards_words`."""
        return cards_words(self.cards)

    def viewing(self, finish: Gloss | None) -> Viewing:
        """Return how all of them are looked at: under a named finish, else as each is meant.

        Where some are meant as the eye sees them and others as an instrument reads them, the eye
        it is: what was read tells what is seen, and not the other way round.
        """
        each = {target.viewing.under(finish) for target in self.targets}
        if len(each) == 1:
            return each.pop()
        # Of several ways to see them the commonest, and of equally common ones the first.
        seen = [target.viewing for target in self.targets if target.viewing.finish]
        return max(seen, key=seen.count) if seen else self.targets[0].viewing.under("gloss")


def wanted_each(targets: Sequence[Target]) -> WantedColours:
    """Return colours that count alike."""
    return WantedColours(
        tuple(targets), f"{len(targets)} colours" if len(targets) > 1 else "one colour"
    )


@dataclass(frozen=True)
class SetOutRequest:
    """What is asked for: the fewest tubes that mix all colours wanted.

    Attributes
    ----------
    must, without : tuple of str
        Tubes set out anyway and left out, by nickname or part of a name.
    finish : {"gloss", "satin", "matt"} or None
        None: as the colours are meant.
    within : float
        CIEDE2000 that a mix may be off.
    most : int
        Tubes in one mix, at most.
    ml : float
        To make in all, where there is no area.
    area : str or None
        Of the picture, such as ``40x50cm``.
    coats : int
        With an area.
    """

    wanted: WantedColours
    must: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    finish: Gloss | None = None
    within: float = WITHIN
    most: int = 4
    ml: float = BATCH_ML
    area: str | None = None
    coats: int = 2
    measuring: Measuring = BY_SCALE


@dataclass(frozen=True)
class SettingOut:
    """What to set out.

    Attributes
    ----------
    measure : Measure
        That its heaps are measured with.
    """

    basis: Basis
    wanted: WantedColours
    found: SetOut
    measure: Measure

    @cached_property
    def heaps(self) -> tuple[Made, ...]:
        """Each colour's heap as it is made, in the order of the colours."""
        return tuple(self.by(dab, self.measure) for dab in self.found.dabs)

    @property
    def beforehand(self) -> tuple[Beforehand, ...]:
        """Every tint that is mixed beforehand, once for all heaps."""
        needed: dict[Tint, float] = {}
        for heap in self.heaps:
            for tint in heap.tints:
                needed[tint] = needed.get(tint, 0.0) + heap.amounts[tint.paint]
        return tuple(
            step for tint, most in needed.items() for step in mixed(tint, most, self.measure)
        )

    @property
    def ml(self) -> dict[str, float]:
        """Millilitres to squeeze out of each tube, most first; what tints leave over too."""
        size = self.measure.size
        if size is None:
            return dict(self.found.ml)
        units: dict[str, float] = dict.fromkeys(self.found.tubes, 0.0)
        for heap in self.heaps:
            for paint, amount in heap.amounts.items():
                units[paint] += amount if heap.tint(paint) is None else 0.0
        for step in self.beforehand:
            units[step.tint.into] += step.into
            units[step.tint.paint] += step.strong if step.tint.times == 1 else 0.0
        read = self.basis.read
        each = {
            paint: size * n / (1.0 if self.measure.by_volume else read.density[read.index(paint)])
            for paint, n in units.items()
        }
        return {p: float(ml) for p, ml in sorted(each.items(), key=lambda item: -item[1])}

    @property
    def made_ml(self) -> float:
        """Millilitres of all heaps together."""
        return sum(dab.ml for dab in self.found.dabs)

    def wet(self, dab: Dab) -> Wet | None:
        """Return what a colour's heap looks like wet; None where that was never taught."""
        drying = self.basis.drying(dab.recipe.parts)
        return None if drying is None else drying.wet(dab.recipe.lab, dab.recipe.band)

    def by(self, dab: Dab, measure: Measure, handy: bool = False) -> Made:
        """Return one colour's heap by another measure, or a handy batch of it."""
        grams = None if handy else sum(dab.grams.values())
        return self.basis.made(dab.recipe.parts, dab.target.lab, measure, grams)


@dataclass(frozen=True)
class SetOutQuestion:
    """A request together with what its answer rests on: the studio isn't needed to answer it.

    Attributes
    ----------
    targets : tuple of Target
        As they are compared.
    must : tuple of str
        Nicknames.
    """

    basis: Basis
    targets: tuple[Target, ...]
    must: tuple[str, ...]
    request: SetOutRequest

    def answer(self) -> SettingOut:
        """Search.

        Raises
        ------
        InputError
            As `set_out`.
        """
        asked, basis, wanted = self.request, self.basis, self.request.wanted
        found = set_out(
            basis.palette, self.targets, wanted.shares, wanted.places, asked.within,
            asked.most, self.must, asked.ml, asked.area, asked.coats, basis.names,
        )  # fmt: skip
        dabs = tuple(replace(each, recipe=widened(basis, each.recipe)) for each in found.dabs)
        found = replace(found, dabs=dabs)
        measure = asked.measuring.measure
        return SettingOut(basis, wanted, found, measure)


def setout_question(store: Store, request: SetOutRequest) -> SetOutQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        As `on_hand`; and for a tube that there isn't.
    """
    must, without = (
        tuple(store.paints.find(text).nickname for text in texts)
        for texts in (request.must, request.without)
    )
    viewing = request.wanted.viewing(request.finish)
    basis = on_hand(store, Manner(viewing), must, without)
    targets = tuple(each.under(viewing, basis.read.surface) for each in request.wanted.targets)
    return SetOutQuestion(basis, targets, must, request)
