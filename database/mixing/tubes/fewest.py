"""The smallest set of tubes for several colours, proven; and the best set of each number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np

from ....calibrate.optics.spectra import Array
from ...common.stopping import go_on
from ..palette import Ints, Palette
from ..search import Solutions, dense, search, sets

POOL, _OF_MORE = 24, 20
"""Tubes of which every set is compared; and of more tubes, how many of those that seem to matter
most: what is proven of none needs no more, and the search takes half as long."""
_MOST_TO_NARROW = 2
_EDGE = 0.005
"""CIEDE2000 by which two searches of one set may differ."""
_COMPARED = 30_000_000
"""Differences that are compared of sets of one size; beyond, the best sets are widened."""
_GONE_ON_WITH = 300
"""Sets that are widened."""


@dataclass(frozen=True)
class Chosen:
    """A set of tubes, and the best that it makes of T colours.

    Attributes
    ----------
    tubes : tuple of str
        Nicknames.
    difference : (T,) array
        CIEDE2000.
    shares : (T, P) array
        Dry-volume fractions, of all paints of the palette.
    """

    tubes: tuple[str, ...]
    difference: Array
    shares: Array


@dataclass(frozen=True)
class Fewest:
    """The smallest set of tubes that makes every colour.

    Attributes
    ----------
    fewer : Chosen or None
        The best set of one tube less.
    limit : (T,) array
        CIEDE2000 that each colour had to come to: what was asked; or that much off the nearest mix
        of all tubes, where none comes so near.
    searched : int
        Sets compared.
    proven : bool
        Whether every smaller set of the tubes on hand was compared.
    """

    chosen: Chosen
    fewer: Chosen | None
    limit: Array
    searched: int
    proven: bool


def fewest_tubes(
    palette: Palette, targets: Array, within: float, most: int = 4, must: Sequence[str] = ()
) -> Fewest:
    """Find the smallest set of tubes that mixes every colour within a difference.

    Parameters
    ----------
    targets : (T, 3) array
        CIELAB.
    within : float
        CIEDE2000.
    most : int
        Tubes in one mix.
    must : sequence of str
        Paints that the set has to hold.

    Notes
    -----
    Every set of up to `most` tubes is searched for its best mix of every colour. A larger set, of
    which only `most` go into one mix, is as good for a colour as the best of the sets that it holds
    with one tube less: so the sets of each size follow from those of the size below, and the first
    size at which some set makes every colour is the smallest there is. Of its sets the one of the
    least worst and mean difference is taken.
    """
    proven = len(palette.paints) <= POOL
    whole, palette = palette, palette if proven else _narrowed(palette, targets, must)
    found = search(palette, targets, most)
    count = len(palette.paints)
    nearest = found[-1].difference.min(axis=1)
    limit = np.where(nearest > within, nearest + within, within)
    asked = [palette.paints.index(p) for p in must]
    searched = 0
    before: Ints | None = None
    tubes, off = found[0].tubes, found[0].difference
    for size in range(1, count + 1):
        if size <= len(found):
            tubes, off = found[size - 1].tubes, found[size - 1].difference.astype(np.float32)
        else:
            tubes, off = _larger(tubes, off, count)
        searched += len(tubes)
        more = off - (limit - within)[:, None]
        cost = more.max(axis=0) + more.mean(axis=0)
        for paint in asked:
            cost = np.where((tubes == paint).any(axis=1), cost, np.inf)
        fits = (off <= limit[:, None] + _EDGE).all(axis=0) & np.isfinite(cost)
        if fits.any():
            best = tubes[np.where(fits, cost, np.inf).argmin()]
            break
        before = tubes[cost.argmin()] if np.isfinite(cost).any() else None
    else:
        raise AssertionError("all tubes together make what their subsets make")
    chosen = _chosen(whole, [palette.paints[i] for i in best], targets, most)
    fewer = None
    if before is not None:
        fewer = _chosen(whole, [palette.paints[i] for i in before], targets, most)
    return Fewest(chosen, fewer, limit, searched, proven)


@dataclass(frozen=True)
class Best:
    """The best set of so many tubes.

    Attributes
    ----------
    tubes : tuple of str
        Nicknames.
    difference : (T,) array
        CIEDE2000 of its best mix of each colour.
    missed : int
        Colours that it doesn't mix near enough.
    exact : bool
        Whether every set of so many tubes was compared.
    """

    tubes: tuple[str, ...]
    difference: Array
    missed: int
    exact: bool

    @property
    def mean(self) -> float:
        """Mean CIEDE2000."""
        return float(self.difference.mean())


@dataclass(frozen=True)
class BestSets:
    """The best set of each number of tubes.

    Attributes
    ----------
    sets : tuple of Best
        By their number, from one tube on.
    limit : (T,) array
        CIEDE2000 that each colour has to come to; see `Fewest`.
    bound : float
        Mean CIEDE2000 that no set comes below: that of all tubes together, or 0 of very many.
    """

    sets: tuple[Best, ...]
    limit: Array
    bound: float

    @property
    def smallest(self) -> Best | None:
        """The smallest of them that mixes every colour near enough, if one does."""
        return next((best for best in self.sets if not best.missed), None)


def best_sets(
    palette: Palette, targets: Array, keep: int, within: float, most: int = 4
) -> BestSets:
    """Find the best set of each number of tubes up to `keep`.

    Parameters
    ----------
    targets : (T, 3) array
        CIELAB.
    keep : int
        Tubes in a set, at most.
    within : float
        CIEDE2000 that a mix may be off.
    most : int
        Tubes in one mix.

    Notes
    -----
    The best set misses the fewest colours, and of sets that miss as few its mean difference is the
    least. Sets of each size follow from those of the size below as in `fewest_tubes`. Where they
    would be too many, only the best of each size are gone on with, and it is said; and of more
    tubes than `POOL` only those that seem to matter most are compared.
    """
    exact = len(palette.paints) <= POOL
    palette = palette if exact else _narrowed(palette, targets, ())
    found = search(palette, targets, most)
    count = len(palette.paints)
    nearest = found[-1].difference.min(axis=1)
    limit = np.where(nearest > within, nearest + within, within)
    # Of very many tubes it isn't known what all of them make.
    bound = float(nearest.mean()) if exact else 0.0
    tubes, off, every = found[0].tubes, found[0].difference, True
    best = []
    for size in range(1, min(keep, count) + 1):
        go_on()
        if size <= len(found):
            tubes, off = found[size - 1].tubes, found[size - 1].difference.astype(np.float32)
        elif every and comb(count, size) * len(targets) <= _COMPARED:
            tubes, off = _larger(tubes, off, count)
        else:
            tubes, off = _widened(found, tubes, off, limit, count)
            every = exact = False
        order = _ranked(off, limit)
        row = order[0]
        missed = int((off[:, row] > limit + _EDGE).sum())
        names = tuple(palette.paints[i] for i in tubes[row])
        best.append(Best(names, off[:, row].astype(float), missed, exact))
    return BestSets(tuple(best), limit, bound)


def _ranked(off: Array, limit: Array) -> Ints:
    """Sets in order: the fewest colours missed, then the least mean difference."""
    missed = (off > limit[:, None] + _EDGE).sum(axis=0)
    return np.lexsort((off.mean(axis=0), missed))


def _widened(
    found: Sequence[Solutions], tubes: Ints, off: Array, limit: Array, count: int
) -> tuple[Ints, Array]:
    """The best sets of one size with each further tube: the sets (N, M), and differences (T, N)."""
    kept = tubes[_ranked(off, limit)[:_GONE_ON_WITH]]
    pairs = {
        tuple(sorted((*some, more)))
        for some in kept.tolist()
        for more in range(count)
        if more not in some
    }
    wider = np.array(sorted(pairs), dtype=np.intp)
    best = np.full((len(off), len(wider)), np.inf, dtype=off.dtype)
    # Each mix is of one of the largest sets searched that it holds.
    last = found[-1]
    place = {tuple(some): row for row, some in enumerate(last.tubes.tolist())}
    for some in combinations(range(wider.shape[1]), last.tubes.shape[1]):
        rows = [place[tuple(each)] for each in wider[:, some].tolist()]
        np.minimum(best, last.difference[:, rows], out=best)
    return wider, best


def _larger(tubes: Ints, off: Array, count: int) -> tuple[Ints, Array]:
    """Every set of one tube more, and its differences (T, N), from all sets of one size."""
    more = sets(count, tubes.shape[1] + 1)
    place = np.zeros(1 << count, dtype=np.int32)
    place[_bits(tubes)] = np.arange(len(tubes))
    whole = _bits(more)
    best = np.full((len(off), len(more)), np.inf, dtype=off.dtype)
    for left_out in more.T:
        np.minimum(best, off[:, place[whole - (1 << left_out)]], out=best)
    return more, best


def _bits(tubes: Ints) -> Ints:
    """Each set as a number with a bit for each of its tubes."""
    result: Ints = (1 << tubes).sum(axis=1)
    return result


def _chosen(palette: Palette, names: Sequence[str], targets: Array, most: int) -> Chosen:
    few = palette.select(names)
    solved = search(few, targets, most)[-1]
    row = solved.difference.argmin(axis=1)
    at = np.arange(len(targets))
    rows = np.array([palette.paints.index(n) for n in names], dtype=np.intp)
    shares = dense(rows[solved.tubes[row]], solved.shares[at, row], len(palette.paints))
    return Chosen(tuple(names), solved.difference[at, row], shares)


def _narrowed(palette: Palette, targets: Array, must: Sequence[str]) -> Palette:
    """The paints that the best small mixes of the colours are made of."""
    solved = search(palette, targets, _MOST_TO_NARROW)[-1]
    kept = [palette.paints.index(p) for p in must]
    for row in np.argsort(solved.difference, axis=1).T:
        # The nearest set of each colour, then the second of each, and so on.
        for tube in solved.tubes[row].ravel():
            if tube not in kept and len(kept) < _OF_MORE:
                kept.append(int(tube))
        if len(kept) >= _OF_MORE:
            break
    return palette.select([palette.paints[i] for i in kept])
