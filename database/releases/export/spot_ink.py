"""A fitted paint's ladder as a spot-ink characterisation (ISO 17972-4)."""

from __future__ import annotations

import numpy as np

from ....calibrate.errors import InputError
from ....calibrate.formats.spot_ink import format_spot_ink
from ....calibrate.optics.coefficients import ABSOLUTE
from ....calibrate.optics.predict import dry_fractions, predict
from ....calibrate.optics.surface import to_measured
from ...mixing.prediction import CARD_BLACK, CARD_WHITE
from ..compare import Numbers
from . import whence

PERCENT = (100.0, 75.0, 50.0, 25.0, 10.0, 5.0, 2.0)
"""Share of the paint in its tints, by weight."""


def as_spot_ink(numbers: Numbers, paint: str, thickness_um: float, created: str) -> bytes:
    """Predicted films of a paint's ladder over a typical card's black and white.

    Parameters
    ----------
    paint : str
        Nickname.
    thickness_um : float
        Of the dry films.
    created : str
        UTC, ISO 8601.

    Raises
    ------
    InputError
        For a paint that isn't among the numbers, has no white, or has K and S relative to one.
    """
    every = numbers.coefficients
    if paint not in every.paints:
        raise InputError(None, paint, f"{numbers.name} has no such paint", "give a nickname of it")
    white = numbers.whites.get(paint)
    if white is None or white == paint or white not in every.paints:
        raise InputError(
            None, paint, "its tints were let down with no white", "give a paint with a ladder"
        )
    c = every.select([paint, white])
    if c.scale != ABSOLUTE:
        raise InputError(
            None,
            paint,
            f"its K and S are {c.scale}: how thin a film hides is unknown",
            "read a drawdown of known thickness over black and white",
        )
    mixes = [{paint: p, white: 100 - p} for p in PERCENT]
    fractions = dry_fractions(c, mixes)
    x = np.full(len(mixes), thickness_um * 1e-3)
    percent, over, values = list[float](), list[str](), []
    for name, inside in (("black", CARD_BLACK), ("white", CARD_WHITE)):
        ground = np.full((len(mixes), c.wavelengths.size), inside)
        films = predict(c, fractions, x, ground).reflectance
        values += [to_measured(ground[:1], c.surface), films]
        percent += [0.0, *PERCENT]
        over += [name] * (1 + len(mixes))
    made = np.concatenate(values)
    read = ~np.isnan(made).any(axis=0)
    return format_spot_ink(
        paint,
        white,
        thickness_um,
        percent,
        over,
        c.wavelengths[read],
        made[:, read].round(6),
        geometry=(c.surface.geometry, c.surface.specular),
        created=created,
        description=f"predicted films, not readings ({whence(numbers)})",
    )
