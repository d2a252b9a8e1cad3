"""What amounts are measured with, and a mix in whole steps of it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from math import ceil
from typing import Any

import numpy as np

from ...calibrate.cards.measure import QUARTER, SPOON_ML, quarters
from ...calibrate.errors import Field, InputError
from ...calibrate.fit.judging.hiding import COAT_UM
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.predict import volume_solids

LOSS = 1.10
"""A tenth more for what stays in the pot and on the brush (common practice, no source)."""


@dataclass(frozen=True)
class Measure:
    """What amounts are measured with.

    Attributes
    ----------
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


SPOONS = Measure("by the spoon", "spoon", QUARTER, True, (1.0, 8.0), SPOON_ML)
SYRINGE = Measure("by syringe", "ml", 0.1, True, (4.0, 12.0), 1.0, True)
WEIGHED_PARTS = Measure("in whole parts by weight", "part", 1.0, False, (2.0, 24.0))
SQUEEZED = Measure("in squeezed lengths of one width", "cm", 0.5, True, (4.0, 20.0))
MEASURES = (scale(0.01), scale(0.1), SYRINGE, SPOONS, SQUEEZED, WEIGHED_PARTS)


def figure(amount: float, measure: Measure) -> str:
    """Say the number of an amount as it is measured: ``2 ¼``, ``0.35``."""
    if measure.step == QUARTER:
        return quarters(amount)
    digits = max(0, -int(np.floor(np.log10(measure.step))))
    return f"{amount:.{digits}f}"


def amount_words(amount: float, measure: Measure) -> str:
    """Say an amount as it is measured: ``2 ¼ spoons``, ``0.35 g``."""
    if 0 < amount < measure.step / 2:
        return f"under {figure(measure.step, measure)} {measure.unit}"
    plural = "s" if amount > 1 and measure.unit in ("spoon", "part") else ""
    return f"{figure(amount, measure)} {measure.unit}{plural}"


def batch_grams(coefficients: Coefficients, parts: Mapping[str, float], text: str) -> float:
    """Grams of a mix by weight to make: ``40ml``, ``25g`` or ``6 spoons``, exactly so much.

    Raises
    ------
    InputError
        For any other text.
    """
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(ml|g|spoons?)\s*", text, re.IGNORECASE)
    if not match or float(match[1]) <= 0:
        raise InputError(
            Field("make"), text, "expected an amount such as 40ml, 25g or 6spoons", "write 40ml"
        )
    unit = match[2].lower()
    if unit == "g":
        return float(match[1])
    ml = float(match[1]) * (1.0 if unit == "ml" else SPOON_ML)
    return ml * density(coefficients, parts)


def area_grams(
    coefficients: Coefficients,
    parts: Mapping[str, float],
    text: str,
    coats: int,
    coat_um: float = COAT_UM,
) -> float:
    """Grams of a mix for an area such as ``40x50cm``, dried, in so many coats, with some lost.

    Raises
    ------
    InputError
        For any other text.
    """
    number = r"(\d+(?:\.\d+)?)"
    match = re.fullmatch(rf"\s*{number}\s*x\s*{number}\s*(mm|cm|m)\s*", text, re.IGNORECASE)
    if not match or float(match[1]) * float(match[2]) <= 0:
        raise InputError(
            Field("area"), text, "expected width x height such as 40x50cm", "write 40x50cm"
        )
    unit = {"mm": 0.1, "cm": 1.0, "m": 100.0}[match[3].lower()]
    dry_ml = float(match[1]) * float(match[2]) * unit**2 * coat_um * 1e-4 * coats
    used = coefficients.select(list(parts))
    solids = float(volume_solids(used, [parts])[0])
    return LOSS * dry_ml / solids * density(coefficients, parts)


def density(coefficients: Coefficients, parts: Mapping[str, float]) -> float:
    """Density of a wet mix by weight, g/ml, volumes adding up."""
    rows = [coefficients.index(p) for p in parts]
    masses = np.array(list(parts.values()))
    return float(masses.sum() / (masses / coefficients.density[rows]).sum())


