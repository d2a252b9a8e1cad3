"""What to add to a plate: only add, so that the heap grows least; or start over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.colour_band import ciede2000_band
from ...calibrate.optics.predict import dry_fractions, predict
from ...calibrate.optics.spectra import Array
from .order import lab_of
from .palette import Ints, Palette
from .search import dense, descend, search, sets

NEAR = 1.0
"""CIEDE2000 at which a plate needs nothing more: it is hard to see."""
_LEVELS = (0.03, 0.2, 1.0)
"""Additions that a search begins with, over what is on the plate, both counted in strength."""
_FOR_ONE_MORE = 0.05
"""Growth of the heap that one paint less to add is worth (our own rule)."""
_LITTLE, _TOO_LITTLE = 0.002, 0.5
"""Share of the heap under which an addition can't be measured, and what one costs (our own
rule)."""
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
    coefficients: Coefficients,
    plate: Mapping[str, float],
    target: Array,
    wanted: float | None = None,
    most: int = 3,
    near: float = NEAR,
) -> Next:
    """Find what to add to a plate, and only add, so that the heap grows least.

    Parameters
    ----------
    coefficients : Coefficients
        Of the paints on the plate and of those that may be added.
    plate : mapping of nickname to grams
    target : (3,) array
        CIELAB, D50/2°.
    wanted : float, optional
        Grams needed in the end; what is on the plate by default.
    most : int
        Paints to add, at most.
    near : float
        CIEDE2000 that is near enough.
    """
    palette = Palette(coefficients)
    grams = float(sum(plate.values()))
    now = lab_of(palette, [plate])[0]
    off = float(ciede2000(now, target))
    band = _band(coefficients, plate)
    if off <= near:
        return Next(now, off, {}, off, band, 0.0, False, np.nan)
    held = np.zeros(len(palette.paints))
    for name, mass in plate.items():
        held[palette.paints.index(name)] += mass
    dry = held * coefficients.dry_volume
    counted = dry * palette.strength
    unit = counted.sum()
    found = [
        _candidates(palette, counted / unit, sets(len(held), size), target, near)
        for size in range(1, most + 1)
    ]
    amounts = np.concatenate([f[0] for f in found])
    then = np.concatenate([f[1] for f in found])
    added = amounts * unit / palette.strength / coefficients.dry_volume
    growth = added.sum(axis=1) / grams
    count = (added > 0).sum(axis=1)
    # Whatever can't come near comes as near as it can, at a fair price.
    little = ((added > 0) & (added < _LITTLE * grams)).any(axis=1)
    cost = np.maximum(then, near) * 2 + growth + _FOR_ONE_MORE * count + _TOO_LITTLE * little
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
        _band(coefficients, whole),
        float(growth[best]) if additions else 0.0,
        bool(over),
        fresh,
    )


def measured(
    coefficients: Coefficients,
    plate: Mapping[str, float],
    found: Next,
    target: Array,
    step: float,
) -> Next:
    """Return additions in whole steps of a scale, those that come nearest.

    Parameters
    ----------
    coefficients : Coefficients
    plate : mapping of nickname to grams
    found : Next
        What to add, were every amount weighed exactly.
    target : (3,) array
    step : float
        Smallest step of the scale, g.
    """
    if not found.additions:
        return found
    palette, names = Palette(coefficients), list(found.additions)
    whole = np.floor(np.array(list(found.additions.values())) / step + 1e-9)
    counts = whole + np.array(list(product((0, 1), repeat=len(names))))
    heaps = [
        {n: plate.get(n, 0.0) + more.get(n, 0.0) for n in {**plate, **more}}
        for row in counts
        for more in [dict(zip(names, row * step, strict=True))]
    ]
    off = ciede2000(lab_of(palette, heaps), target)
    best = int(np.argmin(off + _FOR_ONE_MORE * (counts > 0).sum(axis=1)))
    added = {n: float(round(c * step, 9)) for n, c in zip(names, counts[best], strict=True) if c}
    if not added or off[best] >= found.off - 0.05:
        return replace(found, additions={}, then=found.off, growth=0.0)
    grams = float(sum(plate.values()))
    return replace(
        found, additions=added, then=float(off[best]), growth=sum(added.values()) / grams
    )


def _band(coefficients: Coefficients, mix: Mapping[str, float]) -> float:
    used = coefficients.select(list(mix))
    said = predict(used, dry_fractions(used, [mix]))
    return float(ciede2000_band(said.lab(), said.lab_covariance())[0])


def _candidates(
    palette: Palette, plate: Array, tubes: Ints, target: Array, near: float
) -> tuple[Array, Array]:
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
    enough = np.maximum(near, off.min(axis=1, keepdims=True) + 1e-9)
    at = (off <= enough).argmax(axis=1)
    return way[np.arange(n), at], off[np.arange(n), at]
