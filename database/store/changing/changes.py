"""Changes that can be taken back for a day: what was taken out of use, renamed or edited."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import Date, inspect, select
from sqlalchemy.orm import Session as OrmSession

from ....calibrate.errors import InputError
from ...common.remedies import StudioDo
from .. import schema
from ..transactions import Subject, now

KEPT = timedelta(days=1)
"""For how long a change can be taken back."""
_TABLES: Mapping[str, Any] = {
    row.__tablename__: row
    for row in (
        schema.Batch, schema.Card, schema.Device, schema.Lot, schema.Paint, schema.PaintFit,
        schema.Recipe,
    )
}  # fmt: skip
"""Rows that may be changed; readings, scans and releases never are."""


@dataclass(frozen=True)
class Edit:
    """Some columns of a row, as they were and as they are from now on.

    Attributes
    ----------
    row : a row of `_TABLES`
    values : mapping of column to value
        That it takes.
    """

    row: Any
    values: Mapping[str, Any]


class Changes(Subject):
    """Changes; each is kept with what it changed."""

    def record(
        self,
        kind: str,
        words: str,
        hidden: Mapping[str, Sequence[int]] = {},
        edits: Sequence[Edit] = (),
    ) -> schema.Change:
        """Change rows, and keep how they were.

        Parameters
        ----------
        kind : str
            What it is of.
        words : str
            What was done, to be read in a list: ``Anchor Blue was removed``.
        hidden : mapping of table to ids
            Rows that are taken out of use.
        edits : sequence of Edit
            Where none of them changes anything, nothing is kept.
        """
        with self._database.transaction() as session:
            said = [kept for edit in edits if (kept := _done(edit)) is not None]
            row = schema.Change(
                done=now(), kind=kind, words=words, edited=said, undone=None,
                hidden={table: sorted(ids) for table, ids in hidden.items() if ids},
            )  # fmt: skip
            if said or row.hidden or not edits:
                session.add(row)
                session.flush()
            return row

    def recent(self) -> list[schema.Change]:
        """Return the changes that can be taken back, the last first."""
        since = (datetime.now(UTC) - KEPT).strftime("%Y-%m-%dT%H:%M:%SZ")
        query = (
            select(schema.Change)
            .where(schema.Change.undone.is_(None), schema.Change.done >= since)
            .order_by(schema.Change.id.desc())
        )
        with self._database.snapshot() as session:
            return list(session.scalars(query))

    def undo(self, number: int | None = None) -> schema.Change:
        """Take a change back: the last, or one by its number.

        Raises
        ------
        InputError
            Where there is none, it is older than a day, or what it changed was changed since.
        """
        with self._database.transaction() as session:
            there = self.recent()
            row = next((each for each in there if number in (None, each.id)), None)
            if row is None:
                raise InputError(
                    None, None if number is None else f"change {number}",
                    "there is nothing to take back: changes are kept for a day",
                    StudioDo.SEE_CHANGES(),
                )  # fmt: skip
            for said in reversed(row.edited):
                _taken_back(session, row, said)
            row.undone = now()
            session.flush()
            return row


def _done(edit: Edit) -> dict[str, Any] | None:
    """Change a row; return what is kept of that, None where nothing changes."""
    was = {name: _plain(getattr(edit.row, name)) for name in edit.values}
    values = {name: _plain(value) for name, value in edit.values.items()}
    changed = [name for name in values if values[name] != was[name]]
    if not changed:
        return None
    for name in changed:
        setattr(edit.row, name, edit.values[name])
    return {
        "table": edit.row.__tablename__, "id": edit.row.id,
        "was": {name: was[name] for name in changed},
        "now": {name: values[name] for name in changed},
    }  # fmt: skip


def _taken_back(session: OrmSession, change: schema.Change, said: Mapping[str, Any]) -> None:
    kind = _TABLES[said["table"]]
    row = session.get(kind, said["id"])
    columns = inspect(kind).columns
    if row is None or any(_plain(getattr(row, name)) != to for name, to in said["now"].items()):
        raise InputError(
            None, change.words, "that was changed again since, so it can't be taken back",
            "take the later change back first",
        )  # fmt: skip
    for name, value in said["was"].items():
        dated = value is not None and isinstance(columns[name].type, Date)
        setattr(row, name, date.fromisoformat(value) if dated else value)
    session.flush()


def _plain(value: Any) -> Any:
    """A value as JSON holds it."""
    return value.isoformat() if isinstance(value, date) else value
