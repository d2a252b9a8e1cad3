"""How sure the shares of a step are as it is measured out, and the grams of what is by volume."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from .card import Card, Drawdown
from .measure import CardMeasure
from .weighing import composition
from .weighing_out import WET_DENSITY

LARGEST_ERROR = 0.05
"""Standard error that a step's fraction of colour may have, relative to the fraction."""
NEAR = 0.07
"""How far rounded amounts may move a ratio from what the step is called (our choice)."""


def by_volume(
    drawdowns: Sequence[Drawdown], densities: Mapping[str, float]
) -> tuple[Drawdown, ...]:
    """The grams of amounts that were measured out by volume (given at the typical density).

    Parameters
    ----------
    drawdowns : sequence of Drawdown
    densities : mapping of nickname to g/ml

    Returns
    -------
    tuple of Drawdown
    """
    made: dict[str, tuple[float, float]] = {}  # g and ml of each step
    found = []
    for d in drawdowns:
        volumes = {paint: grams / WET_DENSITY for paint, grams in d.masses.items()}
        masses = {p: round(ml * densities.get(p, WET_DENSITY), 4) for p, ml in volumes.items()}
        grams, ml = sum(masses.values()), sum(volumes.values())
        taken = None
        if d.taken_from is not None and d.taken_g is not None:
            of_g, of_ml = made[d.taken_from]
            taken_ml = d.taken_g / WET_DENSITY
            taken = round(taken_ml * of_g / of_ml, 4)
            grams, ml = grams + taken, ml + taken_ml
        made[d.step] = grams, ml
        found.append(replace(d, masses=masses, taken_g=taken))
    return tuple(found)


def fraction_errors(
    card: Card, measure: CardMeasure, densities: Mapping[str, float]
) -> dict[str, float]:
    """Standard error of each step's fraction of its own colour, relative to the fraction.

    Of a shade that of its black, and of a free mixture that of the paint least sure.

    Parameters
    ----------
    card : Card
    measure : CardMeasure
    densities : mapping of nickname to g/ml

    Returns
    -------
    mapping of step to float
    """
    made = composition(card)
    each = np.array(
        [
            measure.error_g(densities.get(name.rpartition(": ")[2], WET_DENSITY))
            for name in made.weighings
        ]
    )
    errors = {}
    for i, d in enumerate(card.drawdowns):
        own = np.flatnonzero(made.fractions[i])
        if d.paint is not None and own.size > 1:
            own = own[[made.paints[p] != d.white for p in own]]
        spread = np.linalg.norm(made.by_weighing[i][:, own] * each[:, None], axis=0)
        errors[d.step] = float((spread / made.fractions[i, own]).max())
    return errors
