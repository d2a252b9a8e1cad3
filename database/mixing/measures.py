"""What a hand measures paint with: scale, syringe, spoon, squeezed lengths and whole parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Measure:
    """What amounts are measured with.

    Attributes
    ----------
    name : str
    unit : str
        What one unit is called.
    step : float
        Smallest step, in units: nothing is told finer.
    by_volume : bool
        Of tube paint, else by weight.
    batch : tuple of two float
        How many units a handy batch holds, from and to, where nobody says how much.
    size : float or None
        Grams or millilitres of a unit; None where it is only ever a share of the batch.
    read_off : bool
        Whether an amount may be off by half a step, as what is read off a display or a mark.
    """

    name: str
    unit: str
    step: float
    by_volume: bool
    batch: tuple[float, float]
    size: float | None = None
    read_off: bool = False

    @property
    def by(self) -> str:
        """Whether parts are by weight or by volume, in words."""
        return "by volume" if self.by_volume else "by weight"

    def rounded(self, amount: float) -> float:
        """Return an amount as it is told: a whole number of steps."""
        return float(round(round(amount / self.step) * self.step, 9))


def scale(step: float = 0.01) -> Measure:
    """Return a balance of some step, g."""
    return Measure(f"weighed to {step:g} g", "g", step, False, (9.0, 12.5), 1.0, True)


SPOON_ML = 5.0
"""A level teaspoon (its metric measure)."""
SPOONS = Measure("by the spoon", "spoon", 0.25, True, (1.0, 8.0), SPOON_ML)
SYRINGE = Measure("by syringe", "ml", 0.1, True, (4.0, 12.0), 1.0, True)
WEIGHED_PARTS = Measure("in whole parts by weight", "part", 1.0, False, (2.0, 24.0))
SQUEEZED = Measure("in squeezed lengths of one width", "cm", 0.5, True, (4.0, 20.0))
MEASURES = (scale(0.01), scale(0.1), SYRINGE, SPOONS, SQUEEZED, WEIGHED_PARTS)


def figure(amount: float, measure: Measure) -> str:
    """Say the number of an amount as it is measured: ``2 ¼``, ``0.35``."""
    if measure.step == 0.25:
        whole, rest = divmod(round(amount * 4), 4)
        said = ([str(whole)] if whole or not rest else []) + (["", "¼", "½", "¾"][rest : rest + 1])
        return " ".join(said).strip()
    digits = max(0, -int(np.floor(np.log10(measure.step))))
    return f"{amount:.{digits}f}"


def amount_words(amount: float, measure: Measure) -> str:
    """Say an amount as it is measured: ``2 ¼ spoons``, ``0.35 g``."""
    plural = "s" if amount > 1 and measure.unit in ("spoon", "part") else ""
    return f"{figure(amount, measure)} {measure.unit}{plural}"
