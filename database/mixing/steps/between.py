"""Equal seen steps between two mixes or colours: the heaps they are mixed of, and each step."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from ....calibrate.optics.colour import ciede2000
from ....calibrate.optics.spectra import Array
from ..made import Made, as_made
from ..measures import Measure
from ..palette import Palette
from ..ranking import VISIBLE
from .growing import Taken, coarse, measured, needed
from .path import Path, Points

Parts = dict[str, float]
"""A mix: share by weight of each tube, by nickname."""

_MOST_HEAPS = 7
"""Heaps that are mixed beforehand, at most."""
_HALVED = 2
"""How often a straight line is halved, to keep to it."""
_TOO_COARSE = 0.05
"""What half a step of the measure may move a colour by, as a share of a step between colours."""
_DRAWN = 200
_ROUNDS = 4


@dataclass(frozen=True)
class Steps:
    """Steps between two colours, as they will be made.

    Attributes
    ----------
    heaps : tuple of Made
        Mixed beforehand, in order.
    used : (H,) array
        Units of each that the steps take.
    taken : tuple of Taken
        Each step, in order.
    shares : (N, P) array
        Dry-volume fractions of each.
    departs : float
        CIEDE2000 that the steps lie off the straight line between two colours at the most; 0
        between two mixes, whose blends are the steps.
    """

    heaps: tuple[Made, ...]
    used: Array
    taken: tuple[Taken, ...]
    shares: Array
    departs: float

    @property
    def names(self) -> tuple[str, ...]:
        """What each heap is called: by letters, in order, of those that are used."""
        letters = iter("ABCDEFGHIJ")
        return tuple(f"Heap {next(letters)}" if units > 0 else "" for units in self.used)

    @property
    def lab(self) -> Array:
        """CIELAB of each step, (N, 3)."""
        return np.array([taken.lab for taken in self.taken])

    @property
    def apart(self) -> Array:
        """CIEDE2000 from each step to the next, (N - 1,)."""
        result: Array = ciede2000(self.lab[1:], self.lab[:-1])
        return result

    @property
    def uneven(self) -> float:
        """How far the step that is least like the others is from their mean, over that mean."""
        return float(np.abs(self.apart / self.apart.mean() - 1).max())

    @property
    def left_over(self) -> float:
        """Units that are mixed and that no step takes."""
        made = sum(heap.total for heap in self.heaps)
        return made - sum(taken.take for taken in self.taken)


def steps_between(
    palette: Palette,
    ends: tuple[Parts, Parts],
    count: int,
    measure: Measure,
    each: float,
    mixes: Callable[[Array], Sequence[Parts]] | None = None,
) -> Steps:
    """Find steps between two mixes that differ alike to the eye, each next one.

    Parameters
    ----------
    ends : tuple of two mixes by weight
    count : int
        Steps, both ends among them; two at least.
    each : float
        Units that are needed of each step.
    mixes : callable, optional
        Finds mixes by weight for colours (N, 3): the steps then keep to the straight line in CIELAB
        between the ends. None: each step is a blend of the two ends.

    Notes
    -----
    Heaps are mixed beforehand along the way: both ends; mixes between them, where blends of two
    would leave the straight line by what can be seen; and blends, where so little of a strong heap
    would be added that the measure is too coarse for it.
    """
    heaps = [dict(end) for end in ends]
    line = None
    if mixes is not None:
        line = palette.lab(np.array([_dry(palette, heap) for heap in heaps]))
        heaps = _straightened(palette, heaps, line, mixes)
    heaps = _finer(palette, heaps, count, measure, each)
    path, points = _laid(palette, [_unit(palette, heap, measure) for heap in heaps], count)
    wanted = needed(points, each, len(heaps))
    for _ in range(_ROUNDS):
        made = [
            _made(palette, heap, measure, max(units, measure.step))
            for heap, units in zip(heaps, wanted, strict=True)
        ]
        path, points = _laid(palette, [_unit_made(palette, one) for one in made], count)
        taken = measured(path, points, each, measure.step)
        used = _used(taken, len(heaps))
        short = used - np.array([one.total for one in made])
        if (short <= 1e-9).all():
            break
        wanted = np.where(short > 1e-9, np.maximum(used, wanted) + measure.step, wanted)
    made = [
        _trimmed(one, float(units), measure) for one, units in zip(made, used, strict=True)
    ]  # fmt: skip
    shares = path.blend(points.leg, np.array([step.share for step in taken]))
    departs = 0.0
    if line is not None:
        departs = float(_off_line(np.array([step.lab for step in taken]), line).max())
    return Steps(tuple(made), used, taken, shares, departs)


def _laid(palette: Palette, units: Sequence[Array], count: int) -> tuple[Path, Points]:
    path = Path(palette, np.array(units))
    return path, path.equal(count)


def _dry(palette: Palette, parts: Mapping[str, float]) -> Array:
    """Dry-volume fractions (P,) of a mix by weight."""
    dense = np.array([parts.get(p, 0.0) for p in palette.paints]) * palette.coefficients.dry_volume
    result: Array = dense / dense.sum()
    return result


def _unit(palette: Palette, parts: Mapping[str, float], measure: Measure) -> Array:
    """Dry volume of each paint (P,) in one unit of a heap, a mix by weight."""
    c = palette.coefficients
    grams = np.array([parts.get(p, 0.0) for p in palette.paints])
    grams /= (grams / c.density).sum() if measure.by_volume else grams.sum()
    result: Array = grams * c.dry_volume
    return result


def _unit_made(palette: Palette, made: Made) -> Array:
    """The same of a heap as it was made."""
    return _unit(palette, made.grams, made.measure)


def _parts(palette: Palette, shares: Array) -> Parts:
    """A mix by weight of dry-volume fractions (P,)."""
    grams = shares / palette.coefficients.dry_volume
    grams = grams / grams.sum()
    order = np.argsort(-grams, kind="stable")
    return {palette.paints[i]: float(grams[i]) for i in order if grams[i] > 0}


def _straightened(
    palette: Palette,
    heaps: list[Parts],
    line: Array,
    mixes: Callable[[Array], Sequence[Parts]],
) -> list[Parts]:
    """Put mixes of the line's colours between heaps whose blends leave it by what can be seen."""
    places = [0.0, 1.0]
    for _ in range(_HALVED):
        path = Path(palette, np.array([_dry(palette, heap) for heap in heaps]))
        off = _off_line(path.drawn.lab, line)
        bent = [i for i in range(len(heaps) - 1) if off[path.drawn.leg == i].max() > VISIBLE]
        if not bent:
            break
        halves = [(places[i] + places[i + 1]) / 2 for i in bent]
        found = mixes(np.array([line[0] + h * (line[1] - line[0]) for h in halves]))
        both = sorted(
            [*zip(places, heaps, strict=True), *zip(halves, found, strict=True)],
            key=lambda each: each[0],
        )
        places, heaps = [place for place, _ in both], [heap for _, heap in both]
    return heaps


