"""Practice of 200 simulated hands: is a planted bias found, and none where there is none?

Each hand mixes what it is told to practise by feel, 20 times. It errs by 20 % in every part (one
standard deviation); every second hand tells the parts that it took, the others the colour that
the mix dried to (0.5 units of noise in each of L*, a*, b*), whose parts they do not know. 100 hands
take too much or too little of one tube each time, by a factor of 1.35 or its inverse. The exercises
are those that practice itself proposes, so that a hand is told to practise what tells most.

``practice.found``
    Hands with a bias whose tube and direction are named after the last of the 20 mixes.
``practice.accused``
    Hands without one of which any bias is named after any of their mixes.
``practice.others``
    Hands with a bias of which another tube is named beside it, at the end; or in its place.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cache

import numpy as np
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.practice import Round, exercise, hand_of

from .asks_table import look, seen
from .harness import benchmark

HANDS, ROUNDS, SEED = 200, 20, 7723
ERRS, BIAS, NOISE = 0.20, 1.35, 0.5


@dataclass(frozen=True)
class Practised:
    """What was said of one hand.

    Attributes
    ----------
    planted : (str, bool) or None
        The tube, and whether the hand takes too much of it.
    last : tuple of (str, bool)
        What is named at the end.
    ever : bool
        Whether anything was named after some mix.
    """

    planted: tuple[str, bool] | None
    last: tuple[tuple[str, bool], ...]
    ever: bool


def practise(seed: int, biased: bool, tells_parts: bool) -> Practised:
    rng = np.random.default_rng([SEED, seed])
    of = Palette(seen())
    planted = None
    if biased:
        tube = str(rng.choice([p for p in of.paints if p != of.white]))
        planted = (tube, bool(rng.random() < 0.5))
    rounds: list[Round] = []
    ever = False
    said: tuple[tuple[str, bool], ...] = ()
    for _ in range(ROUNDS):
        asked = exercise(of, rounds, seed=seed)
        taken = {p: g * float(np.exp(rng.normal(0, ERRS))) for p, g in asked.parts.items()}
        if planted and planted[0] in taken:
            taken[planted[0]] *= BIAS if planted[1] else 1 / BIAS
        if tells_parts:
            rounds.append(Round(asked.lab, asked.parts, taken, None))
        else:
            dried = look(taken) + rng.normal(0, NOISE, 3)
            rounds.append(Round(asked.lab, asked.parts, None, dried))
        said = tuple((b.paint, b.times > 1) for b in hand_of(of, rounds).biases)
        ever = ever or bool(said)
    return Practised(planted, said, ever)


@cache
def hands() -> tuple[Practised, ...]:
    found = tuple(practise(n, n % 2 == 0, n % 4 < 2) for n in range(HANDS))
    for tells in (True, False):
        some = [h for n, h in enumerate(found) if h.planted and (n % 4 < 2) == tells]
        share = np.mean([h.planted in h.last for h in some])
        print(f"  practice, parts told: {tells}: found {share:.2f}", file=sys.stderr)
    return found


@benchmark("asks.practice.found", "share of planted biases found", target=0.9, sense="at least")
def found() -> float:
    return float(np.mean([h.planted in h.last for h in hands() if h.planted]))


@benchmark("asks.practice.accused", "share of sound hands that were ever accused", target=0.05)
def accused() -> float:
    return float(np.mean([h.ever for h in hands() if not h.planted]))


@benchmark("asks.practice.others", "share of biased hands of which another tube is named")
def others() -> float:
    return float(np.mean([bool(set(h.last) - {h.planted}) for h in hands() if h.planted]))
