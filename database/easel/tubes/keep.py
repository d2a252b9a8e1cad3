"""Which tubes to keep: the best set of each number, for colours or for all that the tubes make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ....calibrate.errors import Field, InputError
from ....calibrate.optics.spectra import Array
from ....calibrate.optics.surface import Gloss
from ...mixing.gamut import gamut, spread
from ...mixing.medium import MEDIUM
from ...mixing.target import Target
from ...mixing.tubes.fewest import BestSets, best_sets
from ..basis import Basis, Manner, on_hand
from ..habits import habits
from ..setting_out import WantedColours

if TYPE_CHECKING:
    from ...store.store import Store

_SPREAD = 40
"""Colours that stand for all that the tubes can make."""
WITHIN = 5.0
"""CIEDE2000 that a mix may be off, by default: what is more is called another colour."""


@dataclass(frozen=True)
class KeepRequest:
    """What is asked for.

    Attributes
    ----------
    keep : int
        Tubes, at most.
    wanted : WantedColours or None
        None: all that the tubes can make.
    within : float
        CIEDE2000 that a mix may be off.
    without : tuple of str
        Nicknames of tubes on hand that aren't kept in any case.
    laid_out : tuple of str or None
        Nicknames of the tubes on hand that are looked at; None: all.
    finish : {"gloss", "satin", "matt"} or None
    most : int
        Tubes in one mix, at most.
    """

    keep: int
    wanted: WantedColours | None = None
    within: float = WITHIN
    without: tuple[str, ...] = ()
    laid_out: tuple[str, ...] | None = None
    finish: Gloss | None = None
    most: int = 4


@dataclass(frozen=True)
class Keep:
    """Which tubes to keep.

    Attributes
    ----------
    colours : (T, 3) array
        CIELAB of what is to be mixed.
    """

    basis: Basis
    wanted: WantedColours | None
    colours: Array
    within: float
    found: BestSets

    def changed_words(self, nth: int) -> str:
        """Say which tubes come into the nth set and which go, against the one before it."""
        names = self.basis.names
        before = self.found.sets[nth - 1].tubes if nth else ()
        now = self.found.sets[nth].tubes
        come = [names[p] for p in now if p not in before]
        go = [names[p] for p in before if p not in now]
        said = f"{' and '.join(come)} comes in" if len(come) == 1 else f"{', '.join(come)} come in"
        return said + (f", {', '.join(go)} {'goes' if len(go) == 1 else 'go'}" if go else "")

    @property
    def enough_words(self) -> str:
        """Say how many tubes are enough."""
        smallest, last = self.found.smallest, self.found.sets[-1]
        if smallest is None:
            stay = "colours stay" if last.missed > 1 else "colour stays"
            return (
                f"No {few_tubes(last.tubes)} make all of them near enough: with those "
                f"{last.missed} {stay} out of reach."
            )
        fewer = ", and no fewer" if smallest.exact else ""
        is_ = "is" if len(smallest.tubes) == 1 else "are"
        return f"{few_tubes(smallest.tubes)} {is_} enough{fewer}.".capitalize()

    @property
    def proof_words(self) -> str:
        """Say how sure it is that no other set does better."""
        found = self.found
        guessed = [best for best in found.sets if not best.exact]
        if not guessed:
            return (
                f"Every set of so many tubes was compared. All {len(self.basis.read.paints)} "
                f"together are off by {found.bound:.1f} on average."
            )
        gap = guessed[-1].mean - found.bound
        return (
            "There are too many sets to compare them all: those that seem to matter most were. No "
            f"{few_tubes(guessed[-1].tubes)} can do better by more than {gap:.1f} on average."
        )


def few_tubes(tubes: Sequence[str]) -> str:
    """Say how many: ``one tube``, ``6 tubes``."""
    return f"{len(tubes)} tubes" if len(tubes) != 1 else "one tube"


@dataclass(frozen=True)
class KeepQuestion:
    """A request together with what its answer rests on: the studio isn't needed to answer it."""

    basis: Basis
    targets: tuple[Target, ...]
    request: KeepRequest

    @property
    def key(self) -> object:
        """By which two questions are told apart."""
        asked = self.request
        colours = tuple((each.said, tuple(each.lab)) for each in self.targets)
        return "keep", self.basis.key, colours, asked.keep, asked.within, asked.most

    def answer(self) -> Keep:
        """Search."""
        palette, asked = self.basis.palette, self.request
        if self.targets:
            colours = np.array([target.lab for target in self.targets])
        else:
            colours = spread(gamut(palette), _SPREAD)
        found = best_sets(palette, colours, asked.keep, asked.within, asked.most)
        return Keep(self.basis, asked.wanted, colours, asked.within, found)


def keep_question(store: Store, request: KeepRequest) -> KeepQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        As `on_hand`; and for no tube at all.
    """
    if request.keep < 1:
        raise InputError(Field("keep"), str(request.keep), "expected one tube or more", "say 6")
    wanted = request.wanted
    viewing = wanted.viewing(request.finish) if wanted else habits(store).seen.under(request.finish)
    basis = on_hand(store, Manner(viewing), (), (*request.without, MEDIUM), request.laid_out)
    targets = tuple(
        each.under(viewing, basis.read.surface) for each in (wanted.targets if wanted else ())
    )
    return KeepQuestion(basis, targets, request)
