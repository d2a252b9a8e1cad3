"""Heaps that grow out of one another: what is added to what is left, in whole steps of a measure.

On a leg of a path a plate begins with the first heap, and is only ever added the second one to.
After each addition as much is taken off as a step needs. The plate begins with just so much that
the last step of the leg uses it up; so nothing is wasted but what whole steps of the measure round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ....calibrate.optics.colour import ciede2000
from ....calibrate.optics.spectra import Array
from .path import Path, Points

_KEPT = 40
"""Ways to measure out a path that are gone on with."""
_AROUND = np.arange(-2.0, 3.0)
"""Steps of the measure that an addition may lie off what is exact."""
_SPARE = 4
"""Steps more than needed that a plate may begin with."""
_OFF_PLACE, _LOST = 0.05, 1e-3
"""What lying off its place on the path costs a step, and what paint costs that no step takes, both
beside a step that is unlike the others by all of itself (our own rule)."""
_ALONE = 1e-9
"""Share of a heap under which the other one is alone."""


@dataclass(frozen=True)
class Taken:
    """One step: what is put on the plate, and what is taken off it.

    Attributes
    ----------
    left : float
        Units that are left on the plate from the last step; 0: the plate is begun anew.
    first, second : float
        Units of the leg's heaps that are put on it.
    take : float
        Units that the step needs.
    share : float
        Of the second heap on the plate.
    lab : (3,) array
    """

    leg: int
    left: float
    first: float
    second: float
    take: float
    share: float
    lab: Array

    @property
    def total(self) -> float:
        """Units on the plate."""
        return self.left + self.first + self.second


@dataclass(frozen=True)
class _Way:
    """One way to measure out the first steps of a path."""

    taken: tuple[Taken, ...]
    steps: tuple[float, ...]
    cost: float

    @property
    def uneven(self) -> float:
        steps = np.array(self.steps)
        return float(np.abs(steps / steps.mean() - 1).max()) if len(steps) else 0.0


def plates(share: Array, take: float) -> Array:
    """Units on the plate at each step of one leg, (N,), so that the last one uses it up."""
    totals = np.full(len(share), take)
    for i in range(len(share) - 2, -1, -1):
        rest = 1 - share[i]
        totals[i] += totals[i + 1] * (1 - share[i + 1]) / rest if rest > 0 else 0.0
    return totals


def exact_totals(points: Points, take: float) -> Array:
    """Units on the plate at each step of all legs, (N,), measured exactly."""
    legs = [points.share[points.leg == leg] for leg in np.unique(points.leg)]
    return np.concatenate([plates(share, take) for share in legs])


def needed(points: Points, take: float, heaps: int) -> Array:
    """Units of each heap that go into the steps, (H,), measured exactly."""
    # All that is ever put on a plate is taken off it again.
    used = np.zeros(heaps)
    np.add.at(used, points.leg, (1 - points.share) * take)
    np.add.at(used, points.leg + 1, points.share * take)
    return used


def coarse(path: Path, points: Points, take: float, step: float) -> Array:
    """What half a step of the measure moves each point by, over a step between points, (N,)."""
    away = points.share
    nudge = 1e-3 * np.maximum(np.minimum(away, 1 - away), 1e-6)
    moved = path.palette.lab(path.blend(points.leg, away + nudge))
    slope = ciede2000(moved, points.lab) / nudge
    each = ciede2000(points.lab[1:], points.lab[:-1]).mean()
    # A heap alone needs no measuring.
    alone = (away <= _ALONE) | (away >= 1 - _ALONE)
    totals = exact_totals(points, take)
    result: Array = np.where(alone, 0.0, 0.5 * slope * (1 - away) * step / totals / each)
    return result


def measured(path: Path, points: Points, take: float, step: float) -> tuple[Taken, ...]:
    """Measure out the steps in whole steps of a measure, as alike as that allows.

    Parameters
    ----------
    path : Path
        Of the heaps as they were made.
    take : float
        Units that each step needs.
    step : float
        Smallest step of the measure, units.
    """
    measuring = _Measuring(path, points, take, step)
    ways = [_Way((), (), 0.0)]
    for i in range(len(points.leg)):
        ways = sorted(measuring.gone_on(ways, i), key=lambda way: way.cost)[:_KEPT]
    return min(ways, key=lambda way: (round(way.uneven, 3), way.cost)).taken


@dataclass(frozen=True)
class _Measuring:
    """What is measured out, and what with."""

    path: Path
    points: Points
    take: float
    step: float

    @cached_property
    def each(self) -> float:
        """CIEDE2000 from one point to the next."""
        return float(ciede2000(self.points.lab[1:], self.points.lab[:-1]).mean())

    @cached_property
    def totals(self) -> Array:
        """Units on the plate at each step, measured exactly."""
        return exact_totals(self.points, self.take)

    def gone_on(self, ways: Sequence[_Way], i: int) -> list[_Way]:
        """Every way gone on with by the step `i`, in each of the likely amounts."""
        leg, share = int(self.points.leg[i]), float(self.points.share[i])
        begun = i > 0 and self.points.leg[i - 1] == leg and share < 1 - _ALONE
        found = [
            (way, *amounts)
            for way in ways
            for amounts in (self._grown(way.taken[-1], share) if begun else self._fresh(i))
        ]
        mixed = np.array([(held + second) / (left + first + second)
                          for _, left, held, first, second in found])  # fmt: skip
        labs = self.path.palette.lab(self.path.blend(np.full(len(found), leg), mixed))
        place = ciede2000(labs, self.points.lab[i]) / self.each
        made = []
        for n, (way, left, _, first, second) in enumerate(found):
            taken = Taken(leg, left, first, second, self.take, float(mixed[n]), labs[n])
            steps, cost = way.steps, way.cost + _OFF_PLACE * float(place[n]) ** 2
            if way.taken:
                steps = (*steps, float(ciede2000(labs[n], way.taken[-1].lab)))
                cost += (steps[-1] / self.each - 1) ** 2
            # What is on the plate beyond what later steps use is lost.
            cost += _LOST * max(taken.total - self.totals[i], 0.0) / self.take
            made.append(_Way((*way.taken, taken), steps, cost))
        return made

    def _grown(self, last: Taken, share: float) -> list[tuple[float, float, float, float]]:
        """What may be added to what is left: left, of it the second heap, first, second."""
        left = last.total - last.take
        held = left * last.share
        exact = (share * left - held) / (1 - share)
        counts = np.unique(np.maximum(np.round(exact / self.step) + _AROUND, 0))
        added = counts * self.step
        enough = added[left + added >= self.take - 1e-9]
        if not len(enough):
            enough = np.array([np.ceil((self.take - left) / self.step - 1e-6) * self.step])
        return [(left, held, 0.0, float(second)) for second in enough]

    def _fresh(self, i: int) -> list[tuple[float, float, float, float]]:
        """What a plate may begin with, in the same way."""
        share, total = float(self.points.share[i]), self.totals[i] / self.step
        if share >= 1 - _ALONE:
            return [(0.0, 0.0, 0.0, float(np.ceil(total - 1e-6) * self.step))]
        found = []
        least = np.ceil((1 - share) * total - 1e-6)
        for first in np.maximum(least + np.arange(-1, _SPARE), 0):
            exact = first * share / (1 - share)
            around = _AROUND if share > _ALONE else np.zeros(1)
            for second in np.unique(np.maximum(np.round(exact) + around, 0)):
                if (first + second) * self.step >= self.take - 1e-9:
                    found.append((0.0, 0.0, float(first * self.step), float(second * self.step)))
        return found
