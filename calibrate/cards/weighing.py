"""What a step is made of, and how its weighing errors reach it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..optics.spectra import Array
from .card import Card


@dataclass(frozen=True)
class Composition:
    """Mass fractions of every step of a card.

    Attributes
    ----------
    paints : tuple of P str
    fractions : (D, P) array
        Mass fraction of tube paint in each drawdown; rows sum to 1.
    by_weighing : (D, J, P) array
        Change of the fractions per gram of error in each weighing. A step taken from another
        carries that step's errors on, so the steps of a dilution chain are correlated.
    weighings : tuple of J str
        Name of each weighing: ``STEP: PAINT``, or ``STEP: taken``.
    grams : (J,) array
        What was weighed.
    """

    paints: tuple[str, ...]
    fractions: Array
    by_weighing: Array
    weighings: tuple[str, ...]
    grams: Array


def composition(card: Card) -> Composition:
    """Work out what each step of a card is made of.

    The card must be sound: each ``taken_from`` names a step of the card, without circles.

    Examples
    --------
    >>> from tintladder.calibrate import Card, Drawdown
    >>> first = Drawdown("1", "BLUE", {"BLUE": 2.0, "WHITE": 8.0})
    >>> second = Drawdown("2", "BLUE", {"WHITE": 6.0}, taken_from="1", taken_g=2.0)
    >>> composition(Card("blue", "", (first, second))).fractions.round(3).tolist()
    [[0.2, 0.8], [0.05, 0.95]]
    """
    paints = card.paints
    column = {paint: i for i, paint in enumerate(paints)}
    names: list[str] = []
    grams: list[float] = []
    for d in card.drawdowns:
        if d.taken_from is not None:
            names.append(f"{d.step}: taken")
            grams.append(float(d.taken_g or 0.0))
        for paint, mass in d.masses.items():
            names.append(f"{d.step}: {paint}")
            grams.append(float(mass))
    which = {name: j for j, name in enumerate(names)}
    steps = {d.step: d for d in card.drawdowns}
    known: dict[str, tuple[Array, Array]] = {}

    def resolve(step: str) -> tuple[Array, Array]:
        if step in known:
            return known[step]
        d = steps[step]
        mass = np.zeros(len(paints))
        slope = np.zeros((len(names), len(paints)))
        if d.taken_from is not None:
            parent, parent_slope = resolve(d.taken_from)
            mass += float(d.taken_g or 0.0) * parent
            slope += float(d.taken_g or 0.0) * parent_slope
            slope[which[f"{step}: taken"]] += parent
        for paint, value in d.masses.items():
            mass[column[paint]] += value
            slope[which[f"{step}: {paint}"], column[paint]] += 1.0
        total = mass.sum()
        fractions = mass / total
        known[step] = (
            fractions,
            (slope - slope.sum(axis=1, keepdims=True) * fractions[None, :]) / total,
        )
        return known[step]

    resolved = [resolve(d.step) for d in card.drawdowns]
    return Composition(
        paints,
        np.stack([f for f, _ in resolved]),
        np.stack([s for _, s in resolved]),
        tuple(names),
        np.array(grams),
    )
