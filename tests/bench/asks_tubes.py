"""Stand-ins for a tube, sets of tubes to keep, and partners that grey, against exhaustive search.

The palette has 20 tubes, invented ones. A stand-in is held against every tube in turn, each mix
optimised by scipy from many starts. Sets of tubes are held against all 2^20 of them, by what the
search says of every set of up to four (`mixing.search_worst_loss` scores that).

``instead.excess``
    The worst of 12 mixes: CIEDE2000 that the stand-in found leaves, above the best there is.
``keep.excess``
    Over 6 lists of colours and sizes from one to six: sets that miss more colours than the best
    set of their size, or lie farther off on average; how many.
``keep.smallest``
    Tubes above the smallest set that mixes all colours within 3, the worst of the lists. Of what no
    mix of all tubes comes so near to, within 3 of the nearest, as `setout` has it.
``muddy.excess``
    Chroma of a tube's neutral ladder at its most coloured, above that of the best partner there is.
    A partner has a hue: a black is none.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.optimize import minimize
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.spectra import Array
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.search import search
from tintladder.database.mixing.tubes.fewest import best_sets
from tintladder.database.mixing.tubes.stand_in import stand_ins
from tintladder.database.mixing.viewing import AS_SEEN

from tests.invented_palette import invented_coefficients

from .asks_table import cpu, random_mix, seen, table
from .harness import Timing, benchmark

TUBES, MIXES, STARTS, SEED = 20, 12, 5, 7711
LISTS, MOST, WITHIN = 6, 6, 3.0
_EDGE = 0.02
"""A colour that lies this near to the limit may count either way."""


@cache
def palette() -> Palette:
    """The boatyard's ten tubes and ten more, as the eye sees them under gloss."""
    return Palette(AS_SEEN.of(invented_coefficients(TUBES)))


def weighed(parts: dict[str, float]) -> Array:
    """Dry-volume fractions (P,) of a mix by weight."""
    c = palette().coefficients
    dense = np.array([parts.get(p, 0.0) for p in c.paints]) * c.dry_volume
    result: Array = dense / dense.sum()
    return result


def least(tubes: list[int], goal: Array, rng: np.random.Generator) -> float:
    """CIEDE2000 of the best mix of these tubes, of many starts."""
    of, size = palette(), len(tubes)

    def off(theta: Array) -> float:
        shares = np.zeros(TUBES)
        counted = np.exp(theta - theta.max()) / of.strength[tubes]
        shares[tubes] = counted / counted.sum()
        return float(ciede2000(of.lab(shares[None])[0], goal))

    starts = [np.zeros(size), *(rng.normal(0, 2.5, (STARTS - 1, size)))]
    return min(
        minimize(off, start, method="Nelder-Mead",
                 options={"maxfev": 1500, "xatol": 1e-4, "fatol": 1e-5}).fun
        for start in starts
    )  # fmt: skip


@benchmark("asks.instead.excess", "CIEDE2000 above exhaustive search, 12 mixes", target=0.05)
def instead_excess() -> float:
    of, rng, worst = palette(), np.random.default_rng(SEED), 0.0
    white = of.white
    assert white is not None
    for _ in range(MIXES):
        parts = random_mix(rng, of.paints, white)
        gone = str(rng.choice([p for p in parts if p != white]))
        goal = of.lab(weighed(parts)[None])[0]
        rest = [of.paints.index(p) for p in parts if p != gone]
        others = [i for i, p in enumerate(of.paints) if p not in parts]
        best = min(least([*rest, other], goal, rng) for other in others)
        # A pair may come nearer still; every other tube alone is what was tried here.
        first = next(each for each in stand_ins(of, parts, gone) if len(each.paints) <= 1)
        assert set(first.parts) <= set(of.paints) - {gone}
        found = float(ciede2000(of.lab(weighed(dict(first.parts))[None])[0], goal))
        worst = max(worst, found - best)
    return worst


@cache
def lists() -> tuple[Array, ...]:
    """Colours of random mixes, ten to thirty in a list; and some that no mix makes."""
    of, rng = palette(), np.random.default_rng(SEED + 1)
    white = of.white
    assert white is not None
    found = []
    for n in range(LISTS):
        some = tuple(str(p) for p in rng.choice(of.paints, 6 + n, replace=False))
        count = 10 + 4 * n
        mixes = [weighed(random_mix(rng, tuple({*some, white}), white)) for _ in range(count)]
        labs = of.lab(np.array(mixes))
        if n % 2:
            labs[:2] = rng.uniform([30, -60, -60], [80, 60, 80], (2, 3))
        found.append(labs)
    return tuple(found)


def limit_of(nearest: Array) -> Array:
    """CIEDE2000 that each colour has to come to: of one out of reach so much off the nearest."""
    return np.where(nearest > WITHIN, nearest + WITHIN, WITHIN)


@cache
def exhaustive(nth: int) -> dict[tuple[int, ...], tuple[int, float]]:
    """Of the best set of each size: colours that it misses, and the mean CIEDE2000."""
    wanted = lists()[nth]
    best = np.full((len(wanted), 1 << TUBES), np.inf, dtype=np.float32)
    for solved in search(palette(), wanted):
        mask = (1 << solved.tubes).sum(axis=1)
        best[:, mask] = np.minimum(best[:, mask], solved.difference)
    for tube in range(TUBES):
        split = best.reshape(len(wanted), -1, 2, 1 << tube)
        np.minimum(split[:, :, 1], split[:, :, 0], out=split[:, :, 1])
    limit = limit_of(best[:, -1])[:, None]
    missed = (best > limit + _EDGE).sum(axis=0)
    mean = best.mean(axis=0)
    sizes = ((np.arange(1 << TUBES)[:, None] >> np.arange(TUBES)) & 1).sum(axis=1)
    found = {}
    for size in range(1, TUBES + 1):
        rows = np.flatnonzero(sizes == size)
        order = np.lexsort((mean[rows], missed[rows]))
        found[size,] = (int(missed[rows[order[0]]]), float(mean[rows[order[0]]]))
    return found


