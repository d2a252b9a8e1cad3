"""Seeded worlds of the virtual paint lab that every accuracy benchmark shares."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.problem.tube import Tube

from tests.heldout import without_errors
from tests.lab import plan
from tests.lab.drawdown import VARIANTS, Lab

SEEDS = range(101, 111)
"""Apart from the low seeds, on which the fit's settings were chosen."""
MIXTURES_A_SEED = 20
MEASUREMENTS = Path(__file__).parents[2] / "measurements" / "boatyard"


@dataclass(frozen=True)
class World:
    """Ladders to fit, and mixtures to judge by.

    Attributes
    ----------
    cards : sequence of CardReadings
    mixtures : CardReadings
        Noise-free.
    tubes : mapping of nickname to Tube
    """

    cards: Sequence[CardReadings]
    mixtures: CardReadings
    tubes: Mapping[str, Tube]


@cache
def world(variant: str, noisy: bool) -> tuple[World, ...]:
    """One world a seed.

    Where `noisy`, masses, thickness and readings err as the demo's do, and the mixtures were truly
    mixed and drawn down so; else nothing errs, and the seeds differ only in their mixtures.
    """
    lab = Lab(VARIANTS[variant])
    exact = None if noisy else lab.read(plan.ladders())
    found = []
    for seed in SEEDS:
        mixtures = lab.random_mixtures(MIXTURES_A_SEED, seed)
        if exact is None:
            found.append(World(lab.read(plan.ladders(), seed), mixtures.readings, lab.tubes))
        else:
            found.append(World(exact, without_errors(lab, mixtures), lab.tubes))
    return tuple(found)
