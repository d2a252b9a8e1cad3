"""What was taken out of use: rows that stay, and that no list, fit or mix takes."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from .. import schema


def hidden(session: OrmSession, table: str) -> frozenset[int]:
    """Return the ids of a table's rows that were taken out of use."""
    query = select(schema.Change.hidden).where(schema.Change.undone.is_(None))
    return frozenset(number for said in session.scalars(query) for number in said.get(table, ()))