def _off_line(labs: Array, line: Array) -> Array:
    """CIEDE2000 of colours (N, 3) from the nearest of a straight line in CIELAB, (N,)."""
    along = np.linspace(0, 1, _DRAWN)[:, None]
    on = line[0] + along * (line[1] - line[0])
    result: Array = ciede2000(labs[:, None, :], on[None]).min(axis=1)
    return result


def _finer(
    palette: Palette, heaps: list[Parts], count: int, measure: Measure, each: float
) -> list[Parts]:
    """Put blends between heaps where the measure is too coarse to add the next one."""
    while len(heaps) < _MOST_HEAPS:
        units = [_unit(palette, heap, measure) for heap in heaps]
        path, points = _laid(palette, units, count)
        rough = coarse(path, points, each, measure.step)
        if rough.max() <= _TOO_COARSE:
            break
        leg = int(points.leg[rough.argmax()])
        on = np.flatnonzero(path.drawn.leg == leg)
        middle = path.at(np.array([(path.along[on[0]] + path.along[on[-1]]) / 2]))
        heaps = [*heaps[: leg + 1], _parts(palette, path.blend(middle.leg, middle.share)[0]),
                 *heaps[leg + 1 :]]  # fmt: skip
    return heaps


def _made(palette: Palette, parts: Parts, measure: Measure, units: float) -> Made:
    """Return a heap of at least so many units."""
    whole = ceil(units / measure.step - 1e-6) * measure.step
    aim = palette.lab(_dry(palette, parts)[None])[0]
    made = as_made(palette, parts, aim, measure, whole)
    if made.total < whole - 1e-9:
        made = as_made(palette, parts, aim, measure, whole + measure.step)
    return made


def _trimmed(made: Made, used: float, measure: Measure) -> Made:
    """Return a heap of one tube as just so much as is used; any other as it is."""
    if len(made.amounts) > 1:
        return made
    paint, amount = next(iter(made.amounts.items()))
    units = measure.rounded(used)
    return replace(made, amounts={paint: units}, asked=units,
                   grams={paint: made.grams[paint] * units / amount})  # fmt: skip


def _used(taken: Sequence[Taken], heaps: int) -> Array:
    """Units of each heap that the steps take, (H,)."""
    used = np.zeros(heaps)
    for step in taken:
        used[step.leg] += step.first
        used[step.leg + 1] += step.second
    return used
