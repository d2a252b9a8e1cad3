"""What a painter measures paint with, and how surely."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from ..errors import Field, InputError

SPOON_ML, QUARTER = 5.0, 0.25
"""A level teaspoon (its metric measure); amounts by spoons are told in quarters of one."""
COARSEST_G = 0.5


@dataclass(frozen=True)
class CardMeasure:
    """A scale, a syringe or a spoon.

    Attributes
    ----------
    name : str
        What it is called on the weighing sheet.
    unit : {"g", "ml", "spoon"}
    step : float
        Amounts to aim at are whole numbers of it, in `unit`: easy to read off.
    unit_ml : float or None
        Millilitres of the unit; None where it weighs.
    error : float
        Standard error of one amount: g, or ml where it doesn't weigh.
    resolution_g : float or None
        Last digit of a scale.
    """

    name: str
    unit: str
    step: float
    unit_ml: float | None
    error: float
    resolution_g: float | None = None

    def error_g(self, density: float) -> float:
        """Standard error of one amount, g, of a paint of a density in g/ml."""
        return self.error if self.unit_ml is None else self.error * density

    def said(self, grams: float, density: float) -> str:
        """Write an amount as the painter measures it.

        Parameters
        ----------
        grams : float
            g.
        density : float
            g/ml.

        Returns
        -------
        str
        """
        if self.unit_ml is None:
            return f"{grams:.{self.digits}f} g"
        amount = grams / density / self.unit_ml
        if self.unit == "ml":
            return f"{amount:.1f} ml"
        return f"{quarters(amount)} spoon{'s' if amount > 1 + QUARTER / 2 else ''}"

    @property
    def digits(self) -> int:
        """Decimals of a weight in grams."""
        return 2 if self.resolution_g is None else max(0, -math.floor(math.log10(self.step)))


def quarters(amount: float) -> str:
    """Say a number of quarters.

    Examples
    --------
    >>> quarters(2.25), quarters(0.75), quarters(0)
    ('2 ¼', '¾', '0')
    """
    whole, rest = divmod(round(amount / QUARTER), 4)
    said = ([str(whole)] if whole or not rest else []) + (["", "¼", "½", "¾"][rest : rest + 1])
    return " ".join(said).strip()


def measure_of(text: str) -> CardMeasure:
    """Return what is meant by ``0.01``, ``0.1``, ``syringe`` or ``spoons``.

    Notes
    -----
    A weighing is the difference of two displays, each rounded: its standard error is the last
    digit over the root of 6. A 1 ml syringe is read to half a mark of 0.1 ml, a spoon is level to
    some 5 % (common practice, no source), a quarter one as well.

    Raises
    ------
    InputError
        For anything else, and for a scale too coarse for a ladder.
    """
    word = text.strip().casefold()
    if word in ("syringe", "syringes"):
        return CardMeasure("a 1 ml syringe", "ml", 0.1, 1.0, 0.03)
    if word in ("spoon", "spoons"):
        name = f"level spoons of {SPOON_ML:g} ml, by quarters"
        return CardMeasure(name, "spoon", QUARTER, SPOON_ML, 0.05 * QUARTER * SPOON_ML)
    found = re.fullmatch(r"(\d*[.,]?\d+)\s*g?", word)
    grams = float(found[1].replace(",", ".")) if found else 0.0
    if not 0.0005 <= grams <= COARSEST_G:
        raise InputError(
            None,
            Field("scale"),
            f"expected the last digit of a scale in grams, up to {COARSEST_G:g}, got {text!r}",
            "give 0.01 or 0.1; with no such scale, syringe or spoons",
        )
    return scale_of(grams, round(grams * (2 if grams >= 0.05 else 5), 6))


def scale_of(grams: float, step: float | None = None) -> CardMeasure:
    """Return a scale by its last digit, to be read off at every one or at whole numbers of a step.

    Parameters
    ----------
    grams : float
        Its last digit, g.
    step : float, optional
        What it is read off at, g.

    Returns
    -------
    CardMeasure

    Examples
    --------
    >>> round(scale_of(0.1).error, 3)
    0.041
    """
    return CardMeasure(
        f"a {grams:g} g scale", "g", step or grams, None, grams / math.sqrt(6), grams
    )
