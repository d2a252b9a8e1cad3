"""What to add to a plate: only add, so that the heap grows least; or start over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
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
    fresh : float
        CIEDE2000 that the best fresh mix comes to; NaN where that wasn't asked.
    """

    now: Array
    off: float
    additions: dict[str, float]
    then: float
    band: float
    growth: float
    start_over: bool
    fresh: float


def next_additions(
    palette: Palette,
    plate: Mapping[str, float],
    target: Array,
    wanted: float | None = None,
    most: int = 3,
    near: float = NEAR,
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
    """
    coefficients, grams = palette.coefficients, float(sum(plate.values()))
    now = lab_of(palette, [plate])[0]
    off = float(ciede2000(now, target))
    band = predicted_band(palette, plate)
    if off <= near:
        return Next(now, off, {}, off, band, 0.0, False, np.nan)
    held = np.zeros(len(palette.paints))
    for name, mass in plate.items():
        held[palette.paints.index(name)] += mass
    dry = held * coefficients.dry_volume
    counted = dry * palette.strength
    unit = counted.sum()
    found = [
        _candidates(palette, counted / unit, sets(len(held), size), target)
        for size in range(1, most + 1)
    ]
    amounts = np.concatenate([f[0] for f in found])
    then = np.concatenate([f[1] for f in found])
    added = amounts * unit / palette.strength / coefficients.dry_volume
    growth = added.sum(axis=1) / grams
    count = (added > 0).sum(axis=1)
    # Whatever can't come near comes as near as it can, at a fair price.
    little = ((added > 0) & (added < _LITTLE * grams)).any(axis=1)
    cost = np.maximum(then, AIM) * 2 + growth + _FOR_ONE_MORE * count + _TOO_LITTLE * little
    best = int(np.argmin(cost))
    additions = {palette.paints[i]: float(added[best, i]) for i in np.flatnonzero(added[best])}
    if then[best] >= off - 0.05:
        additions = {}
    whole = {n: plate.get(n, 0.0) + additions.get(n, 0.0) for n in {**plate, **additions}}
    wanted = grams if wanted is None else wanted
    fresh = min(float(s.difference.min()) for s in search(palette, target, most))
    over = bool(additions) and growth[best] * grams > wanted
    over = over or (min(then[best], off) > near and fresh < min(then[best], off) - NEAR)
    return Next(
        now,
        off,
        additions,
        float(then[best]) if additions else off,
        predicted_band(palette, whole),
        float(growth[best]) if additions else 0.0,
        bool(over),
        fresh,
    )


def measured(
    palette: Palette,
    plate: Mapping[str, float],
    found: Next,
    target: Array,
    step: float,
) -> Next:
    """Return additions in whole steps of a scale, those that come nearest.

    Parameters
    ----------
    palette : Palette
    plate : mapping of nickname to grams
    found : Next
        What to add, were every amount weighed exactly.
    target : (3,) array
    step : float
        Smallest step of the scale, g.
    """
    if not found.additions:
        return found
    grams = float(sum(plate.values()))
    bulky = max(plate, key=lambda name: plate[name])
    names = list(dict.fromkeys([*found.additions, bulky]))
    exact = np.array([found.additions.get(name, 0.0) for name in names]) / step
    choices = [np.unique(np.maximum(np.floor(n) + np.arange(-1, 3), 0)) for n in exact]
    if bulky not in found.additions:
        # More of the bulk lets down what the scale can't show less of.
        choices[-1] = np.unique(np.round(np.linspace(0, _MORE_BULK * grams / step, 12)))
    counts = np.array(list(product(*choices)))
    held = np.array([plate.get(name, 0.0) for name in names])
    heaps = [{**plate, **dict(zip(names, held + row * step, strict=True))} for row in counts]
    off = ciede2000(lab_of(palette, heaps), target)
    growth = counts.sum(axis=1) * step / grams
    cost = 2 * np.maximum(off, AIM) + growth + _FOR_ONE_MORE * (counts > 0).sum(axis=1)
    best = int(np.argmin(cost))
    added = {n: float(round(c * step, 9)) for n, c in zip(names, counts[best], strict=True) if c}
    if not added or off[best] >= found.off - 0.05:
        return replace(found, additions={}, then=found.off, growth=0.0)
    return replace(found, additions=added, then=float(off[best]), growth=float(growth[best]))


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
    palette : Palette
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


def _candidates(palette: Palette, plate: Array, tubes: Ints, target: Array) -> tuple[Array, Array]:
    """Additions of each set, counted in strength (N, P), and CIEDE2000 that they lead to (N,)."""
    n, size = tubes.shape
    count = len(palette.paints)
    goal = np.broadcast_to(target, (n, 3))
    best, least = np.zeros((n, size)), np.full(n, np.inf)
    for level in _LEVELS:
        start = np.full((n, size), np.log(level / size))
        shares, e = descend(palette, tubes, start, goal, plate)
        better = e < least
        best[better], least[better] = shares[better], e[better]
    # Along the way there, the first place that is near enough.
    way = np.stack([dense(tubes, best * s, count) for s in _SHRINK], axis=1)
    mixed = (way + plate).reshape(-1, count) / palette.strength
    colours = palette.lab(mixed / mixed.sum(axis=1, keepdims=True))
    off = ciede2000(colours, target).reshape(n, len(_SHRINK))
    enough = np.maximum(AIM, off.min(axis=1, keepdims=True) + 1e-9)
    at = (off <= enough).argmax(axis=1)
    return way[np.arange(n), at], off[np.arange(n), at]
