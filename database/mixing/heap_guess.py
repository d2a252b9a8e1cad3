"""What a heap is likely made of, from the colour of a dried dab of it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.colour_difference import ciede2000_metric
from ...calibrate.optics.predict import dry_fractions, predict
from ...calibrate.optics.spectra import Array
from .next_addition import LEFT_G
from .order import lab_of
from .palette import Palette
from .prediction import look
from .search import dense, search
from .target import Target

READ_BAND = 0.5
"""CIEDE2000 that a reading of a dab is taken to hold to, 95 of 100 times."""
SMEAR_UM = 60.0
"""Dry thickness of a thin smear (common practice, no source)."""
_TUBE, _LACKING = 1.0, 6.0
"""A heap of one tube more, or of one less than is known to be in it, is less likely by e to this
(our own rule)."""
_REACHED = 0.5
"""CIEDE2000 beyond the nearest, by which a set that comes less near is less likely."""
_WITHIN = 2.8
"""Standard deviations of each of three axes that hold 95 of 100 (chi-square of three)."""
_DRAWS = 40
"""Colours that the dab may truly have, beside the one it shows."""
_KEPT = 600
_KNIFE, _ROUNDS, _TRACE = 0.01, 5, 1e-4
"""Share of a weighing that may stay on the knife, one standard deviation (common practice, no
source); steps toward the likeliest heap; and the share under which a paint isn't told."""
_ANOTHER = 8.0
"""Standard deviations beyond which a dab is of another heap than was told (our own rule)."""
_WEIGHED = 6**-0.5
"""Standard deviation over the scale's step of two amounts that were each rounded to it (JCGM
100:2008, 4.3.7)."""
_HALF = float(np.sqrt(2 / np.pi)), float(np.sqrt(1 - 2 / np.pi))
"""Mean and standard deviation of the absolute value of a standard normal."""


@dataclass(frozen=True)
class Likely:
    """What a heap may be made of.

    Attributes
    ----------
    mixes : tuple of dict of nickname to share by weight
        The likeliest first.
    weights : (N,) array
        How likely each is; they sum to 1.
    lab : (N, 3) array
        What each looks like.
    shows_through : float
        CIEDE2000 between thin smears of the likeliest over black and over white: a dab of it that
        differs so doesn't hide its card. NaN where that can't be told.
    shift : (3,) array
        CIELAB that the heap's colour is beside its prediction, as far as its parts don't explain
        its dab: what the model gets wrong of it.
    """

    mixes: tuple[dict[str, float], ...]
    weights: Array
    lab: Array
    shows_through: float
    shift: Array = field(default_factory=lambda: np.zeros(3))

    @property
    def spread(self) -> dict[str, tuple[float, float]]:
        """Share by weight of each paint of the likeliest mix: where 95 of 100 likely ones lie."""
        result = {}
        for name in self.mixes[0]:
            shares = np.array([mix.get(name, 0.0) for mix in self.mixes])
            order = np.argsort(shares)
            below = np.cumsum(self.weights[order])
            low, high = (int(np.searchsorted(below, q)) for q in (0.025, 0.975))
            last = len(order) - 1
            result[name] = (
                float(shares[order[min(low, last)]]),
                float(shares[order[min(high, last)]]),
            )
        return result


