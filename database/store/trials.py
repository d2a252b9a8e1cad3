"""How far off each model was, from what a studio keeps of its fits."""

from __future__ import annotations

from collections.abc import Hashable

from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from ..mixing.model_choice import Trial, trial_of
from . import schema


def tried(session: OrmSession) -> Trial:
    """How far off the models of a studio's fits in use were where every one was tried."""
    in_use = (
        select(schema.PaintFit.fit_id, schema.PaintFit.model)
        .where(schema.PaintFit.current)
        .distinct()
        .subquery()
    )
    check = schema.Check
    checks = (
        select(in_use.c.model, check.card_id, check.patch, check.de00, check.scan_error)
        .join(check, check.fit_id == in_use.c.fit_id)
        .order_by(check.id)
    )
    mixtures: dict[str, dict[Hashable, float]] = {}
    unsure: dict[Hashable, float] = {}
    for model, card, patch, de00, error in session.execute(checks):
        mixtures.setdefault(model, {})[card, patch] = de00
        if error is not None:
            unsure[card, patch] = error
    found = trial_of(mixtures, {}, unsure)
    if found.off:
        return found
    left_out = select(
        schema.PaintFit.model, schema.PaintFit.paint_id, schema.PaintFit.left_out
    ).where(schema.PaintFit.current)
    steps: dict[str, dict[Hashable, float]] = {}
    for model, paint, off in session.execute(left_out):
        if off is not None:
            steps.setdefault(model, {})[paint] = off
    return trial_of({}, steps)
