"""A heap whose parts nobody wrote down: what it is likely made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...calibrate.errors import Sentence
from ..common.remedies import StudioDo
from ..mixing.heap_guess import READ_BAND, Likely, likely_mixes
from ..mixing.target import Target
from .basis import Basis, Manner, on_hand
from .drying import dried
from .plate import KeptDab

if TYPE_CHECKING:
    from ..store.store import Store


def dab_of(
    store: Store, seen: Target, grams: float, of: Sequence[str] = (), wet: bool = False
) -> KeptDab:
    """Return what is kept of a heap's dab.

    Parameters
    ----------
    store : Store
    seen : Target
        Its colour, dry unless it is said to be wet.
    grams : float
        In the heap.
    of : sequence of str
        Every tube that is in it, by nickname or part of a name; empty where they aren't known.
    wet : bool
        Whether it was seen wet: it is taken for what it will dry to.

    Raises
    ------
    InputError
        For a wet dab of paints that nobody taught how they dry.
    """
    paints = tuple(dict.fromkeys(store.paints.find(name).nickname for name in of))
    if wet:
        there = [paint.nickname for paint in store.paints.all() if paint.on_hand]
        seen = dried(store, seen, paints or there)
    lightness, a, b = (float(x) for x in seen.lab)
    return KeptDab(
        seen.said, (lightness, a, b), seen.band or READ_BAND, seen.viewing, grams, paints
    )


@dataclass(frozen=True)
class HeapQuestion:
    """A dab, together with what the answer rests on that says what its heap is likely made of.

    Attributes
    ----------
    basis : Basis
    dab : KeptDab
    """

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
        return likely_mixes(self.basis.palette, self.dab.target, self.dab.of)


def heap_question(store: Store, dab: KeptDab) -> HeapQuestion:
    """Gather all that an answer rests on.

    Raises
    ------
    InputError
        As `on_hand`.
    """
    return HeapQuestion(on_hand(store, Manner(dab.viewing), dab.of), dab)


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
