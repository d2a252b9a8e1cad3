"""Coefficients of different fits brought together for one prediction."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..calibrate.errors import InputError
from ..calibrate.optics.coefficients import Coefficients
from ..calibrate.optics.spectra import Array

Part = tuple[str, Coefficients]
"""Name of a fit, and the coefficients of some of its paints."""


def check_alike(parts: Sequence[Part]) -> None:
    """Refuse coefficients that can't be used together.

    Raises
    ------
    InputError
        Where they are of different scales, surfaces, grids or models.
    """
    name, first = parts[0]
    for other, part in parts[1:]:
        for what, same in (
            (f"scale ({first.scale}; {part.scale})", first.scale == part.scale),
            ("surface record", first.surface == part.surface),
            ("wavelengths", np.array_equal(first.wavelengths, part.wavelengths)),
            (f"model ({first.model}; {part.model})", first.model == part.model),
        ):
            if not same:
                raise InputError(
                    None,
                    f"{', '.join(first.paints[:3])} ({name}) and "
                    f"{', '.join(part.paints[:3])} ({other})",
                    f"their fits differ in {what}, so their K and S can't be used together",
                    "fit them together: tintladder fit",
                )


def factor_names(parts: Sequence[Part]) -> tuple[str, ...]:
    """Return the names of all shared factors, told apart by fit where there are several."""
    if len(parts) == 1:
        return parts[0][1].factor_names
    return tuple(f"{name}: {factor}" for name, part in parts for factor in part.factor_names)


def model_error(parts: Sequence[Part]) -> Array:
    """Return the larger error where fits learnt different ones: no band is too narrow for it."""
    largest: Array = np.max([part.model_error for _, part in parts], axis=0)
    return largest


def join(parts: Sequence[Part]) -> Coefficients:
    """Join coefficients of different paints.

    What is shared within a fit is not shared with another: each fit's factors stay its own, and do
    nothing to the other fits' paints.

    Parameters
    ----------
    parts : sequence of Part
        No paint stands in two of them.

    Raises
    ------
    InputError
        Where they are of different scales, surfaces, grids or models: such K and S don't mix.
    """
    first = parts[0][1]
    if len(parts) == 1:
        return first
    check_alike(parts)
    each = [part for _, part in parts]
    rows = np.cumsum([0, *(len(part.paints) for part in each)])
    columns = np.cumsum([0, *(len(part.factor_names) for part in each)])
    factors = np.zeros((columns[-1], rows[-1], 2, first.wavelengths.size))
    for i, part in enumerate(each):
        factors[columns[i] : columns[i + 1], rows[i] : rows[i + 1]] = part.factors
    own = np.zeros((rows[-1], max(part.own.shape[1] for part in each), 2, first.wavelengths.size))
    for i, part in enumerate(each):
        own[rows[i] : rows[i + 1], : part.own.shape[1]] = part.own
    return Coefficients(
        paints=tuple(paint for part in each for paint in part.paints),
        wavelengths=first.wavelengths,
        k=np.concatenate([part.k for part in each]),
        s=np.concatenate([part.s for part in each]),
        local=np.concatenate([part.local for part in each]),
        own=own,
        factors=factors,
        factor_names=factor_names(parts),
        scale=first.scale,
        surface=first.surface,
        dry_volume=np.concatenate([part.dry_volume for part in each]),
        density=np.concatenate([part.density for part in each]),
        dry_volume_measured=np.concatenate([part.dry_volume_measured for part in each]),
        ratio_only=np.concatenate([part.ratio_only for part in each]),
        scan_made=np.concatenate([part.scan_made for part in each]),
        mix_error=np.concatenate([part.mix_error for part in each]),
        model_error=model_error(parts),
        model=first.model,
    )
