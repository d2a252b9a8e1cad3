"""What a painter measures amounts with, and a mix as it is made with that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...calibrate.optics.spectra import Array
from ..mixing.batch import density
from ..mixing.made import Made, as_made
from ..mixing.measures import SPOONS, SQUEEZED, SYRINGE, WEIGHED_PARTS, Measure, scale

if TYPE_CHECKING:
    from .basis import Basis

HANDY_G = 10.0
"""Of a mix that nobody says how much to make of, where amounts are weighed or drawn up."""
GRAMS = "grams"
_OTHERS = {
    "syringe": SYRINGE, "spoons": SPOONS, "lengths": SQUEEZED, "parts": WEIGHED_PARTS,
}  # fmt: skip
KINDS = (GRAMS, *_OTHERS)
"""What amounts may be measured with."""


@dataclass(frozen=True)
class Measuring:
    """What amounts are measured with.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    step : float
        Smallest step of the kitchen scale, g.
    """

    kind: str = GRAMS
    step: float = 0.01

    @property
    def measure(self) -> Measure:
        """Return the measure itself."""
        return _OTHERS.get(self.kind) or self.scale

    @property
    def scale(self) -> Measure:
        """Return the kitchen scale."""
        return scale(self.step)

    @property
    def every(self) -> tuple[Measure, ...]:
        """Return all measures, this one first."""
        others = (m for m in (self.scale, *_OTHERS.values()) if m != self.measure)
        return self.measure, *others


BY_SCALE = Measuring()
"""Where nothing else is known."""


def made_of(
    basis: Basis, parts: Mapping[str, float], lab: Array, measure: Measure, grams: float | None
) -> Made:
    """Return a mix by weight as it is made.

    Parameters
    ----------
    basis : Basis
    parts : mapping of nickname to share by weight
    lab : (3,) array
        CIELAB of what is to be matched.
    measure : Measure
    grams : float or None
        To be made; None: a handy batch.
    """
    asked = None
    if measure.read_off or (grams is not None and measure.size is not None):
        by = density(basis.read, parts) if measure.by_volume else 1.0
        asked = (HANDY_G if grams is None else grams) / by / (measure.size or 1.0)
    return as_made(basis.palette, parts, lab, measure, asked)
