"""Spoilt plates, brought back by `next`: how near they end, and how much paint that costs.

A hand mixes 10 g of a recipe on a scale that shows 0.1 g: each weighing errs by up to 0.05 g
either way. One paint of it was squeezed out 1.2 to 1.8 times as much, and weighed. The brush brings
0.01 to 0.05 g of an old paint that nobody notes, and each stirring takes 0.05 to 0.2 g of the heap
away.
The hand types what the scale showed, adds what `next` says to the nearest 0.1 g, starts over with
the batch that it names where it says so, and stops when it calls the plate hard to see or has
nothing to add. Once, then, it dries a dab, reads it (each of L*,
a*, b* to 0.2), and tells `next`. What the heap truly looks like is `predict` of its true grams.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from .hand_table import Table, apart, targets

PLATE_G = 10.0
NEAR_ENOUGH = 1.0
MOST_ADDITIONS = 5


@dataclass
class Hand:
    """A hand at one plate: what is truly there, and what it believes."""

    table: Table
    rng: np.random.Generator
    true: dict[str, float] = field(default_factory=dict)
    told: dict[str, float] = field(default_factory=dict)
    used: float = 0.0

    def add(self, grams: Mapping[str, float]) -> dict[str, float]:
        """Weigh amounts to 0.1 g onto the plate, stir; what the scale showed."""
        shown = {p: round(round(g, 1), 1) for p, g in grams.items() if round(g, 1) > 0}
        for paint, g in shown.items():
            fell = max(g + float(self.rng.uniform(-0.05, 0.05)), 0.01)
            self.true[paint] = self.true.get(paint, 0.0) + fell
            self.told[paint] = self.told.get(paint, 0.0) + g
            self.used += g
        heap = sum(self.true.values())
        left = 1 - float(self.rng.uniform(0.05, 0.2)) / heap
        self.true = {p: g * left for p, g in self.true.items()}
        return shown


@dataclass(frozen=True)
class End:
    """How a plate ended.

    Attributes
    ----------
    target : str
    off : float
        As it truly is.
    thought : float
        As `next` said last.
    used, ideal : float, g
        Squeezed out in all; and what would have been had the spoilt heap been known exactly.
    """

    target: str
    off: float
    thought: float
    used: float
    ideal: float


def _typed(grams: Mapping[str, float]) -> str:
    return ",".join(f"{p}={g:.1f}" for p, g in grams.items())


def _spoilt(hand: Hand, target: str) -> tuple[str, list[float]]:
    """Mix a recipe with one paint too much and an old one on the brush.

    The finish, and the aim.
    """
    said = hand.table.asked("recipe", target, "--scale", "0.1", "--make", f"{PLATE_G:g}g")
    parts = said["recipes"][0]["parts"]
    grams = {p: max(round(PLATE_G * share, 1), 0.1) for p, share in parts.items()}
    others = [p for p in grams if grams[p] < 0.8 * PLATE_G] or list(grams)
    much = str(hand.rng.choice(others))
    spoilt = grams | {much: round(grams[much] * float(hand.rng.uniform(1.2, 1.8)), 1)}
    old = str(hand.rng.choice(sorted(hand.table.names.values())))
    hand.true[old] = float(hand.rng.uniform(0.01, 0.05))
    hand.add(spoilt)
    return said["viewing"].get("finish", ""), said["target"]["lab"]


def _ideal(hand: Hand, target: str) -> float:
    """Grams in all, were the heap known: `next` told the truth, and all that it then lacks added.

    Not only what is added before a dab is looked at, for whoever knows the heap needs none. Where
    nothing brings it near, and where that takes more, a fresh plate.
    """
    said = hand.table.heap(target, hand.true)
    lacks = sum(said["whole"]["additions"].values())
    if not lacks and said["off_de00"] > NEAR_ENOUGH:
        lacks = PLATE_G
    return hand.used + min(lacks, PLATE_G)


def _bring_back(table: Table, target: str, seed: int) -> End:
    hand = Hand(table, np.random.default_rng([seed, 0x9A]))
    finish, aim = _spoilt(hand, target)
    ideal = _ideal(hand, target)
    said = table.heap(target, hand.told)
    dabbed = fresh = False
    for _ in range(MOST_ADDITIONS):
        if said["start_over"] and not fresh:
            fresh, hand.true, hand.told = True, {}, {}
            said = table.heap(target, hand.add(said["fresh"]["grams"]))
            continue
        more = {p: g for p, g in said["additions"].items() if round(g, 1) > 0}
        if said["off_de00"] > NEAR_ENOUGH and more:
            said = table.asked("next", target, "--add", _typed(hand.add(more)))
            continue
        if dabbed:
            break
        dabbed = True
        dry = table.lab(hand.true, finish or None) + hand.rng.uniform(-0.2, 0.2, 3)
        heap = sum(hand.true.values())
        told = table.run(
            "next", target, "--dab", ",".join(f"{v:.1f}" for v in dry), "--heap", f"{heap:.1f}",
            "--json",
        )  # fmt: skip
        if told.status:  # the hand is left with what it believed
            break
        said = told.json
    off = apart(table.lab(hand.true, finish or None), aim)
    return End(target, off, said["off_de00"], hand.used, ideal)


@cache
def plates(seed: int, count: int) -> tuple[End, ...]:
    """As many spoilt plates."""
    with tempfile.TemporaryDirectory() as name:
        table = Table.laid(Path(name) / "demo")
        return tuple(
            _bring_back(table, target, seed + i) for i, target in enumerate(targets(seed, count))
        )
