"""Clear medium: a paint that every studio has, of nearly no K and S."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ...calibrate.optics.coefficients import Coefficients

MEDIUM = "MEDIUM"
NAME = "clear medium"
# Dry, a clear film absorbs and scatters next to nothing; volume solids and density are typical of
# an acrylic medium (common practice, no source).
_CLEAR = 1e-4
_SOLIDS, _DENSITY = 0.38, 1.04


def with_medium(coefficients: Coefficients) -> Coefficients:
    """Add the clear medium to paints that don't have a paint of its name."""
    if MEDIUM in coefficients.paints:
        return coefficients
    return Coefficients.concat([coefficients, _medium(coefficients)])


def _medium(beside: Coefficients) -> Coefficients:
    """The clear medium alone, by the model and on the scale of paints beside it."""
    c = beside
    read = np.isfinite(c.k).all(axis=0)
    clear = np.where(read, _CLEAR * float(np.nanmedian(c.s)), np.nan)[None]
    w, no = c.wavelengths.size, np.zeros(1, dtype=bool)
    return replace(
        c,
        paints=(MEDIUM,),
        k=clear,
        s=clear,
        local=np.zeros((1, 2, 2, w)),
        own=np.zeros((1, 0, 2, w)),
        factors=np.zeros((0, 1, 2, w)),
        factor_names=(),
        dry_volume=np.array([_SOLIDS / _DENSITY]),
        density=np.array([_DENSITY]),
        dry_volume_measured=no,
        ratio_only=np.zeros((1, w), dtype=bool),
        scan_made=no,
        mix_error=np.zeros(1),
        part_error=np.zeros(1),
        crowding=np.zeros(1),
        surface_error=np.zeros(1),
        surface_offset=np.zeros(1),
        beside=c.beside and _medium(c.beside),
    )


def resolver(find: Callable[[str], str]) -> Callable[[str], str]:
    """Let a name mean the medium too, where no tube bears it."""
    return lambda text: MEDIUM if text.strip().casefold() == MEDIUM.casefold() else find(text)
