"""A mix as it will be made: whole steps of a measure, and what that makes of the colour."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import ceil

import numpy as np

from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from .measures import Measure, Portions, Tint, mixed
from .palette import Palette
from .ranking import clumsiness

ENOUGH = 0.4
"""CIEDE2000 that measuring may cost, before a tint or a larger batch mends it (our own rule)."""
_PER_UNIT = 0.02
"""CIEDE2000 that a step more in a batch counted by hand has to earn (our own rule)."""
_EARNS = 0.3
"""CIEDE2000 that a tint more has to earn (our own rule)."""
_LITTLE_MORE, _MUCH_MORE = 1.1, 2.0
"""Times what was asked for: before a tint is mixed, and at the most."""
_MOST_TOTALS = 400
SIGMAS = 1.7
"""Standard deviations that 95 of 100 lie within, where one or two amounts that are rounded to a
step count most: between 1.65 of one even distribution and 1.9 of the sum of two."""


@dataclass(frozen=True)
class Made(Portions):
    """A mix as it will be made.

    Attributes
    ----------
    asked : float or None
        Units that were asked for; None: a handy batch.
    grams : dict of nickname to grams
        Of tube paint in it, a tint's paints told apart. Where the unit has no size, of a batch that
        weighs as many grams as it has units.
    lab : (3,) array
        What it looks like, so made.
    moved : float
        CIEDE2000 that the measuring costs: from the exact mix to this one.
    difference : float
        CIEDE2000 from the target.
    weighing : float
        CIEDE2000 that the step of a scale or a syringe may move it by: one standard deviation.
    """

    asked: float | None
    grams: dict[str, float]
    lab: Array
    moved: float
    difference: float
    weighing: float

    def band(self, exact: float) -> float:
        """Return what 95 of 100 stay within of what it looks like, the hand that measures too.

        Parameters
        ----------
        exact : float
            CIEDE2000 that the mix stays within of its prediction, were it measured exactly.
        """
        return float(np.hypot(exact, SIGMAS * self.weighing))

    @property
    def surplus(self) -> float:
        """Units beyond what was asked for, where that is more than one step."""
        over = self.measure.rounded(self.total - (self.asked or self.total))
        return over if over > 1.5 * self.measure.step else 0.0


def as_made(
    palette: Palette,
    parts: Mapping[str, float],
    target: Array,
    measure: Measure,
    asked: float | None = None,
) -> Made:
    """Find the amounts, in whole steps, that cost least in colour.

    Parameters
    ----------
    parts : mapping of nickname to share by weight
    target : (3,) array
        CIELAB of what is to be matched.
    asked : float, optional
        Units to make. The batch holds that within one step, unless its steps are too coarse for the
        colour even with tints; then it holds more.

    Notes
    -----
    No part is rounded away. Of a handy batch, the coarsest that costs no colour is taken. Where the
    steps cost more than `ENOUGH`, scarce paints are taken from tints mixed beforehand in the
    bulkiest, or from a tint of that tint.
    """
    problem = _Problem(palette, dict(parts), target, measure, asked)
    made = [problem.best(())]
    if asked is not None and not _near(made[-1]):
        made.append(problem.best((), _LITTLE_MORE))
    if len(parts) > 1 and not problem.sure(made[-1]):
        made.append(problem.tinted())
    if not any(map(_near, made)):
        tints = made[-1].tints if made[-1] is not None else ()
        made += [problem.best((), _MUCH_MORE), problem.best(tints, _MUCH_MORE)]
    found = [each for each in made if each is not None]
    if not found:
        # Less was asked for than one step of each.
        found = [problem.largest()]
    return min([each for each in found if _near(each)] or found, key=_cost)


def _near(made: Made | None) -> bool:
    return made is not None and made.moved <= ENOUGH


def _cost(made: Made) -> float:
    off = float(np.hypot(made.moved, made.weighing))
    return off + _EARNS * len(made.tints) + made.surplus / made.total


@dataclass(frozen=True)
class _Problem:
    """What is to be made, of what, and how much."""

    palette: Palette
    parts: dict[str, float]
    target: Array
    measure: Measure
    asked: float | None

    @property
    def rows(self) -> list[int]:
        return [self.palette.paints.index(p) for p in self.parts]

    @property
    def wanted(self) -> Array:
        """Dry volume of each paint, of one gram of the exact mix."""
        shares: Array = np.array(list(self.parts.values()))
        return shares * self.palette.coefficients.dry_volume[self.rows]

    @staticmethod
    def sure(made: Made | None) -> bool:
        """Whether neither the steps nor reading them off cost enough for a tint."""
        return made is not None and float(np.hypot(made.moved, made.weighing)) <= ENOUGH

    def lab(self, dry: Array) -> Array:
        dense = np.zeros((len(dry), len(self.palette.paints)))
        dense[:, self.rows] = dry / dry.sum(axis=1, keepdims=True)
        return self.palette.lab(dense)

    def weights(self, tints: Sequence[Tint]) -> Array:
        """Grams of each tube (column) in one unit of each thing that is measured out (row)."""
        c, names = self.palette.coefficients, list(self.parts)
        each = c.density[self.rows] if self.measure.by_volume else np.ones(len(names))
        each = each * (self.measure.size or 1.0)
        unit = np.diag(each)
        for tint in tints:
            strong, into, share = names.index(tint.paint), names.index(tint.into), 1 + tint.parts
            unit[strong, strong] = each[strong] / share
            unit[strong, into] = each[into] * tint.parts / share
        return unit

    def steps(self, asked: float) -> int:
        """Whole steps that hold what was asked, one at the least."""
        return max(round(asked / self.measure.step), 1)

    def totals(self, factor: float) -> Array:
        """Numbers of steps that a batch may hold."""
        step, least = self.measure.step, len(self.parts)
        if self.asked is None:
            low, high = (round(end * factor / step) for end in self.measure.batch)
        else:
            n = self.steps(self.asked)
            low, high = (n - 1, n + 1) if factor == 1 else (n, ceil(n * factor))
        low = max(low, least if factor > 1 or self.asked is None else 1)
        return np.unique(np.round(np.linspace(low, max(high, low), _MOST_TOTALS)))

    def best(self, tints: Sequence[Tint], factor: float = 1.0) -> Made | None:
        """Return the best whole steps with these tints; None where no such batch has them."""
        grams = self.weights(tints)
        unit = grams * self.palette.coefficients.dry_volume[self.rows]
        share = np.linalg.solve(unit.T, self.wanted)
        if share.min() <= 0:
            return None
        totals = self.totals(factor)
        whole = np.floor(totals[:, None] * share / share.sum())
        either = np.array(list(product((0, 1), repeat=len(share))))
        counts = np.maximum(whole[:, None, :] + either, 1).reshape(-1, len(share))
        sums = counts.sum(axis=1)
        if self.asked is not None:
            counts = counts[(sums >= totals[0]) & (sums <= totals[-1])]
        if not len(counts):
            return None
        counts = np.unique(counts, axis=0)
        exact, colours = self.lab(self.wanted[None]), self.lab(counts @ unit)
        moved = ciede2000(colours, exact)
        best = int(np.argmin(moved + self._price(counts, factor)))
        found = counts[best]
        if self.measure.step == 1 and self.asked is None:
            found = found / np.gcd.reduce(found.astype(int))
        names = list(self.parts)
        amounts = {
            p: self.measure.rounded(n * self.measure.step)
            for p, n in zip(names, found, strict=True)
        }
        held = np.array(list(amounts.values())) @ grams
        return Made(
            self.measure, amounts, tuple(tints), self.asked,
            {p: float(g) for p, g in zip(names, held, strict=True)}, colours[best],
            float(moved[best]), float(ciede2000(colours[best], self.target)),
            self._weighing(amounts, tints, held),
        )  # fmt: skip

    def largest(self) -> Made:
        """Return the best of the smallest batches that hold a step of each."""
        assert self.asked is not None
        made = self.best((), 1 + 100 * len(self.parts) / self.steps(self.asked))
        assert made is not None, "a batch of a hundred steps each holds all of them"
        return made

    def _price(self, counts: Array, factor: float) -> Array:
        """What steps cost: none of a handy batch by scale, where counted by hand or asked each."""
        sums: Array = counts.sum(axis=1)
        if self.asked is None:
            by_hand = self.measure.batch[1] / self.measure.step <= 40
            # A larger batch than is handy is for the colour's sake.
            return (_PER_UNIT / factor**3 if by_hand else 0.0) * sums
        n = self.steps(self.asked)
        return (_PER_UNIT if factor == 1 else 1.0 / n) * np.abs(sums - n)

    def _weighing(self, amounts: Mapping[str, float], tints: Sequence[Tint], held: Array) -> float:
        """CIEDE2000 of amounts that are read off to a step, one standard deviation.

        JCGM 100:2008, 4.3.7: what is rounded to a step is off by the step over the root of 12.
        """
        if not self.measure.read_off:
            return 0.0
        error = self.measure.step / np.sqrt(12)
        slip = np.zeros(len(self.palette.paints))
        for tint in (*tints, *(Tint(p, p, 0) for p in amounts)):
            # A tint is weighed as one, and so was what went into it.
            i = self.palette.paints.index(tint.paint)
            before = mixed(tint, amounts[tint.paint], self.measure) if tint.times else []
            for amount in [each.strong for each in before] or [amounts[tint.paint]]:
                slip[i] = np.hypot(slip[i], error / amount)
        dry = np.zeros((1, len(self.palette.paints)))
        dry[0, self.rows] = held * self.palette.coefficients.dry_volume[self.rows]
        shares = dry / dry.sum()
        return float(clumsiness(self.palette, shares, self.palette.lab(shares)[0], slip)[0])

    def tinted(self) -> Made | None:
        """Return the best with tints, each of which has to earn its mixing."""
        bulky = max(self.parts, key=lambda p: self.parts[p])
        chosen: dict[str, int] = {}
        here: Made | None = None
        while not self.sure(here):
            found = []
            for paint in self.parts:
                times = chosen.get(paint, 0) + 1
                if paint != bulky and times <= 2:
                    tried = chosen | {paint: times}
                    made = self.best([Tint(p, bulky, n) for p, n in tried.items()])
                    if made is not None:
                        found.append((_cost(made), tried, made))
            if not found:
                return here
            cost, tried, made = min(found, key=lambda each: each[0])
            if here is not None and cost > _cost(here):
                return here
            chosen, here = tried, made
        return here
