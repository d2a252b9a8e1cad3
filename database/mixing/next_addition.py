"""What to add to a plate: only add, so that the heap grows least; or start over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.colour_difference import ciede2000_band
from ...calibrate.optics.predict import dry_fractions, predict
from ...calibrate.optics.spectra import Array
from .order import lab_of
from .palette import Ints, Palette
from .ranking import clumsiness
from .search import dense, descend, search, sets

NEAR = 1.0
"""CIEDE2000 at which a plate needs nothing more: it is hard to see."""
AIM = 0.3
"""CIEDE2000 that additions aim at: the middle, since the hand lands beside it (our own rule)."""
LEFT_G = 0.03
"""Grams of an older paint that a wiped brush and a scraped palette may leave in a heap, one
standard deviation (common practice, no source)."""
_LEVELS = (0.03, 0.2, 1.0)
"""Additions that a search begins with, over what is on the plate, both counted in strength."""
_FOR_ONE_MORE = 0.05
"""Growth of the heap that one paint less to add is worth (our own rule)."""
_LITTLE, _TOO_LITTLE = 0.002, 0.5
"""Share of the heap under which an addition can't be measured, and what one costs (our own
rule)."""
_MORE_BULK = 0.5
"""Of the heap, the most bulk that is added for the scale's sake."""
_SHRINK = np.linspace(0.02, 1.0, 50)
_TRIED, _BULKS, _JUDGED = 40, 10, 400
"""Sets that are tried in whole steps, amounts of bulk beside each, and those judged by the hand."""


@dataclass(frozen=True)
class Next:
    """What to add.

    Attributes
    ----------
    now : (3,) array
        CIELAB of the plate, predicted.
    off : float
        CIEDE2000 of the plate from the target.
    additions : dict of nickname to grams
        Empty where nothing is needed, or nothing helps.
    then : float
        CIEDE2000 from the target once all of it is in.
    band : float
        CIEDE2000 that the mix stays within of its prediction with 95 % probability.
    growth : float
        Grams added over grams on the plate.
    start_over : bool
        Whether a fresh batch of the size wanted takes less paint.
    fresh : dict of nickname to grams
        The best fresh batch of the size wanted, as it is weighed; empty where that wasn't asked.
    fresh_off : float
        CIEDE2000 to be expected of it; NaN where that wasn't asked.
    """

    now: Array
    off: float
    additions: dict[str, float]
    then: float
    band: float
    growth: float
    start_over: bool
    fresh: dict[str, float]
    fresh_off: float


