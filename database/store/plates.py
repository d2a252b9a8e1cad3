"""The plates that paint is mixed on, one for each colour or recipe, with every step of a day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import delete, select

from . import schema
from .transactions import Subject, now

BEGUN = 0
"""The state before the first step: nothing is on the plate."""
_KEPT = timedelta(days=2)
"""How long a step can be undone: a day for certain, wherever midnight falls."""


class Plates(Subject):
    """Plates by what is mixed on them; each step is a state of its own, and none is changed."""

    def any(self) -> bool:
        """Whether anything was ever put on a plate."""
        with self._database.snapshot() as session:
            return session.scalar(select(schema.Plate.id).limit(1)) is not None

    def of(self, goal: str) -> schema.Plate | None:
        """Return the state of a plate now; None where nothing was ever put on it."""
        with self._database.snapshot() as session:
            return session.scalar(
                select(schema.Plate)
                .where(schema.Plate.goal == goal)
                .order_by(schema.Plate.id.desc())
                .limit(1)
            )

    def put(
        self,
        goal: str,
        additions: Sequence[Mapping[str, float]],
        dab: Mapping[str, Any] | None,
    ) -> schema.Plate:
        """Keep what is on a plate after a step; undoing it leads to the state before."""
        with self._database.transaction():
            there = self.of(goal)
            return self._add(goal, additions, dab, BEGUN if there is None else there.id)

    def undo(self, goal: str) -> schema.Plate | None:
        """Go back to the state before the last step; None where that isn't known any more."""
        with self._database.transaction() as session:
            there = self.of(goal)
            if there is None or there.before is None:
                return None
            if there.before == BEGUN:
                return self._add(goal, [], None, None)
            before = session.get(schema.Plate, there.before)
            if before is None:
                return None
            return self._add(goal, before.additions, before.dab, before.before)

    def _add(
        self,
        goal: str,
        additions: Sequence[Mapping[str, float]],
        dab: Mapping[str, Any] | None,
        before: int | None,
    ) -> schema.Plate:
        with self._database.transaction() as session:
            row = schema.Plate(
                goal=goal, made=now(), additions=[dict(a) for a in additions],
                dab=None if dab is None else dict(dab), before=before,
            )  # fmt: skip
            session.add(row)
            session.flush()
            self._forget(goal)
            return row

    def _forget(self, goal: str) -> None:
        """Forget states that are older than any step that may still be undone leads to."""
        since = (datetime.now(UTC) - _KEPT).strftime("%Y-%m-%dT%H:%M:%SZ")
        with self._database.transaction() as session:
            rows = session.execute(
                select(schema.Plate.id, schema.Plate.before, schema.Plate.made)
                .where(schema.Plate.goal == goal)
                .order_by(schema.Plate.id)
            ).all()
            kept = {row.id for row in rows if row.made >= since} | {rows[-1].id}
            kept |= {row.before for row in rows if row.id in kept and row.before}
            old = [row.id for row in rows if row.id not in kept]
            if old:
                session.execute(delete(schema.Plate).where(schema.Plate.id.in_(old)))
