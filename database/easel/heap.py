"""A heap whose parts nobody wrote down: what it is likely made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...calibrate.errors import Sentence
from ..common.remedies import StudioDo
from ..mixing.heap_guess import READ_BAND, Likely, corrected, likely_mixes
from ..mixing.target import Target
from .basis import Basis, Manner, on_hand
from .drying import dried
from .habits import weighing
from .plate import KeptDab

if TYPE_CHECKING:
    from ..store.store import Store


def dab_of(
    store: Store,
    seen: Target,
    grams: float,
    of: Sequence[str] = (),
    wet: bool = False,
    told: Mapping[str, float] | None = None,
) -> KeptDab:
    """Return what is kept of a heap's dab.

    Parameters
    ----------
    seen : Target
        Its colour, dry unless it is said to be wet.
    grams : float
        In the heap.
    of : sequence of str
        Every tube that is in it, by nickname or part of a name; empty where they aren't known.
    wet : bool
        Whether it was seen wet: it is taken for what it will dry to.
    told : mapping of nickname to grams, optional
        What was weighed in; used where no tubes are named.

    Raises
    ------
    InputError
        For a wet dab of paints that nobody taught how they dry.
    """
    paints = tuple(dict.fromkeys(store.paints.find(name).nickname for name in of))
    known = {} if paints else dict(told or {})
    if wet:
        there = [paint.nickname for paint in store.paints.all() if paint.on_hand]
        seen = dried(store, seen, paints or known or there)
    lightness, a, b = (float(x) for x in seen.lab)
    return KeptDab(
        seen.said, (lightness, a, b), seen.band or READ_BAND, seen.viewing, grams, paints,
        tuple(known.items()), weighing(store).measuring.step,
    )  # fmt: skip


@dataclass(frozen=True)
class HeapQuestion:
    """A dab, together with what the answer rests on that says what its heap is likely made of."""

    basis: Basis
    dab: KeptDab

    @property
    def key(self) -> object:
        """By which two questions are told apart."""
        return "heap", self.basis.key, self.dab

    def answer(self) -> Likely:
        """Search.

        Raises
        ------
        InputError
            As `likely_mixes`.
        """
        palette, dab = self.basis.palette, self.dab
        found = None
        if dab.told:
            found = corrected(palette, dict(dab.told), dab.target, dab.step)
        # What looks like nothing that was weighed in is another heap.
        return found or likely_mixes(palette, dab.target, dab.of)


def heap_question(store: Store, dab: KeptDab) -> HeapQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        As `on_hand`.
    """
    paints = [*dab.of, *(paint for paint, _ in dab.told)]
    return HeapQuestion(on_hand(store, Manner(dab.viewing), paints), dab)


def guess_words(likely: Likely, names: Mapping[str, str]) -> list[str | Sentence]:
    """Say what a heap is likely made of, in sentences."""
    parts = ", ".join(
        f"{100 * likely.mixes[0][name]:.0f} % {names[name]} ({100 * low:.0f} to {100 * high:.0f})"
        for name, (low, high) in likely.spread.items()
    )
    lines: list[str | Sentence] = [f"By its dab the heap is likely {parts}."]
    if likely.spread and min(low for low, _ in likely.spread.values()) == 0:
        lines.append(Sentence("Other tubes may be in it: ", StudioDo.NAME_TUBES_OF(), "."))
    if likely.shows_through > 2:
        lines.append(
            "A thin smear of that still shows its card, and a dab must hide it: put on a second "
            "coat."
        )
    return lines
