"""A heap whose parts nobody wrote down: what it is likely made of, and what to add to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import hypot
from typing import TYPE_CHECKING

from ...calibrate.errors import Sentence
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.spectra import Array
from ..common.remedies import StudioDo
from ..mixing.heap_guess import READ_BAND, Likely, likely_mixes, outcomes
from ..mixing.next_addition import Next, next_additions
from ..mixing.palette import Palette
from ..mixing.target import Target
from .on_hand import usable
from .plate import KeptDab, on_plate

if TYPE_CHECKING:
    from ..store.store import Store


def dab_of(store: Store, seen: Target, grams: float, of: Sequence[str] = ()) -> KeptDab:
    """Return what is kept of a heap's dab.

    Parameters
    ----------
    store : Store
    seen : Target
        Its colour, dry.
    grams : float
        In the heap.
    of : sequence of str
        Every tube that is in it, by nickname or part of a name; empty where they aren't known.
    """
    paints = tuple(dict.fromkeys(store.paints.find(name).nickname for name in of))
    lightness, a, b = (float(x) for x in seen.lab)
    return KeptDab(
        seen.said, (lightness, a, b), seen.band or READ_BAND, seen.viewing, grams, paints
    )


def likely_of(store: Store, dab: KeptDab) -> Likely:
    """Return what a heap is likely made of, of the tubes on hand.

    Raises
    ------
    InputError
        As `likely_mixes`.
    """
    used = dab.viewing.of(usable(store, list(dab.of)))
    return likely_mixes(used, dab.target, dab.of)


def next_of(
    coefficients: Coefficients,
    additions: Sequence[Mapping[str, float]],
    target: Array,
    dab: KeptDab | None = None,
    likely: Likely | None = None,
    wanted: float | None = None,
) -> Next:
    """Say what to add to a plate; the rest as for `next_additions`.

    Parameters
    ----------
    coefficients : Coefficients
    additions : sequence of mapping of nickname to grams
        The first is what the dab is likely made of, where the plate began with one.
    target : (3,) array
    dab, likely : optional
        With them the band holds that its parts are only likely.
    wanted : float, optional
    """
    found = next_additions(coefficients, on_plate(additions), target, wanted)
    if dab is None or likely is None:
        return found
    more = on_plate([*additions[1:], found.additions])
    _, unsure = outcomes(Palette(coefficients), likely, dab.grams, more, target)
    return replace(found, band=hypot(found.band, max(unsure - found.then, 0.0)))


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
