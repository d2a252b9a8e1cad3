"""What dried batches tell of bands: how far off mixes truly came, over what was stated."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING

import numpy as np

from ...calibrate.optics.colour import ciede2000

if TYPE_CHECKING:
    from ..store.store import Store

COUNTS = 4.0
"""Dried batches that a stated band counts for (our own rule)."""
_MEAN = 0.35
"""Mean square of a difference over the square of what 95 of 100 stay within: 0.26 where it has one
direction (chi-square), 0.38 where it has three, and mixes lie between."""
LEAST, MOST = 0.7, 3.0
"""Times that a band is ever made narrower or wider by batches (our own rule)."""
_READ = 0.5
"""CIEDE2000 that a swatch's colour holds to at the best, 95 of 100 times."""
_TELLS = 0.1
"""Change of a band that is worth a word."""


@dataclass(frozen=True)
class DriedBatch:
    """A batch whose dried swatch was read.

    Attributes
    ----------
    paints : tuple of str
        Nicknames.
    square : float
        Square of its difference over what its band lets expect: 1 on average, if bands are right.
    """

    paints: tuple[str, ...]
    square: float


@dataclass(frozen=True)
class Widening:
    """What dried batches of like paints make of a band.

    Attributes
    ----------
    times : float
        A band is so many times as wide.
    batches : int
        That share a paint with the mix.
    """

    times: float
    batches: int

    @property
    def words(self) -> str:
        """Say how bands changed, a sentence without its end; empty where they hardly did."""
        if abs(self.times - 1) < _TELLS:
            return ""
        who = "a dried batch" if self.batches == 1 else f"{self.batches} dried batches"
        how = "farther from what was expected" if self.times > 1 else "nearer to what was expected"
        return (
            f"{who} of some of these paints came {how} than was stated, so this band is "
            f"{self.times:.1f} times as wide as by the readings alone"
        )


def dried_batches(store: Store) -> tuple[DriedBatch, ...]:
    """Return every batch whose dried swatch was read."""
    found = []
    for recipe, batch in store.recipes.swatched():
        swatch, predicted = batch.swatch or {}, recipe.predicted
        stated = predicted.get("model_band_de00", predicted.get("band_de00"))
        if stated is None:
            continue
        expected = np.array(swatch.get("expected", predicted["lab"]), dtype=float)
        off = float(ciede2000(np.array(swatch["lab"], dtype=float), expected))
        band = hypot(float(stated), float(swatch.get("band", 0.0)), _READ)
        found.append(DriedBatch(tuple(sorted(recipe.parts)), off**2 / (_MEAN * band**2)))
    return tuple(found)


def widening(known: Sequence[DriedBatch], paints: Collection[str]) -> Widening:
    """Return what dried batches make of the band of a mix of some paints.

    A batch counts by the share of paints that both have in common: of all that are in either.

    Parameters
    ----------
    paints : collection of str
        Nicknames.
    """
    mine = set(paints)
    weights = np.array([len(mine & set(b.paints)) / len(mine | set(b.paints)) for b in known])
    squares = np.array([b.square for b in known])
    square = (COUNTS + float(weights @ squares)) / (COUNTS + float(weights.sum()))
    times = float(np.clip(np.sqrt(square), LEAST, MOST))
    return Widening(times, int((weights > 0).sum()))
