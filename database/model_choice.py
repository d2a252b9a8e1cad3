"""Which model a studio mixes by: the one that foretold its check mixtures nearer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from ..calibrate.errors import InputError
from ..calibrate.optics.coefficients import TWO_FLUX
from ..calibrate.optics.transport import TRANSPORT
from . import schema
from .medium import MEDIUM

WORDS = {TWO_FLUX: "two fluxes of light", TRANSPORT: "light followed along many angles"}
SYMBOLS = {TWO_FLUX: ("K", "S"), TRANSPORT: ("mu_a", "mu_s'")}
"""What each calls its absorption and its scattering, in plain letters."""
LETTERS = {TWO_FLUX: ("K", "S"), TRANSPORT: ("μₐ", "μₛ′")}
"""The same for pictures."""


def held_out(session: OrmSession) -> dict[str, float]:
    """Mean CIEDE2000 of the check mixtures that every model's fits in use were tried on, by model.

    Empty where fewer than two models were tried on the same.
    """
    of_fit = (
        select(schema.PaintFit.fit_id, schema.PaintFit.model)
        .where(schema.PaintFit.current)
        .distinct()
        .subquery()
    )
    query = (
        select(of_fit.c.model, schema.Check.card_id, schema.Check.patch, schema.Check.de00)
        .join(schema.Check, schema.Check.fit_id == of_fit.c.fit_id)
        .order_by(schema.Check.id)
    )
    found: dict[str, dict[tuple[int, str], float]] = {}
    for model, card, patch, de00 in session.execute(query):
        found.setdefault(model, {})[card, patch] = de00
    tried = set.intersection(*(set(patches) for patches in found.values())) if found else set()
    if len(found) < 2 or not tried:
        return {}
    return {
        model: float(np.mean([patches[patch] for patch in tried]))
        for model, patches in found.items()
    }


def choose(paints: Sequence[str], by_transport: Mapping[str, int], off: Mapping[str, float]) -> str:
    """Choose the model for a mix: the nearer, or transport where none was tried.

    Two fluxes where a paint has nothing else, as those read by a scanner.
    """
    if not paints or not set(paints) <= by_transport.keys():
        return TWO_FLUX
    return min(off, key=lambda model: off[model]) if off else TRANSPORT


def words(
    model: str, paints: Sequence[str], by_transport: Mapping[str, int], asked: bool = False
) -> str:
    """Say which model a mix was reckoned by, and why not by the other; `asked`, by name."""
    said = f"Reckoned by {WORDS[model]}"
    if asked:
        return f"{said}, as you asked."
    fitted = [paint for paint in paints if paint != MEDIUM]
    lacking = [paint for paint in fitted if paint not in by_transport]
    if model == TRANSPORT or len(lacking) == len(fitted):
        return f"{said}."
    if not lacking:
        return f"{said}, which came nearer on your check mixtures."
    others = f" and {len(lacking) - 3} more" if len(lacking) > 3 else ""
    return f"{said}: there is no other fit of {', '.join(lacking[:3])}{others}."


def lacking(paints: Sequence[str], model: str) -> InputError:
    """Say that paints have a fit, but none by this model."""
    some = ", ".join(paints[:3]) + (f" and {len(paints) - 3} more" if len(paints) > 3 else "")
    return InputError(
        None,
        some,
        f"has no fit by {WORDS[model]}",
        "where an instrument read it, fit again: tintladder fit; else leave --model out",
    )
