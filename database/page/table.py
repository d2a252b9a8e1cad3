"""What the mixing table carries, so that the browser can go on mixing by itself."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from ...calibrate.errors import InputError
from ...calibrate.optics.colour import ciede2000, surely_in_words
from ..common.words import HUES
from ..easel.basis import Basis, Manner, on_hand
from ..easel.experience import COUNTS, LEAST, MOST
from ..easel.habits import Habits, weighing
from ..mixing.made import Made
from ..mixing.measures import Measure
from ..mixing.next_addition import predicted_band
from ..mixing.order import lab_of
from ..mixing.recipes import lacks
from ..mixing.target import Target
from ..paper.handout.numbers import numbers
from ..store.store import Store
from .asked import Asked
from .remembered import Remembered

_LARGEST = 20.0
"""Units that a slider reaches, unless more is on it (our own choice)."""


def measure_of(habits: Habits) -> Measure:
    """What the table's amounts are measured with; by weight where a unit has no size."""
    own = habits.measuring.measure
    return habits.measuring.scale if own.size is None else own


def grams_each(basis: Basis, measure: Measure) -> dict[str, float]:
    """Grams of each tube in one unit of a measure."""
    size = measure.size or 1.0
    return {
        tube.nickname: size * (tube.density if measure.by_volume else 1.0) for tube in basis.tubes
    }


@dataclass(frozen=True)
class Tried:
    """A mix as it stands on the sliders.

    Attributes
    ----------
    amounts : dict of nickname to amount
        In the table's measure.
    lab : (3,) array or None
        What it looks like; None where nothing is on it.
    band : float
        CIEDE2000 that it stays within of that, 95 of 100 times.
    """

    amounts: Mapping[str, float]
    lab: Any = None
    band: float = 0.0

    def words(self, target: Target | None) -> str:
        """Say how far it is from what is wanted."""
        if self.lab is None:
            return "Lay tubes out, and say how much of each."
        if target is None:
            return f"Sure to within {self.band:.1f}."
        off = float(ciede2000(self.lab, target.lab))
        lack = lacks(self.lab, target.lab)
        more = f" {lack[:1].upper()}{lack[1:]}." if off >= 1 and "nearer" not in lack else ""
        return verdict(off, self.band) + more


def amounts_typed(asked: Asked, basis: Basis) -> dict[str, float]:
    """Amounts of the table's own fields, by nickname.

    Raises
    ------
    InputError
        For what is no amount.
    """
    found = {}
    for tube in basis.tubes:
        text = asked.text(f"a:{tube.nickname}").replace(",", ".")
        try:
            amount = float(text or 0)
        except ValueError:
            amount = -1.0
        if not 0 <= amount < 1e5:
            raise InputError(
                tube.name, text, "expected an amount such as 2.5", "leave it empty for none"
            )
        if amount:
            found[tube.nickname] = amount
    return found


def tried(
    basis: Basis, amounts: Mapping[str, float], measure: Measure, plate: Mapping[str, float]
) -> Tried:
    """Predict what is on the sliders, on top of what is on the plate (g)."""
    each = grams_each(basis, measure)
    heap = dict(plate)
    for paint, amount in amounts.items():
        heap[paint] = heap.get(paint, 0.0) + amount * each[paint]
    heap = {paint: grams for paint, grams in heap.items() if grams > 0}
    if not heap:
        return Tried(amounts)
    band = predicted_band(basis.palette, heap) * basis.widening(heap).times
    return Tried(amounts, lab_of(basis.palette, [heap])[0], band)


def grams_of_table(asked: Asked, store: Store) -> dict[str, str]:
    """Return what stands on the sliders as grams, as a form writes them."""
    basis = on_hand(store, Manner())
    each = grams_each(basis, measure_of(weighing(store)))
    return {p: f"{a * each[p]:.4g}" for p, a in amounts_typed(asked, basis).items()}


def verdict(off: float, band: float) -> str:
    """Say how far a mix is from what is wanted, in the words of every other face."""
    words = surely_in_words(off, band)
    return f"{words[:1].upper()}{words[1:]} ({off:.1f}), sure to within {band:.1f}."


def amounts_of(made: Made, basis: Basis, measure: Measure) -> dict[str, float]:
    """Return a mix as it is made as amounts of its tubes alone, tints taken apart."""
    each = grams_each(basis, measure)
    return {paint: round(grams / each[paint], 6) for paint, grams in made.grams.items()}


def carried(
    asked: Asked, basis: Basis, target: Target | None, measure: Measure, on_it: Mapping[str, float],
    plate_band: float | None, largest: float,
) -> Markup:  # fmt: skip
    """All that the table's script calculates with, as JSON."""
    remembered: Remembered = asked.request.app.state.numbers
    known = remembered.of(basis.key, lambda: numbers(basis.palette))
    each = grams_each(basis, measure)
    said = {
        **known,
        "paints": list(basis.read.paints),
        "each": [each.get(paint, 1.0) for paint in basis.read.paints],
        "unit": measure.unit,
        "step": measure.step,
        "quarters": measure.step == 0.25,
        "most": max(_LARGEST, 1.25 * largest),
        "target": None if target is None else [float(x) for x in target.lab],
        "plate": [on_it.get(paint, 0.0) for paint in basis.read.paints],
        "plateBand": plate_band,
        "hues": HUES,
        "batches": [[list(b.paints), b.square] for b in basis.dried],
        "widening": [COUNTS, LEAST, MOST],
    }
    # Nothing in it may end the element that it stands in.
    return Markup(json.dumps(said, separators=(",", ":")).replace("<", "\\u003c"))
