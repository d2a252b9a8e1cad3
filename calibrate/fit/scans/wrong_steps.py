"""Finds steps of a scanned ladder that don't belong, and says which and why.

Each card is fitted by itself. Where a ladder is missed by far more than its channels are unsure,
explanations are tried in earnest: each step set aside, each two exchanged. The likeliest is taken.
Of a step set aside, one half is enough where the other agrees with all else: light on the glass, a
hair or a finger lies over black or over white, never over both alike.
The thresholds were set on sound and spoilt quick cards and drawdown cards of the virtual paint lab.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from ...cards.card import SUBSTRATES
from ...cards.channels import CardChannels
from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.finding import Finding

Cost = Callable[[CardChannels], tuple[float, dict[str, float]]]
"""From a card to what its fit costs, and each step's share of it: squares of standard deviations
that its channels lie off."""
_SUSPECT = 1.5
"""Mean square of a ladder's channels, beliefs counted, from which it is looked at."""
_SURE = 40.0
"""Fall of the cost from which an explanation is reported; sound ladders of the lab fell by 33 at
most, a black's, which two fluxes hold least well."""
_CLEAR = 10.0
"""By how much less the next step explains, where one alone is named."""


@dataclass(frozen=True)
class Odd:
    """Steps of a card that don't belong.

    Attributes
    ----------
    steps : tuple of str
        One that is wrong, or two that look swapped.
    flag : str
        A few words, to stand beside the patch.
    gain : float
        Log likelihood gained.
    over : str
        The half that is wrong; empty where both are.
    """

    card: str
    steps: tuple[str, ...]
    flag: str
    gain: float
    over: str = ""

    def finding(self, problem: Problem) -> Finding:
        """The same as a finding of a problem."""
        rows = tuple(
            n
            for n, patch in enumerate(problem.patches)
            if patch.card == self.card
            and patch.step in self.steps
            and self.over in ("", patch.over)
        )
        named = " and ".join(self.steps)
        words = f"{'steps' if len(self.steps) > 1 else 'step'} {named} of card {self.card} "
        return Finding(
            "swapped steps" if len(self.steps) > 1 else "wrong step",
            self.card,
            self.steps,
            rows,
            words + ("look swapped" if len(self.steps) > 1 else self.flag),
            self.flag,
            self.gain,
        )


def odd_steps(readings: CardChannels, cost: Cost) -> list[Odd]:
    """Look over a card, ladder by ladder.

    Parameters
    ----------
    readings : CardChannels
    cost : Cost
        NaN channels count as unread.

    Returns
    -------
    list of Odd
    """
    card = readings.card
    ladders: dict[str, list[str]] = {}
    for drawdown in card.drawdowns:
        if drawdown.paint is not None and drawdown.paint != drawdown.white:
            ladders.setdefault(drawdown.paint, []).append(drawdown.step)
    if not any(len(steps) > 2 for steps in ladders.values()):
        return []
    base, share = cost(readings)
    found = []
    for steps in ladders.values():
        mine = [_step(label) in steps for label in readings.labels]
        read = int(np.isfinite(readings.channels[mine]).sum())
        if len(steps) > 2 and sum(share.get(step, 0.0) for step in steps) > _SUSPECT * read:
            found += _explained(readings, steps, base, cost)
    return found


def _explained(readings: CardChannels, steps: Sequence[str], base: float, cost: Cost) -> list[Odd]:
    without = {step: base - cost(_unread(readings, step))[0] for step in steps}
    pairs = combinations(steps, 2)
    swapped = {pair: base - cost(_exchanged(readings, *pair))[0] for pair in pairs}
    step, *others = sorted(without, key=lambda s: -without[s])
    pair = max(swapped, key=lambda p: swapped[p])
    name = readings.card.name
    # Exchanged, every reading still counts; so an equal fall says more than one set aside.
    if swapped[pair] > max(_SURE, without[step] - _SURE):
        flag = f"{pair[0]} and {pair[1]} look swapped"
        return [Odd(name, pair, flag, swapped[pair] / 2)]
    if without[step] > _SURE:
        if over := _wrong_half(readings, step, base - without[step], base, cost):
            flag = f"over {over} doesn't fit its other half (light on it, a hair?)"
            return [Odd(name, (step,), flag, without[step] / 2, over)]
        alike = [s for s in others if without[s] > without[step] - _CLEAR]
        flag = "doesn't fit its ladder" + (f" (or {', '.join(alike)} doesn't)" if alike else "")
        return [Odd(name, (step,), flag, without[step] / 2)]
    return []


def _wrong_half(readings: CardChannels, step: str, without: float, base: float, cost: Cost) -> str:
    """Half that explains as much as the whole step, or nearly; empty where neither does alone."""
    halves = {over: cost(_unread(readings, step, over))[0] for over in SUBSTRATES}
    best, other = sorted(SUBSTRATES, key=lambda over: halves[over])
    clear = halves[best] < halves[other] - _SURE / 2
    return best if clear and halves[best] - without < 0.2 * (base - without) else ""


def _step(label: str) -> str:
    return label.rpartition("/")[0]


def _unread(readings: CardChannels, step: str, over: str = "") -> CardChannels:
    mine = np.array([_step(label) == step and label.endswith(over) for label in readings.labels])
    channels: Array = np.where(mine[:, None], np.nan, readings.channels)
    return replace(readings, channels=channels)


def _exchanged(readings: CardChannels, one: str, other: str) -> CardChannels:
    names = {one: other, other: one}
    return replace(
        readings,
        labels=tuple(
            f"{names.get(_step(label), _step(label))}/{label.rpartition('/')[2]}"
            for label in readings.labels
        ),
    )
