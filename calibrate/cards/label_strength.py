"""How strongly a paint may be expected to tint, from the pigments on its label.

The lists are common practice (no source) and only a first guess: a tube's ladder can be set by
hand, and once fitted its tinting strength is measured.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

import numpy as np

Strength = Literal["weak", "ordinary", "strong"]
STRENGTHS: tuple[Strength, ...] = ("weak", "ordinary", "strong")

# Cobalts, manganese and ultramarine violets, green earth, hydrated chromium, pale yellows.
_WEAK = (
    "PV14 PV15 PV16 PB28 PB33 PB35 PB36 PG17 PG18 PG19 PG23 PG26 PG50 PY40 PY41 PY43 PY53 "
    "PBr6 PBr24 PR259"
)
# Phthalocyanines, Prussian blue, indanthrone, dioxazine, carbon blacks, quinacridones, azos.
_STRONG = (
    "PB15 PB16 PB27 PB60 PG7 PG36 PV23 PV37 PV19 PR122 PR202 PR209 PR177 PR179 PR149 PR178 "
    "PBk1 PBk6 PBk7 PBk8 PBk10 PBk32 PY83 PY110 PO43 PO71"
)
_ENDS = {"weak": (1.0, 8.0), "ordinary": (1.0, 32.0), "strong": (4.0, 80.0)}
"""First and last tint, white to colour (our choice)."""
_SAID = np.array([1, 1.5, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 32, 40, 48, 64, 80])
"""Ratios that are easily said and weighed."""


def is_white(pigments: Sequence[str]) -> bool:
    """Whether a label names white pigments alone."""
    return bool(pigments) and all(_index(name).startswith("PW") for name in pigments)


def is_black(pigments: Sequence[str]) -> bool:
    """Whether a label names black pigments alone."""
    return bool(pigments) and all(_index(name).startswith("PBk") for name in pigments)


def strength_of(pigments: Sequence[str]) -> Strength:
    """Suggest a paint's ladder from its label; the strongest pigment tells, white weakens it."""
    names = [_index(name) for name in pigments]
    colours = [name for name in names if not name.startswith("PW")]
    level = 1
    if any(name in _STRONG.split() for name in colours):
        level = 2
    elif colours and all(name in _WEAK.split() for name in colours):
        level = 0
    if len(colours) < len(names):
        level = max(0, level - 1)
    return STRENGTHS[level]


def tint_ratios(strength: Strength, tints: int) -> tuple[float, ...]:
    """White to colour of so many tints, about evenly spread, in ratios that are easily said.

    Parameters
    ----------
    strength : Strength
    tints : int
        How many.

    Returns
    -------
    tuple of float
    """
    first, last = _ENDS[strength]
    exact = np.geomspace(first, last, tints)
    nearest = np.abs(np.log(exact[:, None] / _SAID)).argmin(axis=1)
    return tuple(dict.fromkeys(_SAID[nearest].tolist()))


def _index(name: str) -> str:
    """A Colour Index name without its number of constitution: PB15 of ``pb 15:3``."""
    found = re.match(r"P(?:BR|BK|[A-Z])\d+", name.upper().replace(" ", ""))
    if found is None:
        return name
    return found[0].replace("PBR", "PBr").replace("PBK", "PBk")
