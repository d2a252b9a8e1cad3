"""The path between two colours through heaps mixed beforehand, and points on it at equal steps."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ....calibrate.optics.colour import ciede2000
from ....calibrate.optics.spectra import Array
from ..palette import Ints, Palette

_SAMPLES, _FARTHEST = 129, 8.0
"""Blends of two heaps that a leg is drawn from, and the logarithm of their farthest ratio."""
_TURNS = 60
"""Rounds in which points are moved until their steps are equal."""


@dataclass(frozen=True)
class Points:
    """Points on a path.

    Attributes
    ----------
    leg : (N,) array of int
        Between which heaps: this one and the next.
    share : (N,) array
        Of the next heap in the blend, in the unit that heaps are measured in.
    lab : (N, 3) array
    """

    leg: Ints
    share: Array
    lab: Array


@dataclass(frozen=True)
class Path:
    """Blends of each heap with the next one.

    Attributes
    ----------
    heaps : (H, P) array
        Dry volume of each paint in one unit of each heap.
    """

    palette: Palette
    heaps: Array

    def blend(self, leg: Ints, share: Array) -> Array:
        """Dry-volume fractions (N, P) of blends."""
        dry = (1 - share)[:, None] * self.heaps[leg] + share[:, None] * self.heaps[leg + 1]
        result: Array = dry / dry.sum(axis=1, keepdims=True)
        return result

    @cached_property
    def drawn(self) -> Points:
        """The path in small steps, from its first heap to its last."""
        share = 1 / (1 + np.exp(-np.linspace(-_FARTHEST, _FARTHEST, _SAMPLES - 2)))
        share = np.concatenate([[0.0], share, [1.0]])
        legs = len(self.heaps) - 1
        leg = np.repeat(np.arange(legs), _SAMPLES)
        shares = np.tile(share, legs)
        return Points(leg, shares, self.palette.lab(self.blend(leg, shares)))

    @cached_property
    def along(self) -> Array:
        """How far each drawn point lies along the path, CIEDE2000 summed over small steps."""
        lab = self.drawn.lab
        return np.concatenate([[0.0], np.cumsum(ciede2000(lab[1:], lab[:-1]))])

    def at(self, along: Array) -> Points:
        """Return points so far along the path, (N,)."""
        drawn, whole = self.drawn, self.along
        after = np.clip(np.searchsorted(whole, along, side="right"), 1, len(whole) - 1)
        # Between two legs nothing lies: a point belongs to the leg that it is the end of.
        before = after - 1
        gap = whole[after] - whole[before]
        part = np.clip((along - whole[before]) / np.where(gap > 0, gap, 1.0), 0, 1)
        leg = drawn.leg[after]
        start = np.where(drawn.leg[before] == leg, drawn.share[before], 0.0)
        share = start + part * (drawn.share[after] - start)
        return Points(leg, share, self.palette.lab(self.blend(leg, share)))

    def equal(self, count: int) -> Points:
        """Return so many points, first and last heap among them, that differ alike from the next.

        Notes
        -----
        CIEDE2000 is no distance along a path: two steps of it may differ by more or less than both
        together. So the points are moved by what their steps truly come to, again and again.
        """
        along = np.linspace(0, self.along[-1], count)
        points = self.at(along)
        best, least = points, np.inf
        for _ in range(_TURNS):
            steps = ciede2000(points.lab[1:], points.lab[:-1])
            off = float(np.abs(steps - steps.mean()).max())
            if off < least:
                best, least = points, off
            if off <= 1e-3 * steps.mean():
                break
            summed = np.concatenate([[0.0], np.cumsum(steps)])
            wanted = np.interp(np.linspace(0, summed[-1], count), summed, along)
            along = along + 0.8 * (wanted - along)
            points = self.at(along)
        return best
