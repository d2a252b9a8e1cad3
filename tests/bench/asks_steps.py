"""Steps between two colours or mixes, mixed literally as they are printed, and looked at.

100 random pairs of what the ten tubes can make, at least CIEDE2000 6 apart, so that each of the six
steps between seven colours can be seen. Half of the ends are colours, half are mixes. Heaps and
additions are read off the printed lines, to the 0.1 g that the studio's scale shows, and mixed by
someone who knows nothing else: a heap is used up, what is said to be left of it goes into the next.

``steps.uneven``
    The worst step of all pairs: how far it is from the mean of its own pair, over that mean.
``steps.even_pairs``
    Share of pairs all whose steps lie within 10 % of their mean.
``steps.ends_p95``
    CIEDE2000 that 95 of 100 ends lie within of what was asked for.
``steps.waste``
    Paint that is mixed and not taken for a step, over the paint taken; the mean.
``steps.claimed``
    CIEDE2000 of the worst step from the colour that is claimed for it.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from tests.printed_amounts import HOLDS, in_words, number, poured

from .asks_table import cpu, look, random_mix, seen, table
from .hand_table import WHITE, apart
from .harness import Timing, benchmark

PAIRS, STEPS, APART, SEED = 100, 7, 6.0, 7703
_HEAP = re.compile(r"^Heap ([A-Z]), .*?: (.*?)\.$")
_STEP = re.compile(
    r"^(\d+)\. (.*?): makes ([^;]*); take ([\d.¼½¾ ]+?) (?:g|ml|spoons?|cm|parts?)\b"
)


@dataclass(frozen=True)
class Pair:
    """Two ends, as they are typed, and their colours."""

    typed: tuple[str, str]
    labs: tuple[tuple[float, ...], tuple[float, ...]]


@dataclass(frozen=True)
class Mixed:
    """Steps as they were truly mixed.

    Attributes
    ----------
    pair : Pair
    labs : list of (3,) array
    claimed : list of (3,) array
    taken, made : float
        Units.
    """

    pair: Pair
    labs: list[np.ndarray]
    claimed: list[np.ndarray]
    taken: float
    made: float

    @property
    def uneven(self) -> float:
        steps = np.array([apart(a, b) for a, b in zip(self.labs, self.labs[1:], strict=False)])
        return float(np.abs(steps / steps.mean() - 1).max())


@cache
def pairs(seed: int = SEED, count: int = PAIRS) -> tuple[Pair, ...]:
    """Random pairs: a mix is typed as a recipe that was kept, a colour as its CIELAB."""
    rng, names = np.random.default_rng(seed), seen().paints
    found: list[Pair] = []
    while len(found) < count:
        mixes = [random_mix(rng, names, WHITE) for _ in range(2)]
        if found and len(found) % 4 == 3:
            # One hue let down: from a tube to one of its own tints.
            first = next(p for p in mixes[0] if p != WHITE)
            mixes = [{first: 1.0}, {first: 1.0, WHITE: float(rng.uniform(2, 20))}]
        labs = [look(mix) for mix in mixes]
        if apart(labs[0], labs[1]) < APART:
            continue
        typed = []
        for lab, mix in zip(labs, mixes, strict=True):
            if len(found) % 2:
                typed.append(",".join(f"{p}={g:.6f}" for p, g in mix.items()))
            else:
                typed.append(",".join(f"{v:.3f}" for v in lab))
        found.append(Pair((typed[0], typed[1]), (tuple(labs[0]), tuple(labs[1]))))
    return tuple(found)


def heaps_of(lines: list[str]) -> dict[str, dict[str, float]]:
    """Units of each tube in each heap that is mixed beforehand."""
    heaps: dict[str, dict[str, float]] = {}
    for i, line in enumerate(lines):
        if not (found := _HEAP.match(line)):
            continue
        tints = {}
        for after in lines[i + 1 :]:
            if _HEAP.match(after) or re.match(r"\d+\. ", after):
                break
            for held in HOLDS.findall(after):
                tints[f"{held[0]} tint"] = (held[0], int(held[1]), held[2])
        heaps[f"Heap {found[1]}"] = poured(in_words(found[2]), tints)
    return heaps


def literally(
    printed: str, names: Mapping[str, str]
) -> tuple[list[dict[str, float]], float, float]:
    """Mix what is printed: grams of each tube in each step, units taken, units made."""
    lines = [line.strip() for line in printed.splitlines()]
    heaps = heaps_of(lines)
    wholes = {of: sum(heap.values()) for of, heap in heaps.items()}
    on_plate: dict[str, float] = {}
    steps, taken, used = [], 0.0, dict.fromkeys(heaps, 0.0)
    for line in lines:
        if not (found := _STEP.match(line)):
            continue
        if not found[2].startswith("To the"):
            on_plate = {}
        for amount, of in in_words(found[2].partition(" add ")[2] or found[2]):
            used[of] += amount
            for tube, units in heaps[of].items():
                on_plate[tube] = on_plate.get(tube, 0.0) + amount * units / wholes[of]
        steps.append({names[tube]: units for tube, units in on_plate.items()})
        take, whole = number(found[4]), sum(on_plate.values())
        assert take <= whole + 1e-6, f"{take} of {whole}: {line}"
        taken += take
        on_plate = {tube: units * (1 - take / whole) for tube, units in on_plate.items()}
    for of, units in used.items():
        assert units <= wholes[of] + 1e-6, f"{units} used of {of}, {heaps[of]}"
    return steps, taken, sum(wholes.values())


def mixed_pair(pair: Pair, *options: str, by_volume: bool = False) -> Mixed:
    asked = ("recipe", pair.typed[0], "--to", pair.typed[1], "--steps", STEPS, *options)
    said = table().run(*asked)
    assert said.status == 0, f"{asked}: {said.err}"
    steps, taken, made = literally(said.out, table().names)
    assert len(steps) == STEPS, f"{len(steps)} steps of {asked}: {said.out}"
    grams = table().densities if by_volume else dict.fromkeys(seen().paints, 1.0)
    labs = [look({p: g * grams[p] for p, g in step.items()}) for step in steps]
    claimed = [np.array(step["lab"]) for step in table().asked(*asked)["steps"]]
    return Mixed(pair, labs, claimed, taken, made)


@cache
def every(measure: str = "grams") -> tuple[Mixed, ...]:
    by_volume = measure != "grams"
    found = tuple(mixed_pair(p, "--measure", measure, by_volume=by_volume) for p in pairs())
    for each in sorted(found, key=lambda m: -m.uneven)[:3]:
        print(f"  uneven {each.uneven:.2f}: {json.dumps(each.pair.typed)}", file=sys.stderr)
    return found


@benchmark("asks.steps.uneven", "worst step of 100 pairs over the mean of its pair", target=0.10)
def uneven() -> float:
    return max(each.uneven for each in every())


@benchmark(
    "asks.steps.even_pairs", "share of pairs with every step within 10 %", target=1.0,
    sense="at least",
)  # fmt: skip
def even_pairs() -> float:
    return float(np.mean([each.uneven <= 0.10 for each in every()]))


@benchmark("asks.steps.ends_p95", "CIEDE2000 of the ends from what was asked", target=1.0)
def ends() -> float:
    off = [
        apart(lab, wanted)
        for each in every()
        for lab, wanted in zip((each.labs[0], each.labs[-1]), each.pair.labs, strict=True)
    ]
    return float(np.quantile(off, 0.95))


@benchmark("asks.steps.waste", "paint mixed and not taken, over paint taken, mean", target=0.1)
def waste() -> float:
    return float(np.mean([each.made / each.taken - 1 for each in every()]))


@benchmark("asks.steps.claimed", "CIEDE2000 of the worst step from its claim", target=0.1)
def claimed() -> float:
    return max(
        apart(lab, said)
        for each in every()
        for lab, said in zip(each.labs, each.claimed, strict=True)
    )


@benchmark("asks.steps.even_pairs_by_spoon", "the share by the spoon, in quarters")
def by_spoon() -> float:
    return float(np.mean([each.uneven <= 0.10 for each in every("spoons")]))


@benchmark(
    "asks.steps.cpu", "s of CPU for seven steps", target=5.0, baseline="recipe for ten tubes",
    ratio_target=0.2,
)  # fmt: skip
def steps_cpu() -> Timing:
    return cpu("recipe", "30,10,-35", "--to", "80,5,60", "--steps", STEPS)