def likely_mixes(
    palette: Palette,
    dab: Target,
    of: Collection[str] = (),
    most: int = 4,
    seed: int = 0,
) -> Likely:
    """Estimate what a heap is made of.

    Parameters
    ----------
    dab : Target
        Colour of a dried dab that hides its card; its band says how well it is known.
    of : collection of str
        Paints that are known to be in it and no others; any of the tubes by default.
    most : int
        Tubes in it, where that isn't known.

    Notes
    -----
    Each set of tubes is mixed to the dab's colour, and to colours drawn about it as its band
    allows. Every drawn colour counts alike, and among the sets that reach it those of fewer tubes
    are likelier.

    Raises
    ------
    InputError
        Where no mix comes anywhere near.
    """
    palette = palette.select(list(of)) if of else palette
    used = palette.coefficients
    band = dab.band or READ_BAND
    rng = np.random.default_rng(seed)
    drawn = dab.lab + rng.standard_normal((_DRAWS, 3)) * band / _WITHIN
    goals = np.concatenate([dab.lab[None], drawn])
    found = search(palette, goals, len(of) or most)
    best = found[-1].difference.min(axis=1)
    nearest = float(best[0])
    if nearest > 2 * band + 2:
        raise InputError(
            Field("dab"), dab.said,
            f"no mix of these tubes looks like it: the nearest is CIEDE2000 {nearest:.1f} away",
            "say which tubes are in it, and let the dab dry; a wet one is never judged",
        )  # fmt: skip
    shares, which, log = [], [], []
    for solved in found:
        size = solved.tubes.shape[1]
        draw, row = np.nonzero((solved.shares > 0).all(axis=2))
        shares.append(dense(solved.tubes[row], solved.shares[draw, row], len(used.paints)))
        which.append(draw)
        # Of paints that are known to be in it, all are, unless no such mix is near.
        cost = _LACKING * (len(of) - size) if of else _TUBE * size
        off = np.maximum(solved.difference - best[:, None], 0)
        log.append(-0.5 * (off[draw, row] / _REACHED) ** 2 - cost)
    mix, draw, weight = np.concatenate(shares), np.concatenate(which), np.concatenate(log)
    for d in range(len(goals)):
        here = draw == d
        weight[here] = np.exp(weight[here] - weight[here].max())
        weight[here] /= weight[here].sum()
    likeliest = int(np.where(draw == 0, weight, -1).argmax())
    rows = np.argsort(-weight, kind="stable")[:_KEPT]
    rows = np.concatenate([[likeliest], rows[rows != likeliest]])
    masses = mix[rows] / used.dry_volume
    masses /= masses.sum(axis=1, keepdims=True)
    mixes = tuple({used.paints[i]: float(m[i]) for i in np.argsort(-m) if m[i] > 0} for m in masses)
    shown = palette.lab(mix[rows])
    return Likely(mixes, weight[rows] / weight[rows].sum(), shown, _through(used, mixes[0]))


def corrected(
    palette: Palette, told: Mapping[str, float], dab: Target, step: float, seed: int = 0
) -> Likely | None:
    """Estimate what a heap is made of that was weighed in, from what was told and its dab.

    None where the dab looks like no such heap.

    Parameters
    ----------
    told : mapping of nickname to grams
        As they were weighed.
    dab : Target
        Colour of a dried dab of it.
    step : float
        Smallest step of the scale, g.

    Notes
    -----
    Every weighing may be off by the scale's step and a little of it stay on the knife, and a brush
    may have brought a little of some one paint. For each paint that it may have been, and for none,
    the least change that the dab allows is found by linear steps (Kalman's gain), and how likely
    the dab makes it. So are changes of heaps and dabs drawn about what was told and seen, which
    show what remains open. The model may be wrong of this mix by as much as its band says.
    """
    c, band = palette.coefficients, dab.band or READ_BAND
    grams = np.array([told.get(paint, 0.0) for paint in palette.paints])
    weighed = np.where(grams > 0, np.hypot(step * _WEIGHED, _KNIFE * grams), 0.0)
    read = np.linalg.inv(ciede2000_metric(dab.lab)[0]) * (band / 1.96) ** 2
    used = c.select(list(told))
    model = predict(used, dry_fractions(used, [dict(told)])).lab_covariance(palette.view)[0]
    noise = read + model
    brought = [None, *range(len(grams))]
    found = [_changed(palette, grams, weighed, one, dab.lab, noise) for one in brought]
    log = np.array([each.log for each in found])
    likely = np.exp(log - log.max())
    likely /= likely.sum()
    best = found[int(likely.argmax())]
    beside = dab.lab - _lab_of_grams(palette, best.heap[None])[0]
    if float(np.sqrt(beside @ np.linalg.solve(noise, beside))) > _ANOTHER:
        return None
    rng = np.random.default_rng(seed)
    heaps, seen = [best.heap[None]], [dab.lab[None]]
    for each, share in zip(found, likely, strict=True):
        drawn = rng.standard_normal((round(share * _KEPT / 2), len(grams)))
        before = np.maximum(each.prior + drawn * each.spread, 0.0)
        seen.append(rng.multivariate_normal(dab.lab, noise, len(before)))
        heap = before
        for _ in range(_ROUNDS if len(before) else 0):
            missed = seen[-1] - _lab_of_grams(palette, heap) - (before - heap) @ each.slopes.T
            heap = np.maximum(before + missed @ each.gain.T, 0.0)
        heaps.append(heap)
    heap = np.concatenate(heaps)
    shown = _lab_of_grams(palette, heap)
    off = np.concatenate(seen) - shown
    weights = np.exp(-0.5 * np.einsum("ni,ij,nj->n", off, np.linalg.inv(noise), off))
    shares = heap / heap.sum(axis=1, keepdims=True)
    mixes = tuple(
        {palette.paints[i]: float(each[i]) for i in np.argsort(-each) if each[i] > _TRACE}
        for each in shares
    )
    shift = model @ np.linalg.solve(noise, beside)
    return Likely(mixes, weights / weights.sum(), shown, _through(c, mixes[0]), shift)


