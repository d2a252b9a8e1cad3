"""The ladder that tells enough with the least paint."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from ...cards.card import SUBSTRATES
from ...cards.weighing_out import Step, weighed
from ...errors import InputError
from ...optics.spectra import Array
from .information import Scene
from .plan import LadderPlan

_ROUGHLY = 1.03
"""How far what to expect of a ladder weighed out fresh may lie above that of the same diluted."""
_LOOKED = 24
"""Sets of which to ask what substrates they can do without; more hardly ever save a gram."""


def leanest(
    plan: LadderPlan, every: Sequence[Step], fixed: int, most: int, wanted: float
) -> list[Step]:
    """Find the ladder that reaches what is wanted with the least paint; of equals, the surest.

    Parameters
    ----------
    plan : LadderPlan
    every : sequence of Step
        To choose from, each over both substrates.
    fixed : int
        How many of the first must be in it: masstone, and white where it is asked for. They keep
        both substrates, for their contrast; a tint loses one that isn't needed.
    most : int
        Most steps beside white.
    wanted : float
        Expected CIEDE2000, see `tintladder.calibrate.fit.planning.information.Expected`.

    Returns
    -------
    list of Step

    Raises
    ------
    InputError
        Where no ladder reaches it.

    Notes
    -----
    Every set of steps is counted. Which substrates it can do without is asked tint by tint, the
    whitest first, of the sets that take least with both and of the surest of each size.
    """
    tints = every[fixed:]
    single = [replace(step, over=(over,)) for over in SUBSTRATES for step in tints]
    scenes = plan.scenes(plan.apart([*every, *single]))
    sets, roughly = _all_sets(scenes, fixed, len(every), most)
    each = [[every[i] for i in chosen] for chosen in sets]
    whole = [_grams(plan, steps) for steps in each]
    found: tuple[tuple[float, float], list[Step]] | None = None
    size = np.array([len(chosen) for chosen in sets])
    surest = [int(np.argmin(np.where(size == n, roughly, np.inf))) for n in np.unique(size)]
    likely = [n for n in np.argsort(whole, kind="stable") if roughly[n] <= _ROUGHLY * wanted]
    also = [n for n in surest if n in likely[_LOOKED:]]
    # Where none of those looked into reaches it after all, the others' turn comes.
    for looked, n in enumerate([*likely[:_LOOKED], *also, *likely[_LOOKED:]]):
        if found and looked >= _LOOKED + len(also):
            break
        places = _sparing(scenes, sets[n], fixed, len(every), wanted)
        for chosen in dict.fromkeys([places, sets[n]]):
            steps = [[*every, *single][i] for i in chosen]
            grams = _grams(plan, steps)
            if found and grams > found[0][0]:
                continue
            worth = grams, plan.expect(plan.weigh(steps)).de00
            if worth[1] <= wanted and (found is None or worth < found[0]):
                found = worth, steps
    if found is None:
        least = plan.expect(plan.weigh(each[int(np.argmin(roughly))])).de00
        raise InputError(
            None,
            "wanted uncertainty",
            f"expected a CIEDE2000 that {most} steps can reach: {plan.paint.tube.paint} "
            f"comes to {least:.2f}, and {wanted:g} was wanted",
            "allow a larger difference, or use a finer balance or a steadier applicator",
        )
    return found[1]


def _expected(scenes: Sequence[Scene], sets: Sequence[tuple[int, ...]]) -> Array:
    """CIEDE2000 to expect of sets of as many steps each, weighed out fresh."""
    square = np.mean([s.square(np.array(sets)).mean(axis=1) for s in scenes], axis=0)
    return np.sqrt(square)


def _all_sets(
    scenes: Sequence[Scene], fixed: int, count: int, most: int
) -> tuple[list[tuple[int, ...]], Array]:
    """All sets of steps that hold the first `fixed`, and what to expect of each."""
    first, rest = tuple(range(fixed)), range(fixed, count)
    by_size = [[(*first, *more) for more in combinations(rest, tints)] for tints in range(1, most)]
    roughly = np.concatenate([_expected(scenes, some) for some in by_size])
    return [chosen for some in by_size for chosen in some], roughly


def _sparing(
    scenes: Sequence[Scene], chosen: tuple[int, ...], fixed: int, count: int, wanted: float
) -> tuple[int, ...]:
    """Draw tints over one substrate where what is wanted is still reached, the whitest first.

    Tints over each substrate alone follow the first `count` of the scenes' drawdowns.
    """
    for i in reversed(range(fixed, len(chosen))):
        place = chosen[i] - fixed + count
        trials = [
            (*chosen[:i], place + j * (count - fixed), *chosen[i + 1 :])
            for j in range(len(SUBSTRATES))
        ]
        each = _expected(scenes, trials)
        if each.min() <= wanted:
            chosen = trials[int(np.argmin(each))]
    return chosen


def _grams(plan: LadderPlan, steps: Sequence[Step]) -> float:
    """Paint and white that a ladder takes."""
    return round(sum(weighed(plan.weigh(steps)).values()), 6)
