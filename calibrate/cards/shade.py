"""Weighs shades out: a paint let down with so little black that the black is let down first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from ..errors import Field, InputError
from .card import Card, Drawdown
from .measure import CardMeasure
from .sureness import LARGEST_ERROR, NEAR, by_volume, fraction_errors
from .weighing import composition
from .weighing_out import WET_DENSITY, Step, weighed

SHARES = (0.005, 0.01, 0.02, 0.05)
"""Black's share of a shade by weight, in shares that are easily said."""
LEAST_BLACK, MOST_BLACK = 0.001, 0.1
"""What share it may be said to have."""
USUAL = 0.02
"""The same where none is planned: measured sets of oil paints have 0.2 to 2 % of bone black, and
what a shade is expected to tell (`tintladder.calibrate.fit.planning`) is most from there on."""
_WHITES = (1, 2, 3, 4, 6, 8, 10, 15)
"""Parts of white to one of black that the black may be let down with."""
_MOST_WHITE = 0.12
"""Most white by weight that the let-down black may bring into a shade: it is to be a shade, no tint
(our choice)."""
_LEAST = (1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40)
"""Least weight of the black, in steps of the balance, that is tried."""
_LARGER = 1.2 ** np.arange(12)
"""How much more than its film takes may be mixed of a shade."""
_MOST_G = 20.0
"""Most that a shade may weigh where a coarse scale asks for more than its film (our choice)."""


@dataclass(frozen=True)
class Shade:
    """A shade step as wanted.

    Attributes
    ----------
    black : str
        Nickname.
    share : float
        Of black in it, by weight.
    """

    black: str
    share: float

    @property
    def name(self) -> str:
        """What the step is called on its card.

        Examples
        --------
        >>> Shade("SOOT", 0.005).name
        'shade 0.5%'
        """
        return f"shade {100 * self.share:g}%"


def weigh_shades(
    steps: Mapping[str, Step],
    white: str,
    shade: Shade,
    measure: CardMeasure,
    densities: Mapping[str, float],
) -> tuple[Drawdown, ...]:
    """Weigh the black let down with white, and of it a shade of each paint.

    The black let down is mixed and not painted: it is drawn over nothing.

    Parameters
    ----------
    steps : mapping of nickname to Step
        How each paint's shade is drawn down.
    white : str
        Nickname.
    shade : Shade
    measure : CardMeasure
    densities : mapping of nickname to g/ml
        Where known.

    Returns
    -------
    tuple of Drawdown
        The black let down, then the shades.

    Raises
    ------
    InputError
        Where the measure can't keep the black of so small a share sure enough.

    Notes
    -----
    Of all ways that keep black's share to `LARGEST_ERROR`, the one that takes least paint.
    """
    unit = measure.step * (1.0 if measure.unit_ml is None else measure.unit_ml * WET_DENSITY)
    ways = list[tuple[float, tuple[Drawdown, ...]]]()
    for larger, parts, least in product(_LARGER, _WHITES, _LEAST):
        if parts * shade.share > _MOST_WHITE:
            continue
        totals = {p: max(s.grams, min(larger * s.grams, _MOST_G)) for p, s in steps.items()}
        if (found := _weighed(steps, totals, white, shade, parts, least, unit)) is not None:
            ways.append((sum(weighed(found).values()), found))
    for _, found in sorted(ways, key=lambda way: way[0]):
        made = composition(Card("", "", found))
        held = made.fractions[1:, made.paints.index(shade.black)]
        if (abs(held - shade.share) > NEAR * shade.share).any():
            continue
        if measure.unit_ml is not None:
            found = by_volume(found, densities)
        errors = fraction_errors(Card("", "", found), measure, densities)
        # As the sheet says it.
        if round(max(errors[d.step] for d in found[1:]), 3) < LARGEST_ERROR:
            return found
    raise InputError(
        None,
        Field("shade"),
        f"{measure.name} can't keep {100 * shade.share:g} % of {shade.black} to "
        f"{LARGEST_ERROR:.0%} in {_MOST_G:g} g",
        "take a finer one, or more black",
    )


def _weighed(
    steps: Mapping[str, Step],
    totals: Mapping[str, float],
    white: str,
    shade: Shade,
    parts: int,
    least: int,
    unit: float,
) -> tuple[Drawdown, ...] | None:
    """Shades of `parts` of white to one of black, of which `least` units are weighed at least.

    None where some amount comes to less than one unit.
    """
    taken = {p: round(total * shade.share * (1 + parts) / unit) for p, total in totals.items()}
    rest = {p: round(total / unit) - taken[p] for p, total in totals.items()}
    if min(taken.values()) < 1 or min(rest.values()) < 1:
        return None
    needed = max(least, -(-sum(taken.values()) // (1 + parts)))
    first = next(iter(steps.values()))
    masses = {shade.black: needed * unit, white: needed * parts * unit}
    down, masses = f"{shade.black} {parts}:1", _rounded(masses)
    found = [Drawdown(down, None, masses, white=white, over=(), **first.film)]
    for paint, step in steps.items():
        name = f"{paint} {shade.name}" if len(steps) > 1 else shade.name
        found.append(
            Drawdown(
                name,
                paint,
                _rounded({paint: rest[paint] * unit}),
                taken_from=down,
                taken_g=round(taken[paint] * unit, 6),
                white=white,
                over=step.over,
                **step.film,
            )
        )
    return tuple(found)


def _rounded(masses: Mapping[str, float]) -> dict[str, float]:
    return {paint: round(grams, 6) for paint, grams in masses.items()}
