"""What the quality table of a release says of one paint, as a report needs it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from ....calibrate.fit.judging.quality_figures import (
    CONTRAST,
    FILMS,
    HIDES,
    STRENGTH,
    UNSAID,
    strength_of,
)
from ....calibrate.fit.judging.strength import CRITERIA, Strength


@dataclass(frozen=True)
class Figures:
    """How a paint hides and tints.

    Attributes
    ----------
    hides_um : float
        Dry film that hides; infinite where none does, NaN where that isn't known.
    hides, contrast : str
        In words; empty where nothing is known.
    films : float
        How many times as thick as K and S have them its own films are; 1 where that isn't known.
    strength : Strength or None
        By the absorption maximum.
    unsaid : tuple of str
        What can't be said of it, and why.
    """

    hides_um: float
    hides: str
    contrast: str
    films: float
    strength: Strength | None
    unsaid: tuple[str, ...]


def figures_of(rows: pd.DataFrame, names: Mapping[str, str]) -> Figures:
    """Read the figures of a paint.

    Parameters
    ----------
    rows : DataFrame
        Of the quality table.
    names : mapping of nickname to str
        How paints are spoken of.
    """
    of: dict[str, list[dict[str, Any]]] = {}
    for row in rows.to_dict("records"):
        of.setdefault(row["quantity"], []).append({str(key): x for key, x in row.items()})

    def first(quantity: str, key: str, otherwise: Any) -> Any:
        return of[quantity][0][key] if quantity in of else otherwise

    hides_um = first(HIDES, "value", math.nan)
    strengths = [row for row in of.get(STRENGTH, ()) if row["criterion"] == CRITERIA[0]]
    return Figures(
        # A figure that has words alone is beyond every number.
        math.inf if HIDES in of and math.isnan(hides_um) else hides_um,
        first(HIDES, "words", ""),
        first(CONTRAST, "words", ""),
        first(FILMS, "value", 1.0),
        strength_of(strengths[0], names) if strengths else None,
        tuple(row["words"] for row in of.get(UNSAID, ())),
    )
