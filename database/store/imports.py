"""Imports of files, and their undoing: marked, never deleted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from ...calibrate.errors import InputError
from ..common.remedies import StudioDo
from . import schema
from .in_use import hidden
from .transactions import Subject, now


@dataclass(frozen=True)
class Undone:
    """Rows that no longer count, of imports that were undone and of cards taken out of use.

    Attributes
    ----------
    removed : frozenset of int
        Those of the card versions that are of a card taken out of use.
    """

    sessions: frozenset[int]
    card_versions: frozenset[int]
    scans: frozenset[int]
    removed: frozenset[int] = frozenset()

    @classmethod
    def of(cls, session: OrmSession) -> Undone:
        """Gather what was undone."""
        rows = session.scalars(select(schema.Import).where(schema.Import.undone.is_not(None))).all()
        tables = (schema.Session, schema.CardVersion, schema.Scan)
        sessions, versions, scans = (hidden(session, table.__tablename__) for table in tables)
        return cls(
            sessions | {number for row in rows for number in row.sessions},
            versions | {number for row in rows for number in row.card_versions},
            scans | {number for row in rows for number in row.scans},
            versions,
        )

    def newest(self, card: schema.Card) -> schema.CardVersion | None:
        """Return the version of a card that holds; None where its import was undone."""
        counting = [row for row in card.versions if row.id not in self.card_versions]
        return counting[-1] if counting else None

    def newest_of_all(self, session: OrmSession) -> set[int]:
        """Return the versions that hold, of all cards."""
        query = select(schema.CardVersion.id, schema.CardVersion.card_id)
        held: dict[int, int] = {}
        for version, card in session.execute(query.order_by(schema.CardVersion.id)):
            if version not in self.card_versions:
                held[card] = version
        return set(held.values())


@dataclass(frozen=True)
class UndoneImport:
    """What an undoing took back.

    Attributes
    ----------
    done : str
        When it was taken in.
    sessions, cards, scans : int
        How many of them no longer count.
    fits : tuple of int
        Fits, current for some paint, that rest on them.
    """

    done: str
    files: tuple[str, ...]
    sessions: int
    cards: int
    scans: int
    fits: tuple[int, ...]


class Imports(Subject):
    """Imports."""

    def record(
        self,
        files: Sequence[str],
        sessions: Sequence[int] = (),
        card_versions: Sequence[int] = (),
        scans: Sequence[int] = (),
    ) -> int:
        """Keep which sessions, card versions and scans came in together."""
        with self._database.transaction() as session:
            row = schema.Import(
                done=now(),
                files=list(files),
                sessions=list(sessions),
                card_versions=list(card_versions),
                scans=list(scans),
            )
            session.add(row)
            session.flush()
            return row.id

    def last(self) -> schema.Import | None:
        """Return the last import that still counts: the one that `undo` would take back."""
        query = (
            select(schema.Import)
            .where(schema.Import.undone.is_(None))
            .order_by(schema.Import.id.desc())
            .limit(1)
        )
        with self._database.snapshot() as session:
            return session.scalar(query)

    def undo(self) -> UndoneImport:
        """Undo the last import that still counts.

        Its readings and cards stay in the studio, marked; no fit, list or release takes them from
        now on, and the files may be read again. Lists of paints are not undone.

        Raises
        ------
        InputError
            Where there is none.
        """
        with self._database.transaction() as session:
            row = self.last()
            if row is None:
                raise InputError(None, "undo", "there is no import to undo", StudioDo.READ_HELP())
            row.undone = now()
            session.flush()
            return UndoneImport(
                row.done,
                tuple(row.files),
                len(row.sessions),
                len(row.card_versions),
                len(row.scans),
                _resting_on(session, row),
            )


def _resting_on(session: OrmSession, row: schema.Import) -> tuple[int, ...]:
    query = select(schema.Fit.id, schema.Fit.inputs).where(
        schema.Fit.id.in_(select(schema.PaintFit.fit_id).where(schema.CURRENT))
    )
    return tuple(
        fit
        for fit, inputs in session.execute(query)
        if any(
            item.get("session") in row.sessions
            or item.get("scan") in row.scans
            or item["card_version"] in row.card_versions
            for item in (*inputs["sessions"], *inputs.get("scans", ()))
        )
    )
