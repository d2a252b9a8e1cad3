"""What the studio remembers: how its painter works, how its paint dries, what was sent to it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import delete, select

from . import schema
from .transactions import Subject, now

_SENT_FOR = timedelta(days=60)
"""How long a form is known again."""


class Habits(Subject):
    """Values by name, each a text."""

    def all(self) -> dict[str, str]:
        """Return everything that is remembered."""
        with self._database.snapshot() as session:
            return {row.name: row.value for row in session.scalars(select(schema.Habit))}

    def keep(self, values: Mapping[str, str]) -> None:
        """Remember some values, in place of what was remembered before."""
        with self._database.transaction() as session:
            there = {row.name: row for row in session.scalars(select(schema.Habit))}
            for name, value in values.items():
                if name in there:
                    there[name].value = value
                else:
                    session.add(schema.Habit(name=name, value=value))
            session.flush()


class Dryings(Subject):
    """Wet and dried dabs of one mix each, which teach how a medium changes as it dries."""

    def all(self) -> list[schema.Drying]:
        """Return every pair, the oldest first."""
        with self._database.snapshot() as session:
            return list(session.scalars(select(schema.Drying).order_by(schema.Drying.id)))

    def keep(
        self,
        medium: str,
        parts: Mapping[str, float],
        wet: Mapping[str, Any],
        dry: Mapping[str, Any],
        unsure: float,
    ) -> schema.Drying:
        """Keep a pair.

        Parameters
        ----------
        medium : str
            The binder of its paints.
        parts : mapping of nickname to parts by weight
        wet, dry : mapping
            Each colour and where it is from, of plain values.
        unsure : float
            Standard uncertainty of what they differ by, CIELAB units.
        """
        with self._database.transaction() as session:
            row = schema.Drying(
                noted=now(), medium=medium, parts=dict(parts), wet=dict(wet), dry=dict(dry),
                unsure=unsure,
            )  # fmt: skip
            session.add(row)
            session.flush()
            return row

    def forget(self, number: int) -> bool:
        """Forget a pair; whether there was one of that number."""
        with self._database.transaction() as session:
            gone = session.execute(delete(schema.Drying).where(schema.Drying.id == number))
            return bool(gone.rowcount)  # type: ignore[attr-defined]


class Sent(Subject):
    """Forms that were carried out, by a name that the browser drew for each."""

    def of(self, name: str) -> str | None:
        """Return where a form led; None where it was never carried out."""
        with self._database.snapshot() as session:
            return session.scalar(select(schema.Sent.path).where(schema.Sent.name == name))

    def keep(self, name: str, path: str) -> None:
        """Keep that a form was carried out, and where it led; forget those of long ago."""
        since = (datetime.now(UTC) - _SENT_FOR).strftime("%Y-%m-%dT%H:%M:%SZ")
        with self._database.transaction() as session:
            session.execute(delete(schema.Sent).where(schema.Sent.made < since))
            session.add(schema.Sent(name=name, path=path, made=now()))
            session.flush()
