"""How to begin a mix: the order that wastes least, what to hold back, what each step looks like."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from ..common.words import colour_words
from .palette import Palette

CLUMSY = 0.15
"""Relative error of an addition by eye."""
SQUEEZE = 0.02
"""What a tube gives too much or too little, as a share of the batch (a guess, no source)."""
TOO_MUCH = 1.0
"""CIEDE2000 by which too much of a paint is seen."""
_DRAWS = 2000


@dataclass(frozen=True)
class Step:
    """One addition.

    Attributes
    ----------
    share : float
        Of the whole batch, by weight.
    hold_back : float
        Share of this paint to keep back until the colour is seen.
    too_much : float
        Relative excess of it that makes a difference one can see; infinite where none does.
    lab : (3,) array
        Colour to expect once it is in.
    """

    paint: str
    share: float
    hold_back: float
    too_much: float
    lab: Array

    @property
    def words(self) -> str:
        """The colour to expect, in words."""
        return colour_words(self.lab)


@dataclass(frozen=True)
class Order:
    """How to begin a mix.

    Attributes
    ----------
    touchiest : str
        The paint of which a little too much shows soonest.
    waste : float
        Paint that clumsy additions make one mix beyond what was wanted, as a share of it.
    """

    steps: tuple[Step, ...]
    touchiest: str
    waste: float


def order_of(palette: Palette, parts: Mapping[str, float], seed: int = 0) -> Order:
    """Find the order of mixing that wastes least under clumsy additions.

    Parameters
    ----------
    parts : mapping of nickname to share by weight
    seed : int
        Of the simulation.
    """
    names = list(parts)
    masses = np.array([parts[n] for n in names], dtype=float)
    masses = masses / masses.sum()
    excess = too_much(palette, parts)
    held = np.array([hold_back(excess[n]) for n in names])
    orders = [list(o) for o in permutations(range(len(names)))] if len(names) <= 5 else None
    if orders is None:
        orders = [list(np.argsort(-masses))]
    wasted = [waste(masses[o], held[o], seed).mean() for o in orders]
    # Alike within what the draws tell, the bulkiest goes first.
    first = min(range(len(orders)), key=lambda i: (round(wasted[i], 3), *(-masses[orders[i]])))
    best = orders[first]
    steps, heap = [], {}
    for at, i in enumerate(best):
        heap[names[i]] = masses[i]
        steps.append(
            Step(
                names[i],
                float(masses[i]),
                float(held[i]) if at else 0.0,
                excess[names[i]],
                lab_of(palette, [heap])[0],
            )
        )
    return Order(
        tuple(steps),
        min(excess, key=lambda n: excess[n]),
        float(wasted[first]),
    )


def hold_back(excess: float) -> float:
    """Share of a paint to keep back: half of one that shows at once, a quarter of any other."""
    return 0.5 if excess < 2 * CLUMSY else 0.25


def too_much(palette: Palette, parts: Mapping[str, float]) -> dict[str, float]:
    """Relative excess of each paint that makes a difference one can see; infinite if none does."""
    extra = np.concatenate([[0.0], np.geomspace(0.01, 20, 120)])
    found = {}
    for name in parts:
        mixes = [{**parts, name: parts[name] * (1 + x)} for x in extra]
        colours = lab_of(palette, mixes)
        off = ciede2000(colours, colours[0])
        seen = np.flatnonzero(off >= TOO_MUCH)
        if not seen.size:
            found[name] = float("inf")
            continue
        i = int(seen[0])
        found[name] = float(np.interp(TOO_MUCH, off[i - 1 : i + 1], extra[i - 1 : i + 1]))
    return found


def lab_of(palette: Palette, mixes: Sequence[Mapping[str, float]]) -> Array:
    """CIELAB of mixes by weight, (M, 3)."""
    dense = np.zeros((len(mixes), len(palette.paints)))
    for i, mix in enumerate(mixes):
        for name, mass in mix.items():
            dense[i, palette.paints.index(name)] += mass
    dense *= palette.coefficients.dry_volume
    return palette.lab(dense / dense.sum(axis=1, keepdims=True))


def waste(masses: Array, held: Array, seed: int = 0, draws: int = _DRAWS) -> Array:
    """Simulate mixing in a given order: paint used beyond what was wanted, as a share of it.

    The first paint is squeezed out whole, and errs by `CLUMSY` of itself and by `SQUEEZE`. Each
    other is laid beside it and drawn in with the knife: all but what is held back, a look, and
    what is then missing; each time it errs by `CLUMSY` of what is drawn in. Whatever is too much
    is made good by more of all the rest, since nothing can be taken out; a heap smaller than
    wanted is made up at the end in the same proportions.

    Parameters
    ----------
    masses : (M,) array
        Shares of the batch, in the order of mixing.
    held : (M,) array
        Share held back of each.

    Returns
    -------
    (draws,) array
    """
    rng = np.random.default_rng(seed)

    def add(wanted: Array, least: float = 0.0) -> Array:
        error = np.hypot(CLUMSY * wanted, least) * rng.standard_normal(draws)
        return np.where(wanted > 0, np.maximum(wanted + error, 0.0), 0.0)

    heap = np.zeros((draws, len(masses)))
    heap[:, 0] = add(np.full(draws, masses[0]), SQUEEZE)
    for i in range(1, len(masses)):
        # What the paints before it call for.
        called = masses[i] * (heap[:, :i] / masses[:i]).max(axis=1)
        heap[:, i] = add(called * (1 - held[i]))
        heap[:, i] += add(called - heap[:, i])
    size = np.maximum((heap / masses).max(axis=1), 1.0)
    return size - 1.0
