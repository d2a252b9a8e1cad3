"""What the studio remembers of how its painter works."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import select

from . import schema
from .transactions import Subject


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
