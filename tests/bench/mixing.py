"""Speed and exactness of the search for recipes, and what orders and additions waste."""

from __future__ import annotations

import time
from functools import cache

import numpy as np
from scipy.optimize import minimize
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.predict import predict
from tintladder.calibrate.optics.spectra import Array
from tintladder.database.mixing.next_addition import next_additions
from tintladder.database.mixing.order import hold_back, lab_of, order_of, waste
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.recipes import recipes
from tintladder.database.mixing.search import Solutions, search
from tintladder.database.mixing.target import of_spectrum

from tests.invented_palette import invented_coefficients
from tests.lab import plan
from tests.lab.drawdown import Lab
from tests.lab.paints import PAINTS as PAINTS_OF

from .harness import Timing, benchmark

PAINTS, SETS = 30, 31_930
"""Paints, and sets of one to four of them."""
TIMED_SETS = 300


@cache
def palette(count: int = PAINTS) -> Palette:
    return Palette(invented_coefficients(count))


def targets(count: int, seed: int, of: Palette) -> Array:
    """Colours of random mixes (half), and any (half)."""
    rng = np.random.default_rng(seed)
    half = count // 2
    mixed = of.lab(rng.dirichlet(np.full(len(of.paints), 0.1), half))
    return np.concatenate([mixed, rng.uniform([20, -40, -40], [90, 40, 60], (count - half, 3))])


def by_scipy(of: Palette, tubes: Array, target: Array, start: Array) -> float:
    """CIEDE2000 that SLSQP, as it comes, brings one set to from one start."""
    few = of.coefficients.select([of.paints[i] for i in tubes])
    strength = of.strength[tubes]

    def off(share: Array) -> float:
        made = np.maximum(share, 1e-12) / strength
        return float(ciede2000(predict(few, made[None] / made.sum()).lab()[0], target))

    found = minimize(
        off, start, method="SLSQP", bounds=[(0, 1)] * len(tubes),
        constraints=[{"type": "eq", "fun": lambda x: x.sum() - 1}],
    )  # fmt: skip
    # How it lies with its shares moved by 1e-4: CIEDE2000 jumps where hues are opposite, and an
    # optimum on such an edge is none that a balance finds.
    nudged = [off(np.maximum(found.x + d, 0)) for d in 1e-4 * np.eye(len(tubes))]
    return max(found.fun, *nudged) if found.fun > 10 else float(found.fun)


@benchmark(
    "mixing.search_seconds", "s, 31,930 sets of 30 paints, one target", target=1.5,
    baseline="scipy's SLSQP from one start, 300 random sets, scaled", ratio_target=300.0,
)  # fmt: skip
def search_seconds() -> Timing:
    of = palette()
    goal = targets(2, 1, of)[1:]
    found = search(of, goal)
    rng = np.random.default_rng(2)
    which = rng.choice(SETS, TIMED_SETS, replace=False)
    every = [row for solved in found for row in solved.tubes]
    assert len(every) == SETS
    start = time.perf_counter()
    for i in which:
        size = len(every[i])
        by_scipy(of, every[i], goal[0], np.full(size, 1 / size))
    baseline = (time.perf_counter() - start) * SETS / TIMED_SETS
    seconds = []
    for _ in range(3):
        # A palette of its own: nothing is kept from one search to the next.
        fresh = Palette(of.coefficients)
        start = time.perf_counter()
        search(fresh, goal)
        seconds.append(time.perf_counter() - start)
    return Timing(float(np.median(seconds)), baseline)


@cache
def losses(count: int = 500, starts: int = 8) -> Array:
    """How far each of so many random sets lies above scipy's best of many starts."""
    of, found = palette(), []
    goals = targets(20, 3, of)
    solved: list[Solutions] = search(of, goals)
    rng = np.random.default_rng(4)
    for _ in range(count):
        one = solved[int(rng.integers(1, 4))]
        t, row = int(rng.integers(len(goals))), int(rng.integers(len(one.tubes)))
        tubes = one.tubes[row]
        size = len(tubes)
        begun = [np.full(size, 1 / size), *rng.dirichlet(np.full(size, 0.5), starts - 1)]
        best = min(by_scipy(of, tubes, goals[t], np.clip(b, 1e-5, 1)) for b in begun)
        found.append(one.difference[t, row] - best)
    return np.array(found)


@benchmark("mixing.search_worst_loss", "CIEDE2000 above many starts, 500 sets", target=0.05)
def search_worst_loss() -> float:
    return float(losses().max())


@benchmark(
    "mixing.thousand_targets_seconds", "s, one palette of 6", target=5.0,
    baseline="scipy's SLSQP from one start, 100 random sets and targets, scaled",
    ratio_target=300.0,
)  # fmt: skip
def thousand_targets() -> Timing:
    of = Palette(invented_coefficients(6))
    goals = targets(1000, 5, of)
    start = time.perf_counter()
    found = search(of, goals)
    middle = time.perf_counter()
    every = [row for solved in found for row in solved.tubes]
    rng = np.random.default_rng(6)
    for t in rng.choice(len(goals), 100, replace=False):
        tubes = every[int(rng.integers(len(every)))]
        by_scipy(of, tubes, goals[t], np.full(len(tubes), 1 / len(tubes)))
    baseline = (time.perf_counter() - middle) * len(every) * len(goals) / 100
    return Timing(middle - start, baseline)


