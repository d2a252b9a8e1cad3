"""How much a millilitre of each tube weighs: as it was weighed, else typical of its pigments."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

import numpy as np

from ...calibrate.cards.measure import SPOON_ML
from ...calibrate.errors import InputError
from ...calibrate.fit.problem.tube import TYPICAL_DENSITY, typical_density
from ...calibrate.optics.coefficients import Coefficients
from ..mixing.medium import MEDIUM, with_medium
from ..mixing.palette import Palette
from ..mixing.prediction import BARE, GRAMS, ML, SPOON, by_weight, parse_amounts
from ..mixing.ranking import clumsiness
from ..store.store import Store

ASSUMED_SPREAD = 0.12
"""Relative standard uncertainty of a typical density (a guess, no source)."""


def with_densities(store: Store, coefficients: Coefficients) -> tuple[Coefficients, list[str]]:
    """Give paints the densities of the tubes in use, and say of which they are assumed.

    A fit keeps those that were known then; a tube may have been weighed since. The clear medium and
    anything else that is no tube stays as it is.
    """
    density, assumed = coefficients.density.copy(), []
    for paint in store.paints.all():
        if paint.nickname not in coefficients.paints:
            continue
        lot = paint.current_lot
        known = lot.density if lot is not None else None
        if known is None:
            assumed.append(paint.nickname)
        row = coefficients.index(paint.nickname)
        density[row] = typical_density(paint.pigments, paint.binder) if known is None else known
    return replace(coefficients, density=density), assumed


def volume_slip(palette: Palette, parts: Mapping[str, float], assumed: Collection[str]) -> float:
    """CIEDE2000 that a mix measured by volume may be off where densities are assumed.

    Parameters
    ----------
    parts : mapping of nickname to parts by weight
    assumed : collection of str
        Paints whose density was never weighed.

    Returns
    -------
    float
        One standard deviation.
    """
    dry = np.array([[parts.get(p, 0.0) for p in palette.paints]]) * palette.coefficients.dry_volume
    shares = dry / dry.sum()
    slip = np.array([ASSUMED_SPREAD * (p in assumed) for p in palette.paints])
    return float(clumsiness(palette, shares, palette.lab(shares)[0], slip)[0])


def added_grams(store: Store, text: str, resolve: Callable[[str], str]) -> dict[str, float]:
    """Read what went on a plate, such as ``HULL=8,STARBOARD=1`` in grams, or all in ml or spoons.

    Returns
    -------
    dict of nickname to grams
        Of what is told by volume by the densities of the tubes in use.

    Raises
    ------
    InputError
        As `parse_amounts`; and for a unit that has no size.
    """
    parts, unit = parse_amounts(text, resolve)
    if unit in (BARE, GRAMS):
        return parts
    size = {ML: 1.0, SPOON: SPOON_ML}.get(unit)
    if size is None:
        raise InputError(
            "mix", text, f"how much a {unit} holds isn't known", "give grams, ml or spoons"
        )
    tubes = [paint for paint in parts if paint != MEDIUM]
    read = with_densities(store, store.fits.coefficients(tubes))[0] if tubes else None
    if MEDIUM in parts and read is not None:
        read = with_medium(read)
    if read is None:
        return {paint: size * TYPICAL_DENSITY * amount for paint, amount in parts.items()}
    return {p: size * g for p, g in by_weight(read, parts).items()}