def next_additions(
    palette: Palette,
    plate: Mapping[str, float],
    target: Array,
    wanted: float | None = None,
    most: int = 3,
    near: float = NEAR,
    step: float = 0.0,
) -> Next:
    """Find what to add to a plate, and only add, so that the heap grows least.

    Parameters
    ----------
    palette : Palette
        The paints on the plate and those that may be added.
    plate : mapping of nickname to grams
    target : (3,) array
        CIELAB under the palette's light.
    wanted : float, optional
        Grams needed in the end; what is on the plate by default.
    most : int
        Paints to add, at most.
    near : float
        CIEDE2000 that needs nothing more; what is added aims at `AIM`.
    step : float
        Smallest step of the scale, g: additions are whole steps; 0: any amount.
    """
    coefficients, grams = palette.coefficients, float(sum(plate.values()))
    now = lab_of(palette, [plate])[0]
    off = float(ciede2000(now, target))
    band = predicted_band(palette, plate)
    if off <= near:
        return Next(now, off, {}, off, band, 0.0, False, {}, np.nan)
    held = np.zeros(len(palette.paints))
    for name, mass in plate.items():
        held[palette.paints.index(name)] += mass
    counted = held * coefficients.dry_volume * palette.strength
    unit = counted.sum()
    ways = [
        _candidates(palette, counted / unit, sets(len(held), size), target)
        for size in range(1, most + 1)
    ]
    way = np.concatenate(ways) * (unit / palette.strength / coefficients.dry_volume)
    # Of each set the best place along its way; then the best sets in whole steps.
    there = way.reshape(-1, len(held))
    cost = _costs(palette, held, there, target)[0].reshape(way.shape[:2])
    added = way[np.arange(len(way)), cost.argmin(axis=1)]
    added = added[np.argsort(cost.min(axis=1), kind="stable")]
    if step:
        added = _in_steps(palette, held, added[:_TRIED], target, step)
    cost, then = _costs(palette, held, added, target)
    if step:
        rows = np.argsort(cost, kind="stable")[:_JUDGED]
        added, then = added[rows], then[rows]
        cost = _costs(palette, held, added, target, step)[0]
    best = int(np.argmin(cost))
    additions = {palette.paints[i]: float(added[best, i]) for i in np.flatnonzero(added[best])}
    if step:
        additions = {name: float(round(g, 9)) for name, g in additions.items()}
    arrived, growth = float(then[best]), float(added[best].sum() / grams)
    if not additions or arrived >= off - 0.05:
        additions, arrived, growth = {}, off, 0.0
    whole = {n: plate.get(n, 0.0) + additions.get(n, 0.0) for n in {**plate, **additions}}
    size = grams if wanted is None else wanted
    fresh, fresh_off = _fresh(palette, target, size, most, step)
    # A fresh batch errs by its own hand, and to mend that takes paint as it does here.
    taken = size * (1 + growth * fresh_off / off)
    over = arrived > near and fresh_off < arrived - NEAR
    over = bool(over or (growth * grams > taken and fresh_off < off))
    band = predicted_band(palette, whole)
    return Next(now, off, additions, arrived, band, growth, over, fresh, fresh_off)


def _fresh(
    palette: Palette, target: Array, grams: float, most: int, step: float
) -> tuple[dict[str, float], float]:
    """The best fresh batch, weighed plainly on a scale of some step, and what to expect of it."""
    found = search(palette, target, most)
    shares = np.concatenate([dense(s.tubes, s.shares[0], len(palette.paints)) for s in found])
    off = np.concatenate([s.difference[0] for s in found])
    shares = shares[np.argsort(off, kind="stable")[:_JUDGED]]
    masses = shares / palette.coefficients.dry_volume
    masses *= grams / masses.sum(axis=1, keepdims=True)
    if step:
        masses = np.where(masses > 1e-9, np.maximum(np.round(masses / step), 1) * step, 0.0)
        # The bulk takes what rounding leaves, so that they add up to what is wanted.
        bulk = np.arange(len(masses)), masses.argmax(axis=1)
        left = np.round((grams - masses.sum(axis=1)) / step) * step
        masses[bulk] = np.maximum(masses[bulk] + left, step)
    expected = _expected(palette, masses, masses, target, step)[1]
    best = int(np.argmin(_miss(expected) + _FOR_ONE_MORE * (masses > 0).sum(axis=1)))
    mix = {palette.paints[i]: float(masses[best, i]) for i in np.argsort(-masses[best])}
    return {name: round(g, 9) for name, g in mix.items() if g > 0}, float(expected[best])


def _expected(
    palette: Palette, heap: Array, weighed: Array, target: Array, step: float
) -> tuple[Array, Array]:
    """CIEDE2000 of heaps (N, P) in grams, and what is to be expected once some were weighed in."""
    dry = heap * palette.coefficients.dry_volume
    shares = dry / dry.sum(axis=1, keepdims=True)
    then = ciede2000(palette.lab(shares), target)
    if not step:
        return then, then
    slip = (weighed > 0) * step / np.sqrt(12) / np.maximum(heap, 1e-9)
    return then, np.hypot(then, clumsiness(palette, shares, target, slip))


