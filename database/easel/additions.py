"""What to add to the paint on a plate: what is asked, and the answer with all it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import hypot
from typing import TYPE_CHECKING

from ...calibrate.optics.surface import Gloss
from ..mixing.drying import Wet
from ..mixing.heap_guess import Likely, outcomes
from ..mixing.made import SIGMAS
from ..mixing.measures import Measure
from ..mixing.next_addition import Next, hand, measured, next_additions
from ..mixing.target import Target
from .basis import Basis, Manner, on_hand
from .habits import BY_SCALE
from .heap import HeapQuestion, heap_question
from .plate import KeptDab, on_plate

if TYPE_CHECKING:
    from ..store.store import Store


@dataclass(frozen=True)
class AdditionRequest:
    """What is asked for: the nearest way from what is on a plate to a colour.

    Attributes
    ----------
    target : Target
    additions : tuple of mapping of nickname to grams
        On the plate, in order; the clear medium may be among them.
    finish : {"gloss", "satin", "matt"} or None
        None: the colour is matched as it is meant.
    dab : KeptDab or None
        That the plate began with: the first addition is what it is likely made of.
    wanted : float or None
        Grams needed in the end.
    scale : Measure
        That additions are weighed with.
    """

    target: Target
    additions: tuple[Mapping[str, float], ...]
    finish: Gloss | None = None
    dab: KeptDab | None = None
    wanted: float | None = None
    scale: Measure = BY_SCALE.scale


@dataclass(frozen=True)
class Additions:
    """What to add.

    Attributes
    ----------
    basis : Basis
    target : Target
        As it is compared.
    plate : dict of nickname to grams
    found : Next
    likely : Likely or None
        What the plate's first heap is likely made of, where nobody wrote it down.
    """

    basis: Basis
    target: Target
    plate: Mapping[str, float]
    found: Next
    likely: Likely | None

    @property
    def wet(self) -> tuple[Wet, Wet] | None:
        """Return how the plate looks wet now, and how it looks wet at the aim; None if untaught."""
        drying = self.basis.drying([*self.plate, *self.found.additions])
        if drying is None:
            return None
        return drying.wet(self.found.now, self.found.band), drying.wet(self.target.lab)


@dataclass(frozen=True)
class AdditionQuestion:
    """A request together with what its answer rests on: the studio isn't needed to answer it.

    Attributes
    ----------
    basis : Basis
    target : Target
        As it is compared.
    request : AdditionRequest
    heap : HeapQuestion or None
        What the plate's first heap is likely made of.
    """

    basis: Basis
    target: Target
    request: AdditionRequest
    heap: HeapQuestion | None

    def answer(self, likely: Likely | None = None) -> Additions:
        """Search; the answer to `heap` may be known already.

        Raises
        ------
        InputError
            As `likely_mixes`.
        """
        asked, lab, palette = self.request, self.target.lab, self.basis.palette
        plate = on_plate(asked.additions)
        # What is there is there: less than it is never needed.
        wanted = max(asked.wanted or 0.0, sum(plate.values()))
        found = next_additions(palette, plate, lab, wanted)
        found = measured(palette, plate, found, lab, asked.scale.step)
        found = replace(found, band=hypot(found.band, SIGMAS * self._weighed(plate, found)))
        if self.heap is not None and asked.dab is not None:
            likely = likely or self.heap.answer()
            more = on_plate([*asked.additions[1:], found.additions])
            _, unsure = outcomes(palette, likely, asked.dab.grams, more, lab)
            found = replace(found, band=hypot(found.band, max(unsure - found.then, 0.0)))
        return Additions(self.basis, self.target, plate, found, likely)

    def _weighed(self, plate: Mapping[str, float], found: Next) -> float:
        """CIEDE2000 that weighing may have moved the heap by; one standard deviation."""
        weighed = [*self.request.additions[self.request.dab is not None :], found.additions]
        times = {p: sum(p in each for each in weighed) for p in {**plate, **found.additions}}
        heap = {p: plate.get(p, 0.0) + found.additions.get(p, 0.0) for p in times}
        return hand(self.basis.palette, heap, times, self.request.scale.step)


def addition_question(store: Store, request: AdditionRequest) -> AdditionQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        As `on_hand`.
    """
    manner, dab = Manner.matching(request.target, request.finish), request.dab
    basis = on_hand(store, manner, [*on_plate(request.additions), *(dab.of if dab else ())])
    target = request.target.under(manner.viewing, basis.read.surface)
    return AdditionQuestion(basis, target, request, heap_question(store, dab) if dab else None)