@benchmark("asks.keep.excess", "sets worse than the best of their size, of 36", target=0.0)
def keep_excess() -> float:
    worse = 0
    for nth, wanted in enumerate(lists()):
        answer = best_sets(palette(), wanted, MOST, WITHIN)
        for size in range(1, MOST + 1):
            found = next((s for s in answer.sets if len(s.tubes) == size), None)
            if found is None:
                # Not said: then a smaller set already makes all that there is to make.
                assert any(s.missed == 0 for s in answer.sets)
                continue
            missed, mean = exhaustive(nth)[size,]
            off = np.array([
                min((solved.difference[i][row] for solved, row in _held(nth, found.tubes, i)))
                for i in range(len(wanted))
            ])  # fmt: skip
            limit = limit_of(np.array(_all(nth)))
            truly = int((off > limit + _EDGE).sum())
            worse += truly > missed or (truly == missed and off.mean() > mean + 0.02)
    return worse


@cache
def _solved(nth: int) -> tuple[object, ...]:
    return tuple(search(palette(), lists()[nth]))


def _all(nth: int) -> list[float]:
    return [min(s.difference[i].min() for s in _solved(nth)) for i in range(len(lists()[nth]))]


def _held(nth: int, tubes: tuple[str, ...], _: int):
    """Every set of up to four among these tubes, and its row."""
    mine = {palette().paints.index(p) for p in tubes}
    for solved in _solved(nth):
        for row, some in enumerate(solved.tubes):
            if mine.issuperset(some.tolist()):
                yield solved, row


@benchmark("asks.keep.smallest", "tubes above the smallest set, worst of 6 lists", target=0.0)
def keep_smallest() -> float:
    worst = 0
    for nth, wanted in enumerate(lists()):
        answer = best_sets(palette(), wanted, 12, WITHIN)
        mine = min(len(s.tubes) for s in answer.sets if s.missed == 0)
        there = min(size[0] for size, (missed, _) in exhaustive(nth).items() if missed == 0)
        worst = max(worst, mine - there)
    return worst


def hueless(of: Palette, tube: str) -> bool:
    """Whether no tint of a tube has a chroma of 8."""
    tints = np.zeros((200, len(of.paints)))
    tints[:, of.paints.index(tube)] = np.geomspace(1, 1e-4, 200)
    tints[:, of.paints.index(str(of.white))] += 1 - np.geomspace(1, 1e-4, 200)
    labs = of.lab(tints)
    return bool(np.hypot(labs[:, 1], labs[:, 2]).max() < 8)


@benchmark("asks.muddy.excess", "chroma above the best partner's, worst of the tubes", target=0.5)
def muddy_excess() -> float:
    """Every partner at 2000 ratios, let down with white as the ladder that is said."""
    c, worst = seen(), 0.0
    of = Palette(c)
    white = of.white
    for tube in c.paints:
        if tube == white:
            continue
        said = table().asked("muddy", tube)
        ladder = said["neutral"]["ladder"]
        mine = max(float(np.hypot(*step["lab"][1:])) for step in ladder)
        lets = np.array([step["white"] for step in ladder])
        best = np.inf
        for partner in c.paints:
            # What has no hue, as a black, greys whatever it drowns: that is no partner.
            if partner in (tube, white) or hueless(of, partner):
                continue
            ratio = np.linspace(0.0005, 0.9995, 2000)
            mixes = np.zeros((len(ratio), len(lets), len(c.paints)))
            # Grams of white to one gram of both together, as the ladder says.
            mixes[:, :, c.paints.index(tube)] = ratio[:, None]
            mixes[:, :, c.paints.index(partner)] = (1 - ratio)[:, None]
            mixes[:, :, c.paints.index(white)] = lets
            dry = mixes * c.dry_volume
            labs = of.lab((dry / dry.sum(axis=2, keepdims=True)).reshape(-1, len(c.paints)))
            chroma = np.hypot(labs[:, 1], labs[:, 2]).reshape(len(ratio), -1).max(axis=1)
            best = min(best, float(chroma.min()))
        worst = max(worst, mine - best)
    return worst


@benchmark(
    "asks.instead.cpu", "s of CPU", target=5.0, baseline="recipe for ten tubes", ratio_target=0.2
)
def instead_cpu() -> Timing:
    return cpu("recipe", "DUSK=2,HULL=5,ROPE=1", "--instead", "DUSK")


@benchmark(
    "asks.keep.cpu", "s of CPU for all that ten tubes make", target=5.0,
    baseline="recipe for ten tubes", ratio_target=0.2,
)  # fmt: skip
def keep_cpu() -> Timing:
    return cpu("reach", "--keep", "6")


@benchmark(
    "asks.muddy.cpu", "s of CPU", target=5.0, baseline="recipe for ten tubes", ratio_target=0.2
)
def muddy_cpu() -> Timing:
    return cpu("muddy", "DUSK")