@benchmark(
    "mixing.order_share", "share of recipes that waste less than in reverse order", target=0.9,
    sense="at least",
)  # fmt: skip
def order_share() -> float:
    """200 random mixes; the order is chosen with one seed and judged with others."""
    of, better = Palette(invented_coefficients(10)), []
    for i, mix in enumerate(plan.random_mixtures(200, 11).values()):
        steps = order_of(of, mix).steps
        masses = np.array([s.share for s in steps])
        held = np.array([hold_back(s.too_much) for s in steps])
        ours = waste(masses, held, 2 * i + 1000, 4000).mean()
        reverse = waste(masses[::-1], held[::-1], 2 * i + 1001, 4000).mean()
        better.append(ours < reverse)
    return float(np.mean(better))


CLUMSY, NEAR, CAP = 0.15, 2.0, 12


def _plates(count: int, seed: int) -> list[tuple[dict[str, float], Array]]:
    """So many recipes for mixes of a painter, each begun with its first paint, and its colour."""
    of, begun = Palette(invented_coefficients(10)), []
    for i, mix in enumerate(plan.random_mixtures(count, seed).values()):
        whole = sum(mix.values())
        first = order_of(of, mix, seed=i).steps[0]
        begun.append(({first.paint: first.share * whole}, lab_of(of, [mix])[0]))
    return begun


@cache
def mixed(way: str, count: int = 60) -> Array:
    """Additions and paint used, over what was wanted, of a clumsy mixer on each recipe (N, 2)."""
    of = Palette(invented_coefficients(10))
    found = []
    for i, (begin, goal) in enumerate(_plates(count, 21)):
        rng = np.random.default_rng([31, i])
        plate = {n: m * (1 + CLUMSY * rng.standard_normal()) for n, m in begin.items()}
        added = 0
        while added < CAP and ciede2000(lab_of(of, [plate])[0], goal) > NEAR:
            advice = WAYS[way](of, plate, goal)
            if advice is None:
                break
            name, grams = advice
            error = 1 + CLUMSY * rng.standard_normal()
            plate[name] = plate.get(name, 0.0) + max(grams * error, 0.0)
            added += 1
        off = ciede2000(lab_of(of, [plate])[0], goal)
        # A heap too small is made up to what was wanted.
        found.append((added if off <= NEAR else CAP, max(sum(plate.values()) / 10.0, 1.0)))
    return np.array(found)


def _ours(of: Palette, plate: dict[str, float], goal: Array) -> tuple[str, float] | None:
    """The weightiest of the additions that are advised."""
    additions = next_additions(of, plate, goal, 10.0).additions
    return max(additions.items(), key=lambda item: item[1]) if additions else None


def _missing(of: Palette, plate: dict[str, float], goal: Array) -> tuple[str, float]:
    """Add what looks missing: a tenth of the heap of the paint that most lessens the difference."""
    dose = 0.1 * sum(plate.values())
    tried = [{**plate, n: plate.get(n, 0.0) + dose} for n in of.paints]
    best = int(np.argmin(ciede2000(lab_of(of, tried), goal)))
    return of.paints[best], dose


WAYS = {"next": _ours, "what_looks_missing": _missing}

for _way in WAYS:
    _target = {"target": 3.0} if _way == "next" else {}
    benchmark(f"mixing.{_way}_additions", "median additions to within 2", **_target)(
        lambda way=_way: float(np.median(mixed(way)[:, 0]))
    )
    _target = {"target": 1.6} if _way == "next" else {}
    benchmark(f"mixing.{_way}_paint", "median of paint used over paint wanted", **_target)(
        lambda way=_way: float(np.median(mixed(way)[:, 1]))
    )


@benchmark(
    "mixing.recovered_share", "share whose paints are among the first three ways", target=0.9,
    sense="at least",
)  # fmt: skip
def recovered_share() -> float:
    """Held-out mixtures of the lab, in films that hide, whose every paint can be seen.

    A paint can be seen where no mix of the others comes within CIEDE2000 1 of the target.
    """
    lab, found = Lab(), []
    c = fit_paints(lab.read(plan.ladders(), 101), lab.tubes).coefficients
    mixes = list(plan.MIXTURES.values()) + list(plan.random_mixtures(60, 7).values())
    dry = np.array([[m.get(n, 0.0) * p.dry_volume for n, p in PAINTS_OF.items()] for m in mixes])
    dry /= dry.sum(axis=1, keepdims=True)
    # 3 mm hides whatever lies below.
    read = lab.over_card(dry, np.full(len(dry), 3.0), np.zeros(len(dry)))["white"]
    for mix, spectrum in zip(mixes, read, strict=True):
        target = of_spectrum("a mixture", spectrum)
        own = search(Palette(c.select(list(mix))), target.lab)
        if own[-2].difference.min() < 1:
            continue
        first = recipes(c, target, ways=3).recipes
        found.append(set(mix) in [set(r.parts) for r in first])
    return float(np.mean(found))
