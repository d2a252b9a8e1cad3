"""What is measured out for a mix: so much of each tube, or of a tint of it mixed beforehand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from math import ceil
from typing import Any

from .measures import Measure

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
    tint : Tint
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
    measure : Measure
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
