"""Which mixtures the fits in use learnt from."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from . import schema


def learnt_from(session: OrmSession) -> list[str]:
    """Return the names of the cards whose mixtures the fits in use learnt from."""
    used = select(schema.PaintFit.fit_id).where(schema.PaintFit.current)
    rows = session.scalars(select(schema.Fit.inputs).where(schema.Fit.id.in_(used)))
    items = [item for inputs in rows for item in inputs["sessions"] if item.get("learnt")]
    taught = schema.Session.id.in_({item["session"] for item in items})
    return sorted(set(session.scalars(select(schema.Card.name).join(schema.Session).where(taught))))
