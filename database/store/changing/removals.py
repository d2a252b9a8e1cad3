"""Rows that go out of use together with a tube, a card, a recipe, a batch or a device."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from sqlalchemy import select

from ....calibrate.errors import InputError
from .. import schema
from ..imports import Undone
from ..in_use import hidden
from ..scanners import CHARACTERISED
from ..transactions import OrmSession, Subject
from .changes import Changes, Edit

Hidden = dict[str, list[int]]
"""Ids of rows, by table."""


class Removals(Subject):
    """What is taken out of use; its rows stay, and all can be taken back for a day."""

    def card(self, name: str) -> schema.Change:
        """Take a card out of use with all that was read of it, and fits that rest on it alone."""
        with self._database.transaction() as session:
            card = session.scalars(select(schema.Card).where(schema.Card.name == name)).one()
            edits = _fits_of(session, [card])
            words = f"Card {card.name} was removed"
            return Changes(self._database).record("card", words, _rows_of([card], session), edits)

    def paint(self, paint: schema.Paint, cards: Collection[str]) -> schema.Change:
        """Take a paint out of use, with its fits and with cards that are of it alone, by name.

        Its nickname is free from then on.
        """
        with self._database.transaction() as session:
            of = list(session.scalars(select(schema.Card).where(schema.Card.name.in_(cards))))
            gone = _rows_of(of, session) | {schema.Paint.__tablename__: [paint.id]}
            own = select(schema.PaintFit).where(
                schema.PaintFit.paint_id == paint.id, schema.CURRENT
            )
            fits = {row.id: Edit(row, {"current": False}) for row in session.scalars(own)}
            fits |= {edit.row.id: edit for edit in _fits_of(session, of)}
            # No nickname holds a line's end, so that this one can't be another's.
            edits = [Edit(paint, {"nickname_key": f"{paint.nickname_key}\n{paint.id}"})]
            words = f"{paint.name} was removed" + (f", with card {', '.join(cards)}" if of else "")
            edits += fits.values()
            return Changes(self._database).record("tube", words, gone, edits)

    def recipe(self, name: str) -> schema.Change:
        """Take a kept recipe out of use, with its batches.

        Raises
        ------
        InputError
            Where there is none of that name.
        """
        with self._database.transaction() as session:
            rows = self.recipes(name)
            kept = select(schema.Batch).where(schema.Batch.recipe_id.in_([row.id for row in rows]))
            away = hidden(session, schema.Batch.__tablename__)
            gone = {
                schema.Recipe.__tablename__: [row.id for row in rows],
                schema.Batch.__tablename__: [
                    batch.id for batch in session.scalars(kept) if batch.id not in away
                ],
            }
            words = f"The recipe {rows[0].name} was removed"
            return Changes(self._database).record("recipe", words, gone)

    def recipes(self, name: str) -> list[schema.Recipe]:
        """Return every recipe in use that was kept under a name, the oldest first.

        Raises
        ------
        InputError
            Where there is none.
        """
        with self._database.snapshot() as session:
            away = hidden(session, schema.Recipe.__tablename__)
            query = select(schema.Recipe).where(schema.Recipe.name == name.strip().casefold())
            found = session.scalars(query.order_by(schema.Recipe.id))
            rows = [row for row in found if row.id not in away]
            if not rows:
                raise InputError(None, name, "no recipe of that name is kept", "name another")
            return rows

    def batch(self, number: int) -> schema.Change:
        """Take a batch out of use, by its number.

        Raises
        ------
        InputError
            Where there is none.
        """
        with self._database.transaction():
            row = self.batch_row(number)
            words = f"The batch of {row.made[:10]} was removed"
            gone = {schema.Batch.__tablename__: [row.id]}
            return Changes(self._database).record("batch", words, gone)

    def batch_row(self, number: int) -> schema.Batch:
        """Return a batch in use.

        Raises
        ------
        InputError
            Where there is none of that number.
        """
        with self._database.snapshot() as session:
            row = session.get(schema.Batch, number)
            if row is None or row.id in hidden(session, schema.Batch.__tablename__):
                raise InputError(None, f"batch {number}", "there is no such batch", "name another")
            return row

    def device(self, name: str) -> schema.Change:
        """Take a scanner or phone out of use; what it read of cards stays as it was read."""
        with self._database.transaction() as session:
            query = (
                select(schema.Calibration.id)
                .join(schema.Device)
                .where(schema.Device.name == name, schema.Calibration.kind == CHARACTERISED)
            )
            gone = {schema.Calibration.__tablename__: list(session.scalars(query))}
            return Changes(self._database).record("device", f"{name} was removed", gone)

    def device_row(self, name: str) -> schema.Device | None:
        """Return a device by its name, if there is one."""
        with self._database.snapshot() as session:
            return session.scalar(select(schema.Device).where(schema.Device.name == name))


def _rows_of(cards: Sequence[schema.Card], session: OrmSession) -> Hidden:
    ids = [card.id for card in cards]
    return {
        schema.CardVersion.__tablename__: [row.id for card in cards for row in card.versions],
        **{
            table.__tablename__: list(
                session.scalars(select(table.id).where(table.card_id.in_(ids)))
            )
            for table in (schema.Session, schema.Scan)
        },
    }


def _fits_of(session: OrmSession, cards: Sequence[schema.Card]) -> list[Edit]:
    """Fits in use of paints whose ladders stand on these cards and on no other in use."""
    undone = Undone.of(session)
    away = {row.id for card in cards for row in card.versions}
    versions = session.scalars(select(schema.CardVersion)).all()
    holds = undone.newest_of_all(session)
    left = {
        drawdown.paint_id
        for version in versions
        if version.id in holds and version.id not in away and version.purpose == "fit"
        for drawdown in version.drawdowns
    }
    found = []
    for row in session.scalars(select(schema.PaintFit).where(schema.CURRENT)):
        read = _read(row.fit.inputs)
        if row.paint_id not in left and read & away:
            found.append(Edit(row, {"current": False}))
    return found


def _read(inputs: Mapping[str, Sequence[Mapping[str, int]]]) -> set[int]:
    """Card versions that a fit rests on."""
    items = (*inputs.get("sessions", ()), *inputs.get("scans", ()))
    return {item["card_version"] for item in items}
