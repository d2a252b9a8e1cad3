"""How to weigh a ladder out: grams that a balance resolves, weak steps taken from stronger ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .card import SUBSTRATES, Drawdown

AREA_CM2 = 30.0
"""Painted over each substrate, an applicator's width long enough to read twice (our choice)."""
LOST_G = 1.0
"""Stays on knife, cup and applicator (common practice, no source)."""
WET_DENSITY = 1.3
"""g/ml; common practice, no source."""
OPAQUE_COATS, COAT_UM = 3, 150.0
"""What hides the black with a brush (common practice, no source)."""
LEAST_STEPS = 40
"""Least weight of the colouring part, in steps of the balance: an error of 2.5 %, less than what
two fluxes get wrong of the mix anyway (our choice)."""


@dataclass(frozen=True)
class Step:
    """A step of a ladder as wanted.

    Attributes
    ----------
    ratio : float
        White to colour by mass: 0 is the masstone, infinite is white alone.
    over : tuple of {"black", "white"}
    gap_um : float or None
        Gap of the applicator; None: painted until the black no longer shows.
    area_cm2 : float
        Painted over each substrate.
    """

    ratio: float
    over: tuple[str, ...] = SUBSTRATES
    gap_um: float | None = None
    area_cm2: float = AREA_CM2

    @property
    def name(self) -> str:
        """What the step is called on its card."""
        if self.ratio == 0:
            return "masstone"
        return f"{self.ratio:g}:1" if np.isfinite(self.ratio) else "white"

    @property
    def grams(self) -> float:
        """Paint that it takes to draw it down."""
        film = OPAQUE_COATS * COAT_UM if self.gap_um is None else self.gap_um
        return LOST_G + len(self.over) * self.area_cm2 * film * 1e-4 * WET_DENSITY

    @property
    def film(self) -> dict[str, Any]:
        """How it is drawn down, as a `Drawdown` says it."""
        hides = self.gap_um is None
        return {"opaque": hides, "gap_um": self.gap_um, "coats": OPAQUE_COATS if hides else 1}


def weigh_out(
    paint: str,
    white: str,
    steps: Sequence[Step],
    balance_g: float,
    least_steps: float = LEAST_STEPS,
) -> tuple[Drawdown, ...]:
    """Weigh each step: fresh, or from a stronger one where fresh would need too little colour.

    Parameters
    ----------
    paint, white : str
        Nicknames.
    steps : sequence of Step
        Each ratio once.
    balance_g : float
        Step of the balance; every weight is a whole number of them.
    least_steps : float
        Least weight of the colouring part, in steps of the balance.

    Returns
    -------
    tuple of Drawdown
        From the masstone to the whitest.

    Notes
    -----
    A step too weak to weigh fresh is taken from the strongest step that leaves enough to weigh, so
    that as little as can be is taken; where none does, from the weakest before it, and more is
    mixed. A step that others are taken from is mixed larger by as much.
    """
    steps = sorted(steps, key=lambda step: step.ratio)
    share = [1 / (1 + step.ratio) for step in steps]
    source, total = _sources(steps, share, least_steps * balance_g)

    def whole(grams: float, up: bool = False) -> float:
        count = np.ceil(grams / balance_g - 1e-9) if up else np.round(grams / balance_g)
        return float(round(float(count) * balance_g, 6))

    drawdowns: list[Drawdown] = []
    held: list[float] = []
    for i, step in enumerate(steps):
        j = source[i]
        taken = None
        masses: dict[str, float] = {}
        if j is not None:
            taken = whole(total[i] * share[i] / held[j], up=True)
            masses[white] = whole(taken * (held[j] * (1 + step.ratio) - 1))
            held.append(taken * held[j] / (taken + masses[white]))
        elif share[i] == 0:
            masses[white] = whole(total[i], up=True)
            held.append(0.0)
        else:
            masses[paint] = whole(total[i] * share[i], up=True)
            if step.ratio > 0:
                masses[white] = whole(masses[paint] * step.ratio)
            held.append(masses[paint] / sum(masses.values()))
        drawdowns.append(
            Drawdown(
                step.name,
                white if share[i] == 0 else paint,
                masses,
                taken_from=None if j is None else steps[j].name,
                taken_g=taken,
                white=white,
                over=step.over,
                **step.film,
            )
        )
    return tuple(drawdowns)


def _sources(
    steps: Sequence[Step], share: Sequence[float], least: float
) -> tuple[list[int | None], list[float]]:
    """Which step each is taken from, if any, and how much of each is mixed in all, g."""
    total = [max(step.grams, least) for step in steps]
    source: list[int | None] = [None] * len(steps)
    for i in reversed(range(len(steps))):
        if share[i] == 0 or total[i] * share[i] >= least:
            continue
        before = [j for j in range(i) if steps[j].ratio > 0]
        enough = [j for j in before if total[i] * share[i] / share[j] >= least]
        if enough or before:
            source[i] = enough[0] if enough else before[-1]
        j = source[i]
        strength = 1.0 if j is None else share[j]
        total[i] = max(total[i], least * strength / share[i])
        if j is not None:
            total[j] += total[i] * share[i] / strength
    return source, total


def weighed(drawdowns: Sequence[Drawdown]) -> dict[str, float]:
    """Grams of each tube paint that a card takes."""
    total: dict[str, float] = {}
    for d in drawdowns:
        for paint, grams in d.masses.items():
            total[paint] = total.get(paint, 0.0) + grams
    return total


def table_minutes(drawdowns: Sequence[Drawdown]) -> int:
    """Minutes at the table that a card takes, to the next five; drying is not counted.

    Parameters
    ----------
    drawdowns : sequence of Drawdown

    Returns
    -------
    int

    Notes
    -----
    Three quarters of a minute for a weighing, one and a half to mix a step and wipe the knife,
    and three quarters to spread it, for each coat: our own estimate, no source.
    """
    weighings = sum(len(d.masses) + (d.taken_from is not None) for d in drawdowns)
    coats = sum(d.coats for d in drawdowns)
    minutes = 0.75 * weighings + 1.5 * len(drawdowns) + 0.75 * coats
    return 5 * math.ceil(minutes / 5)