@dataclass(frozen=True)
class _Changed:
    """The least change of a heap that its dab allows, where a brush brought one paint or none.

    Attributes
    ----------
    heap : (P,) array
        Grams.
    prior, spread : (P,) array
        What was expected of them before, and its standard deviation.
    slopes : (3, P) array
        Of CIELAB by grams.
    gain : (P, 3) array
    log : float
        Logarithm of how likely the dab makes it.
    """

    heap: Array
    prior: Array
    spread: Array
    slopes: Array
    gain: Array
    log: float


def _changed(
    palette: Palette, grams: Array, weighed: Array, one: int | None, dab: Array, noise: Array
) -> _Changed:
    prior, spread = grams.copy(), weighed.copy()
    if one is not None:
        # As much as half of a normal distribution is on average, and as it spreads.
        prior[one] += _HALF[0] * LEFT_G
        spread[one] = np.hypot(spread[one], _HALF[1] * LEFT_G)
    open_ = np.flatnonzero(spread)
    heap, slopes = prior, np.zeros((3, len(grams)))
    for _ in range(_ROUNDS):
        colours = _lab_of_grams(palette, np.vstack([heap, heap + np.diag(spread)[open_]]))
        slopes[:, open_] = (colours[1:] - colours[0]).T / spread[open_]
        open_to = (slopes * spread**2) @ slopes.T + noise
        gain = (slopes * spread**2).T @ np.linalg.inv(open_to)
        missed = dab - colours[0] - slopes @ (prior - heap)
        heap = np.maximum(prior + gain @ missed, 0.0)
    log = -0.5 * (missed @ np.linalg.solve(open_to, missed) + np.linalg.slogdet(open_to)[1])
    return _Changed(heap, prior, spread, slopes, gain, float(log))


def _lab_of_grams(palette: Palette, grams: Array) -> Array:
    dry = grams * palette.coefficients.dry_volume
    return palette.lab(dry / dry.sum(axis=1, keepdims=True))


def _through(coefficients: Coefficients, mix: dict[str, float]) -> float:
    if coefficients.scale != "absolute":
        return float("nan")
    _, black, white = look(coefficients, mix, SMEAR_UM)
    return float(ciede2000(black.lab(), white.lab()))


def outcomes(
    palette: Palette,
    likely: Likely,
    grams: float,
    additions: dict[str, float],
    target: Array,
) -> tuple[float, float]:
    """How far from a target the heap lies once something is added, if it is any likely mix.

    Parameters
    ----------
    grams : float
        In the heap.
    additions : dict of nickname to grams
    target : (3,) array

    Returns
    -------
    expected, band : float
        CIEDE2000: the mean over what is likely, and what 95 of 100 stay within.
    """
    heaps = []
    for mix in likely.mixes:
        heap = {name: share * grams for name, share in mix.items()}
        for name, more in additions.items():
            heap[name] = heap.get(name, 0.0) + more
        heaps.append(heap)
    off = ciede2000(lab_of(palette, heaps), target)
    order = np.argsort(off)
    below = np.cumsum(likely.weights[order])
    at = min(int(np.searchsorted(below, 0.95)), len(order) - 1)
    return float((off * likely.weights).sum()), float(off[order[at]])
