"""Coefficients of different fits brought together for one prediction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.spectra import Array
from ..common.remedies import StudioDo

Ints = NDArray[np.intp]
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
                    StudioDo.FIT_TOGETHER(),
                )


def factor_names(parts: Sequence[Part]) -> tuple[str, ...]:
    """Return the names of all shared factors, each with the fit that it comes from, each once."""
    return tuple(dict.fromkeys(name for part in parts for name in _qualified(part)))


def factor_rows(parts: Sequence[Part]) -> list[Ints]:
    """Return where the factors of each part stand among `factor_names`."""
    place = {name: i for i, name in enumerate(factor_names(parts))}
    return [np.array([place[name] for name in _qualified(part)], np.intp) for part in parts]


def _qualified(part: Part) -> list[str]:
    """Name a part's factors by fit. One that a tube was fitted against bears its fit's name yet."""
    fit, coefficients = part
    return [
        name if name.startswith("fit ") else f"{fit}: {name}" for name in coefficients.factor_names
    ]


def model_error(parts: Sequence[Part]) -> Array:
    """Return the larger error where fits learnt different ones: no band is too narrow for it."""
    largest: Array = np.max([part.model_error for _, part in parts], axis=0)
    return largest


def join(parts: Sequence[Part]) -> Coefficients:
    """Join coefficients of different paints.

    What is shared within a fit is not shared with another, but where a tube was fitted against
    paints of the other: then both bear the same factors, by name.

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
        return replace(first, factor_names=factor_names(parts))
    check_alike(parts)
    each = [part for _, part in parts]
    rows = np.cumsum([0, *(len(part.paints) for part in each)])
    names = factor_names(parts)
    factors = np.zeros((len(names), rows[-1], 2, first.wavelengths.size))
    for i, at in enumerate(factor_rows(parts)):
        factors[at, rows[i] : rows[i + 1]] = each[i].factors
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
        factor_names=names,
        scale=first.scale,
        surface=first.surface,
        dry_volume=np.concatenate([part.dry_volume for part in each]),
        density=np.concatenate([part.density for part in each]),
        dry_volume_measured=np.concatenate([part.dry_volume_measured for part in each]),
        ratio_only=np.concatenate([part.ratio_only for part in each]),
        scan_made=np.concatenate([part.scan_made for part in each]),
        mix_error=np.concatenate([part.mix_error for part in each]),
        model_error=model_error(parts),
        surface_offset=np.concatenate([part.surface_offset for part in each]),
        model=first.model,
    )
