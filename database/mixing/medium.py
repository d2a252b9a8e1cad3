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
    c = coefficients
    if MEDIUM in c.paints:
        return c

    def longer(array: np.ndarray, axis: int = 0) -> np.ndarray:
        shape = list(array.shape)
        shape[axis] = 1
        return np.concatenate([array, np.zeros(shape, dtype=array.dtype)], axis=axis)

    def ended(array: np.ndarray, value: float | bool) -> np.ndarray:
        return np.append(array, np.array([value], dtype=array.dtype))

    read = np.isfinite(c.k).all(axis=0)
    clear = np.where(read, _CLEAR * float(np.nanmedian(c.s)), np.nan)[None]
    return replace(
        c,
        paints=(*c.paints, MEDIUM),
        k=np.concatenate([c.k, clear]),
        s=np.concatenate([c.s, clear]),
        local=longer(c.local),
        own=longer(c.own),
        factors=longer(c.factors, axis=1),
        dry_volume=ended(c.dry_volume, _SOLIDS / _DENSITY),
        density=ended(c.density, _DENSITY),
        dry_volume_measured=ended(c.dry_volume_measured, False),
        ratio_only=longer(c.ratio_only),
        scan_made=ended(c.scan_made, False),
        mix_error=ended(c.mix_error, 0.0),
        surface_offset=ended(c.surface_offset, 0.0),
    )


def resolver(find: Callable[[str], str]) -> Callable[[str], str]:
    """Let a name mean the medium too, where no tube bears it."""
    return lambda text: MEDIUM if text.strip().casefold() == MEDIUM.casefold() else find(text)
