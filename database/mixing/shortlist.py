"""Which of very many tubes can matter for a colour, where every set of them can't be searched.

A thousand tubes have 166 million sets of three. The sets of tubes that lie far apart are searched
first; then each tube of the best of them is exchanged for every other tube there is, on a coarse
lattice of shares. The tubes of the nearest sets found so are the shortlist, of which every set is
searched. What isn't searched can't match visibly nearer than a way that can't be told from the
target; where nothing comes so near, the answer's `gap` says how much nearer it might come.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from math import comb
from typing import Any

import numpy as np
from scipy.sparse import csr_array

from ...calibrate.optics.colour_difference import residual_terms
from ...calibrate.optics.spectra import Array
from .medium import MEDIUM
from .palette import Ints, Palette, to_lab
from .search import lattice, search

ALL_SETS = 60_000
"""Sets up to which every one is searched."""
_SHORT = 10_000
"""Sets of a shortlist, at most."""
_FAR_APART = 16
"""Tubes that are searched first."""
_EXCHANGED = 8
"""Sets of which each tube is exchanged."""
_NEAREST = 4
"""Tubes that are listed for what they are alone, or let down with the lightest."""
_LISTED = 20
"""Sets that are looked through for each place in the list."""


@dataclass(frozen=True)
class Shortlist:
    """Tubes of which every set is searched.

    Attributes
    ----------
    tubes : tuple of str
        Nicknames, in the palette's order.
    tried : int
        Sets that were looked at to find them.
    """

    tubes: tuple[str, ...]
    tried: int


def how_many(tubes: int, most: int) -> int:
    """Count the sets of one to `most` of so many tubes."""
    return sum(comb(tubes, size) for size in range(1, most + 1))


def shortlist(palette: Palette, target: Array, most: int, must: Collection[str] = ()) -> Shortlist:
    """Choose the tubes that can matter for a colour.

    Parameters
    ----------
    palette : Palette
        Opaque.
    target : (3,) array
        CIELAB in the palette's view.
    most : int
        Tubes in a mix.
    must : collection of str
        Nicknames that have to be in it.

    Returns
    -------
    Shortlist
    """
    count, size = len(palette.paints), min(most, 3)
    room = max(n for n in range(most + 1, count + 1) if how_many(n, most) <= _SHORT)
    always = [i for i, p in enumerate(palette.paints) if p in must or p == MEDIUM]
    alone = palette.lab(np.eye(count))
    light = int(alone[:, 0].argmax())
    off = _nearest(palette, np.arange(count)[:, None], target)
    tinted = np.array([(light, i) for i in range(count) if i != light])
    by_tint = _nearest(palette, tinted, target)
    first = _far_apart(alone, [*always, light, int(alone[:, 0].argmin())])
    found = search(palette.select([palette.paints[i] for i in first]), target, size)
    nearest, tried = list[Ints](), count + len(tinted) + sum(len(s.tubes) for s in found)
    for solved in reversed(found[1:]):
        best = np.argsort(solved.difference[0], kind="stable")[:_EXCHANGED]
        swapped = _exchanged(first[solved.tubes[best]], count)
        by_off = np.argsort(_nearest(palette, swapped, target), kind="stable")
        nearest += [first[solved.tubes[best[0]]], swapped[by_off[: room * _LISTED]]]
        tried += len(swapped)
    likely = [
        *always,
        light,
        *np.argsort(off, kind="stable")[:_NEAREST],
        *tinted[np.argsort(by_tint, kind="stable")[:_NEAREST], 1],
    ]
    # Sets of every size are listed in turn, the nearest first.
    runs = [list(dict.fromkeys(part.ravel().tolist())) for part in nearest]
    turns = [run[i] for i in range(room) for run in runs if i < len(run)]
    chosen = sorted(list(dict.fromkeys(int(i) for i in [*likely, *turns]))[:room])
    return Shortlist(tuple(palette.paints[i] for i in chosen), tried)


def _far_apart(colours: Array, begin: list[int]) -> Ints:
    """Rows that lie far from each other, and the given ones."""
    chosen = list(dict.fromkeys(begin))
    apart = np.min([((colours - colours[i]) ** 2).sum(axis=1) for i in chosen], axis=0)
    while len(chosen) < min(_FAR_APART, len(colours)):
        chosen.append(int(apart.argmax()))
        apart = np.minimum(apart, ((colours - colours[chosen[-1]]) ** 2).sum(axis=1))
    return np.array(chosen, dtype=np.intp)


def _exchanged(sets: Ints, count: int) -> Ints:
    """Each set with each of its tubes exchanged for every tube there is."""
    n, size = sets.shape
    out = np.repeat(sets, size * count, axis=0).reshape(n, size, count, size)
    for place in range(size):
        out[:, place, :, place] = np.arange(count)
    every = np.unique(np.sort(out.reshape(-1, size), axis=1), axis=0)
    result: Ints = every[(np.diff(every, axis=1) > 0).all(axis=1)]
    return result


def _nearest(palette: Palette, tubes: Ints, target: Array) -> Array:
    """CIEDE2000 of the nearest lattice point of each set (N, M) from the target, (N,)."""
    optics, (n, size) = palette.optics[np.float32], tubes.shape
    goal: Any = tuple(np.float32(x) for x in target)
    rows, least = np.arange(0, tubes.size + 1, size), np.full(n, np.inf, dtype=np.float32)
    points = lattice(size) if size > 1 else np.ones((1, 1))
    for point in points.astype(np.float32):
        shares = np.tile(point, n)
        mixed: Any = csr_array((shares, tubes.ravel(), rows), shape=(n, len(palette.paints)))
        parts = residual_terms(to_lab(optics.xyz(mixed)), goal)
        np.minimum(least, sum(part * part for part in parts), out=least)
    return np.sqrt(least)