def _costs(
    palette: Palette, held: Array, added: Array, target: Array, step: float = 0.0
) -> tuple[Array, Array]:
    """What additions (N, P) to a heap (P,) cost, all in grams; and CIEDE2000 that they lead to.

    The difference that is to be expected, with the slips of a scale of some step at these
    additions, and the paint. Nothing is known better of the heap itself by adding to it.
    """
    then, expected = _expected(palette, held + added, added, target, step)
    growth = added.sum(axis=1) / held.sum()
    count = (added > 0).sum(axis=1)
    # Whatever can't come near comes as near as it can, at a fair price.
    little = ((added > 0) & (added < _LITTLE * held.sum())).any(axis=1)
    cost = _miss(expected) + growth + _FOR_ONE_MORE * count + _TOO_LITTLE * little
    return cost, then


def _miss(expected: Array) -> Array:
    return 2 * np.maximum(expected, AIM)


def _in_steps(palette: Palette, held: Array, added: Array, target: Array, step: float) -> Array:
    """Additions (N, P) as whole steps of a scale, each in several ways (M, P)."""
    bulky = int(np.argmax(held))
    more = np.unique(np.round(np.linspace(0, _MORE_BULK * held.sum() / step, _BULKS)))
    found = []
    for row in added:
        used = np.flatnonzero(row)
        exact = row[used] / step
        choices = [np.unique(np.maximum(np.floor(n) + np.arange(-1, 3), 0)) for n in exact]
        if bulky not in used:
            # More of the bulk lets down what the scale can't show less of.
            used, choices = np.append(used, bulky), [*choices, more]
        counts = np.array(list(product(*choices)))
        whole = np.zeros((len(counts), len(held)))
        whole[:, used] = counts * step
        found.append(whole)
    every = np.unique(np.concatenate(found), axis=0)
    return every[every.any(axis=1)]


def hand(
    palette: Palette,
    heap: Mapping[str, float],
    weighings: Mapping[str, int],
    step: float,
    left: float = LEFT_G,
) -> float:
    """CIEDE2000 that a hand may have moved a heap by: one standard deviation.

    Parameters
    ----------
    heap : mapping of nickname to grams
    weighings : mapping of nickname to int
        How often each was weighed in.
    step : float
        Smallest step of the scale, g: what is rounded to it is off by the step over the root of
        12 (JCGM 100:2008, 4.3.7).
    left : float
        Grams of some one of the paints that brush and palette may bring, nobody knows of which.
    """
    slip, dry = np.zeros(len(palette.paints)), np.zeros((1, len(palette.paints)))
    for name, grams in heap.items():
        row = palette.paints.index(name)
        slip[row] = np.sqrt(weighings.get(name, 0) / 12) * step / grams
        dry[0, row] = grams * palette.coefficients.dry_volume[row]
    shares = dry / dry.sum()
    here = palette.lab(shares)[0]
    brought = dry + left * np.diag(palette.coefficients.dry_volume)
    moved = ciede2000(palette.lab(brought / brought.sum(axis=1, keepdims=True)), here)
    weighed = float(clumsiness(palette, shares, here, slip)[0])
    return float(np.hypot(weighed, np.sqrt((moved**2).mean())))


def predicted_band(palette: Palette, mix: Mapping[str, float]) -> float:
    """CIEDE2000 that a heap stays within of its prediction, were it weighed exactly, 95 of 100."""
    used, view = palette.coefficients.select(list(mix)), palette.view
    said = predict(used, dry_fractions(used, [mix]))
    return float(ciede2000_band(said.lab(view), said.lab_covariance(view))[0])


def _candidates(palette: Palette, plate: Array, tubes: Ints, target: Array) -> Array:
    """Additions of each set, counted in strength, along the way to its best, (N, L, P)."""
    n, size = tubes.shape
    count = len(palette.paints)
    goal = np.broadcast_to(target, (n, 3))
    best, least = np.zeros((n, size)), np.full(n, np.inf)
    for level in _LEVELS:
        start = np.full((n, size), np.log(level / size))
        shares, e = descend(palette, tubes, start, goal, plate)
        better = e < least
        best[better], least[better] = shares[better], e[better]
    return np.stack([dense(tubes, best * s, count) for s in _SHRINK], axis=1)