def by_volume(coefficients: Coefficients, masses: Mapping[str, float]) -> dict[str, float]:
    """Millilitres of tube paint of a mix given in grams."""
    return {p: m / float(coefficients.density[coefficients.index(p)]) for p, m in masses.items()}


TINT_PARTS = 9
"""Parts of the bulky paint to one of a strong one, in a tint mixed beforehand."""
_READ_STEPS = 5
"""Steps of a scale or a syringe that a tint's strong paint is measured with at the least."""


@dataclass(frozen=True)
class Tint:
    """A strong paint let down beforehand, so that there is enough of it to measure.

    Attributes
    ----------
    paint, into : str
        Nicknames.
    times : int
        How often it is let down: twice is a tint of the tint.
    """

    paint: str
    into: str
    times: int = 1

    @property
    def parts(self) -> int:
        """Of `into` to one of `paint`, measured as everything else is."""
        return int((1 + TINT_PARTS) ** self.times) - 1

    @property
    def name(self) -> str:
        """What it is called among nicknames."""
        return self.said({})

    def said(self, names: Mapping[str, str]) -> str:
        """What it is called among names."""
        return f"{names.get(self.paint, self.paint)} tint"

    def holds(self, names: Mapping[str, str]) -> str:
        """What it is called and what it holds: ``Dusk Violet tint (1 to 9 Hull White)``."""
        return f"{self.said(names)} (1 to {self.parts} {names.get(self.into, self.into)})"


@dataclass(frozen=True)
class Beforehand:
    """One mixing of a tint.

    Attributes
    ----------
    strong : float
        Of the paint itself, or of its tint where that is let down once more.
    into : float
        Of the paint that lets it down.
    needed : float
        Of what comes of it.
    """

    tint: Tint
    strong: float
    into: float
    needed: float

    @property
    def left(self) -> float:
        """What is left over of it."""
        return max(self.strong + self.into - self.needed, 0.0)


@dataclass(frozen=True)
class Portions:
    """Amounts as a hand measures them.

    Attributes
    ----------
    amounts : dict of nickname to amount
        In the measure's unit; of a paint that is let down beforehand, the amount of its tint.
    tints : tuple of Tint
        To be mixed beforehand.
    """

    measure: Measure
    amounts: dict[str, float]
    tints: tuple[Tint, ...]

    @property
    def kept(self) -> dict[str, Any]:
        """What is kept of them, of plain values."""
        return {
            "measure": asdict(self.measure),
            "amounts": dict(self.amounts),
            "tints": [asdict(tint) for tint in self.tints],
        }

    @classmethod
    def of_kept(cls, said: Mapping[str, Any]) -> Portions:
        """Return portions of what is kept of them."""
        low, high = said["measure"]["batch"]
        measure = Measure(**{**said["measure"], "batch": (low, high)})
        return cls(measure, dict(said["amounts"]), tuple(Tint(**tint) for tint in said["tints"]))

    def tint(self, paint: str) -> Tint | None:
        """Return the tint that a paint is taken from, if it is."""
        return next((tint for tint in self.tints if tint.paint == paint), None)

    @property
    def total(self) -> float:
        """Units in the batch."""
        return self.measure.rounded(sum(self.amounts.values()))

    @property
    def beforehand(self) -> tuple[Beforehand, ...]:
        """What is mixed beforehand, in order: at least so much of each tint as goes in."""
        return tuple(
            step
            for tint in self.tints
            for step in mixed(tint, self.amounts[tint.paint], self.measure)
        )


def mixed(tint: Tint, needed: float, measure: Measure) -> list[Beforehand]:
    """Say how a tint is mixed, in order: a tint of a tint begins with the tint."""
    least = _READ_STEPS if measure.read_off else 1
    steps = max(ceil(needed / (1 + TINT_PARTS) / measure.step - 1e-9), least)
    strong = measure.rounded(steps * measure.step)
    last = Beforehand(tint, strong, measure.rounded(TINT_PARTS * strong), needed)
    if tint.times == 1:
        return [last]
    return [*mixed(replace(tint, times=tint.times - 1), strong, measure), last]
