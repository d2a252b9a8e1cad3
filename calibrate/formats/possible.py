"""Whether readings can be what a file says they are: a slip of 100 between percent and fraction.

A surface reflects some 4 % before any paint is lit (Fresnel at n = 1.5), which a sphere with the
specular component included always sees; of paint without it the darkest read some 0.3 % (common
practice, no source). So a spectrum far below that was divided by 100 once too often.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..errors import CalibrateDo, InputError
from ..optics.spectra import HIGHEST, Array, Spectra

_DARKEST = {"included": 0.012, "excluded": 0.0015}
"""Highest value of the darkest spectrum that paint or card can have."""
_NOTHING = 0.0003
"""Below this nothing was read at all, which is no slip of units."""
_WHITE = 0.3
"""The bare white card, or a white tile, is never darker."""
_SLIP = 30.0
"""So many times as bright is no repeat, and no film over black beside the same over white."""
_TRAPS = ("trap", "zero")
_APART = 0.006
"""A shift of all patches between their first readings and their second that no repeat has."""


def check_units(spectra: Spectra, where: Sequence[str], specular: str, file: str) -> None:
    """Refuse readings that were taken for percent and are fractions, or the other way round.

    Parameters
    ----------
    spectra : Spectra
    where : sequence of N str
        Where each stands.
    specular : {"included", "excluded"}
    file : str
        What an error names.

    Raises
    ------
    InputError
        Naming the first reading that is some 100 times too dark or too bright.
    """
    of_paint = [i for i, name in enumerate(spectra.labels) if not _is_trap(name)]
    if not of_paint:
        return
    with np.errstate(all="ignore"):
        highest = np.nanmax(np.where(np.isnan(spectra.values), -np.inf, spectra.values), axis=1)
    levels = {i: float(highest[i]) for i in of_paint if highest[i] > _NOTHING}
    if not levels:
        return
    if max(levels.values()) <= _DARKEST["included"]:
        brightest = max(levels, key=lambda i: levels[i])
        raise _slip(
            spectra, where, brightest, file, "it is the brightest of all, and still too dark"
        )
    for i, level in levels.items():
        name = spectra.labels[i].lower()
        if name in ("bare/white", "tile/white", "bare white") and level < _WHITE:
            raise _slip(spectra, where, i, file, "white card and white tiles are far brighter")
        if level < _DARKEST[specular]:
            raise _slip(spectra, where, i, file, "no surface is as dark")
    _check_films(spectra, where, levels, file)


def _check_films(
    spectra: Spectra, where: Sequence[str], levels: Mapping[int, float], file: str
) -> None:
    """Refuse a reading that is far darker than another of the same film."""
    by_name: dict[str, list[int]] = {}
    for i in levels:
        by_name.setdefault(spectra.labels[i].lower(), []).append(i)
    for name, rows in by_name.items():
        # A film over black is never the brighter one.
        over_white = f"{name.removesuffix('/black')}/white" if name.endswith("/black") else name
        brightest = max(rows, key=lambda i: levels[i])
        darkest = min([*rows, *by_name.get(over_white, ())], key=lambda i: levels[i])
        if levels[brightest] > _SLIP * levels[darkest]:
            why = f"{where[brightest]} has {levels[brightest]:.3g} of the same film"
            raise _slip(spectra, where, darkest, file, why)


def _is_trap(name: str) -> bool:
    return any(word in name.lower() for word in _TRAPS)


def _slip(spectra: Spectra, where: Sequence[str], i: int, file: str, why: str) -> InputError:
    highest = float(np.nanmax(spectra.values[i]))
    return InputError(
        file,
        f"{where[i]} ({spectra.labels[i]})",
        f"its reflectance is {highest:.3g} at most: {why}; taken for percent where it is a "
        "fraction, or divided by 100 once too often",
        CalibrateDo.CHECK_UNIT(),
    )


def check_written_alike(
    rows: Sequence[Sequence[str]], numbers: Array, where: Sequence[str], file: str
) -> None:
    """Refuse a file of which some rows look like fractions and others like percent.

    Some are written with two decimals or more beyond those of the others, and stay below one where
    the others go beyond: 0.2705 beside 82.10.

    Parameters
    ----------
    rows : sequence of sequence of str
        Cells of each reading, all in one unit as far as anything says.
    numbers : (N, W) array
        What they hold, in that unit.
    where : sequence of N str
        Where each stands.
    file : str
        What an error names.

    Raises
    ------
    InputError
        Naming one row of each kind.
    """
    if np.isnan(numbers).all(axis=1).any():
        return
    highest = np.nanmax(numbers, axis=1).tolist()
    decimals = [max(map(_decimals, row)) for row in rows]
    small = [i for i, level in enumerate(highest) if level <= HIGHEST]
    large = [i for i, level in enumerate(highest) if level > HIGHEST]
    if not small or not large:
        return
    apart = min(decimals[i] for i in small) - max(decimals[i] for i in large)
    if apart >= 2:
        raise InputError(
            file,
            f"{where[small[0]]} and {where[large[0]]}",
            f"their numbers go up to {highest[small[0]]:g} with {decimals[small[0]]} decimals and "
            f"to {highest[large[0]]:g} with {decimals[large[0]]}: fractions beside percent",
            "write all readings of a file in one unit, with as many decimals",
        )


def _decimals(cell: str) -> int:
    _, mark, behind = cell.replace(",", ".").partition(".")
    return len(behind) if mark else 0


def told_apart(names: Sequence[str], values: Array) -> list[int] | None:
    """Return which reading of its sample each is, where first and second can't be repeats.

    So they look where a file holds two readings of each sample, with the specular component and
    without it, and no word of that: every patch differs by about as much, light ones and dark ones.

    Parameters
    ----------
    names : sequence of N str
    values : (N, W) array
        Reflectance as a fraction.

    Returns
    -------
    list of N int, from 1, or None
    """
    seen: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        seen.setdefault(name, []).append(i)
    if len(seen) < 3 or {len(rows) for rows in seen.values()} != {2}:
        return None
    pairs = np.array(list(seen.values()))
    with np.errstate(all="ignore"):
        shifts = np.nanmean(values[pairs[:, 1]] - values[pairs[:, 0]], axis=1)
    if not ((shifts > _APART).all() or (shifts < -_APART).all()):
        return None
    order = [1] * len(names)
    for second in pairs[:, 1]:
        order[second] = 2
    return order
