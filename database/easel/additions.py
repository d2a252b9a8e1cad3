"""What to add to the paint on a plate: what is asked, and the answer with all it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import hypot
from typing import TYPE_CHECKING

from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from ...calibrate.optics.surface import Gloss
from ..mixing.drying import Wet
from ..mixing.heap_guess import Likely, outcomes
from ..mixing.made import SIGMAS
from ..mixing.measures import Measure, amount_words
from ..mixing.next_addition import LEFT_G, NEAR, Next, hand, next_additions, predicted_band
from ..mixing.order import lab_of
from ..mixing.target import Target
from .basis import Basis, Manner, on_hand
from .habits import BY_SCALE
from .heap import HeapQuestion, heap_question
from .plate import KeptDab, on_plate

if TYPE_CHECKING:
    from ..store.store import Store

_WORTH_A_PART = 2.0
"""Times as far off as it is unsure that a plate has to be, for part of an addition to go on before
a dab is dried: less than half of it isn't worth a stirring (our own rule)."""


@dataclass(frozen=True)
class AdditionRequest:
    """What is asked for: the nearest way from what is on a plate to a colour.

    Attributes
    ----------
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
    target : Target
        As it is compared.
    plate : dict of nickname to grams
    found : Next
        All that it lacks, as far as is known.
    first : Next
        What of that to add before looking: all, or as much as is surely not too much; nothing
        where a dab comes first.
    likely : Likely or None
        What the plate's first heap is likely made of, where nobody wrote it down.
    unsure : float
        CIEDE2000 that the plate as it is stays within of its prediction, 95 of 100 times.
    dab_first : bool
        Whether a dried dab tells more than an addition brings: what is known hardly better than it
        is off may be right as it is, or off the other way, and paint once added stays.
    wanted : float
        Grams needed in the end.
    """

    basis: Basis
    target: Target
    plate: Mapping[str, float]
    found: Next
    first: Next
    likely: Likely | None
    unsure: float
    dab_first: bool
    wanted: float

    @property
    def rest(self) -> dict[str, float]:
        """What follows the first part, as far as is known before that was looked at."""
        left = {p: g - self.first.additions.get(p, 0.0) for p, g in self.found.additions.items()}
        return {p: g for p, g in left.items() if g > 1e-9}

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
    target : Target
        As it is compared.
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
        if self.heap is not None and asked.dab is not None:
            likely = likely or self.heap.answer()
        if likely is not None:
            # What the model gets wrong of this heap it gets wrong of it with a little more, too.
            lab = lab - likely.shift
        found = next_additions(palette, plate, lab, wanted, step=asked.scale.step)
        if likely is not None:
            found = replace(found, now=found.now + likely.shift)
        unsure = self._unsure(asked.additions, found.off, likely)
        after = self._unsure((*asked.additions, found.additions), found.then, likely)
        found = replace(found, band=after)
        # Whoever looked at a dried dab of just this plate knows it as well as it can be known.
        looked = asked.dab is not None and len(asked.additions) == 1
        doubt = 0.0 if looked or unsure <= NEAR else unsure
        dab_first = doubt > found.off / _WORTH_A_PART
        first = self._part(
            found, plate, lab, 0.0 if dab_first else 1 - doubt / max(found.off, NEAR)
        )
        return Additions(
            self.basis, self.target, plate, found, first, likely, unsure, dab_first, wanted
        )

    def _part(self, found: Next, plate: Mapping[str, float], lab: Array, share: float) -> Next:
        """Return a share of what is to be added, in whole steps of the scale, or all of it."""
        step = self.request.scale.step
        steps = {p: int(share * g / step + 1e-6) for p, g in found.additions.items()}
        part = {p: float(round(n * step, 9)) for p, n in steps.items() if n}
        if (share and not part) or share == 1.0:
            return found
        heap = {p: plate.get(p, 0.0) + part.get(p, 0.0) for p in {**plate, **part}}
        then = float(ciede2000(lab_of(self.basis.palette, [heap])[0], lab)) if part else found.off
        growth = sum(part.values()) / sum(plate.values())
        return replace(found, additions=part, then=then, growth=growth)

    def _unsure(
        self, additions: Sequence[Mapping[str, float]], off: float, likely: Likely | None
    ) -> float:
        """CIEDE2000 that a plate stays within of its prediction, 95 of 100 times."""
        palette, dab = self.basis.palette, self.request.dab
        heap, weighed = on_plate(additions), additions[dab is not None :]
        times = {paint: sum(paint in each for each in weighed) for paint in heap}
        # A dab shows whatever a brush brought before it.
        left = LEFT_G if dab is None else 0.0
        moved = hand(palette, heap, times, self.request.scale.step, left)
        wider = self.basis.widening(heap).times
        found = hypot(wider * predicted_band(palette, heap), SIGMAS * moved)
        if likely is not None and dab is not None:
            lab = self.target.lab - likely.shift
            _, most = outcomes(palette, likely, dab.grams, on_plate(weighed), lab)
            found = hypot(found, max(most - off, 0.0))
        return found


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


def start_over_words(answer: Additions, scale: Measure) -> str:
    """Say why a fresh batch is better and what it is made of, a sentence without its end."""
    found, heap = answer.found, sum(answer.plate.values())
    names = answer.basis.names
    listed = ", ".join(f"{amount_words(g, scale)} {names[p]}" for p, g in found.fresh.items())
    fresh = f"a fresh batch of {listed}"
    if found.growth * heap > answer.wanted:
        more = f"{found.growth * heap:.0f} g"
        return (
            f"It takes less paint to start over: {fresh} takes {answer.wanted:.0f} g and comes "
            f"within {found.fresh_off:.1f}, this plate takes {more} more"
        )
    return f"Only {fresh} comes near, within {found.fresh_off:.1f}"
