"""How much paint a job takes: from millilitres or an area to the batch to mix."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.predict import volume_solids

LOSS = 1.10
"""A tenth more for what stays in the pot and on the brush (common practice, no source)."""
COAT_UM = 40.0
"""Dry thickness of one brushed coat (common practice, no source)."""


def batch_grams(coefficients: Coefficients, parts: Mapping[str, float], text: str) -> float:
    """Grams of a mix by weight to make: ``40ml`` or ``25g``, exactly so much.

    Raises
    ------
    InputError
        For any other text.
    """
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(ml|g)\s*", text, re.IGNORECASE)
    if not match or float(match[1]) <= 0:
        raise InputError(
            Field("make"), text, "expected an amount such as 40ml or 25g", "write 40ml"
        )
    return float(match[1]) * (density(coefficients, parts) if match[2].lower() == "ml" else 1.0)


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
