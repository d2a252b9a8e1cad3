"""Paints and their lots in the studio database."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, replace

from sqlalchemy import select

from ...calibrate.errors import InputError
from ...calibrate.fit.problem.tube import Tube, typical_density
from . import schema
from .changing.changes import Changes, Edit
from .in_use import hidden
from .paint_names import check_nickname, find_paint, nickname_key
from .paints_file import NewLot, NewPaint, check_lot, parse_paints
from .transactions import Subject


class Paints(Subject):
    """Paints and lots."""

    def all(self, named: Collection[str] | None = None) -> list[schema.Paint]:
        """Every paint with its lots, by nickname; or those of some nicknames alone."""
        query = select(schema.Paint).order_by(schema.Paint.nickname_key)
        if named is not None:
            query = query.where(schema.Paint.nickname.in_(named))
        with self._database.snapshot() as session:
            gone = hidden(session, schema.Paint.__tablename__)
            return [row for row in session.scalars(query) if row.id not in gone]

    def find(self, text: str) -> schema.Paint:
        """Find a paint by nickname, or by any part of a name that fits only one.

        Raises
        ------
        InputError
            Where it fits several, naming them; or none, naming the closest.
        """
        return self._by_nickname(text.strip()) or find_paint(self.all(), text)

    def add(self, paint: NewPaint, file: str | None = None) -> schema.Paint:
        """Add a paint, with the lots that come with it.

        Raises
        ------
        InputError
            Where the nickname is taken or can't stand.
        """
        check_nickname(paint.nickname, file)
        with self._database.transaction() as session:
            taken = self._by_nickname(paint.nickname)
            if taken is not None:
                raise InputError(
                    file,
                    f"nickname {paint.nickname}",
                    f"already that of {taken.name} by {taken.maker or 'an unnamed maker'}",
                    "choose another, such as one with the maker's initials",
                )
            row = schema.Paint(**_columns(paint))
            row.lots = [schema.Lot(**asdict(check_lot(lot, file))) for lot in paint.lots]
            session.add(row)
            session.flush()
            return row

    def add_lot(self, nickname: str, lot: NewLot) -> schema.Lot:
        """Add a lot of a paint.

        Raises
        ------
        InputError
            Where the paint isn't known, has that lot already, or a figure is impossible.
        """
        check_lot(lot)
        with self._database.transaction() as session:
            paint = self.find(nickname)
            if any(known.lot == lot.lot for known in paint.lots):
                raise _lot_taken(lot.lot, paint)
            row = schema.Lot(**asdict(lot))
            paint.lots.append(row)
            session.flush()
            return row

    def change(self, nickname: str, paint: NewPaint) -> schema.Paint:
        """Take what is now said of a paint's label; its nickname and its lots stay.

        Raises
        ------
        InputError
            Where the paint isn't known, or another of that maker bears the name.
        """
        with self._database.transaction():
            row = self.find(nickname)
            said = paint.name.casefold(), paint.maker.casefold()
            for other in self.all():
                if other is not row and (other.name.casefold(), other.maker.casefold()) == said:
                    raise InputError(
                        None, paint.name, f"that paint is in the studio already, as "
                        f"{other.nickname}", "tell them apart by name or maker",
                    )  # fmt: skip
            values = _columns(replace(paint, nickname=row.nickname))
            words = f"What is said of {row.nickname} was changed"
            Changes(self._database).record("tube", words, edits=[Edit(row, values)])
            return row

    def change_lot(self, nickname: str, lot: str, changed: NewLot) -> schema.Lot:
        """Take what is now said of a lot of a paint.

        Raises
        ------
        InputError
            Where there is no such lot, its new name is that of another, or a figure is impossible.
        """
        check_lot(changed)
        with self._database.transaction():
            paint = self.find(nickname)
            row = next((known for known in paint.lots if known.lot == lot), None)
            if row is None:
                raise InputError(
                    None, f"lot {lot!r} of {paint.nickname}", "isn't in the studio",
                    "add it as a new tube",
                )  # fmt: skip
            if any(known.lot == changed.lot for known in paint.lots if known is not row):
                raise _lot_taken(changed.lot, paint)
            words = f"What is said of {lot or 'the tube'} of {paint.nickname} was changed"
            Changes(self._database).record("tube", words, edits=[Edit(row, asdict(changed))])
            return row

    def set_on_hand(self, nickname: str, on_hand: bool) -> schema.Paint:
        """Say that a paint is on hand (its lot in use) or out (every lot); it can be taken back.

        Raises
        ------
        InputError
            Where the paint isn't known.
        """
        with self._database.transaction() as session:
            paint = self.find(nickname)
            if on_hand and paint.current_lot is None:
                paint.lots.append(schema.Lot(on_hand=False))
                session.flush()
            now_here = [paint.current_lot] if on_hand else paint.lots
            edits = [Edit(lot, {"on_hand": on_hand}) for lot in now_here]
            words = f"{paint.name} was said to be {'on hand' if on_hand else 'used up'}"
            Changes(self._database).record("tube", words, edits=edits)
            return paint

    def set_density(self, nickname: str, density: float) -> schema.Paint:
        """Keep the density, g/ml, of the lot of a paint in use; it can be taken back.

        Raises
        ------
        InputError
            Where the paint isn't known, or no tube can have it.
        """
        check_lot(NewLot("", None, None, density, None))
        with self._database.transaction() as session:
            paint = self.find(nickname)
            if paint.current_lot is None:
                paint.lots.append(schema.Lot())
                session.flush()
            edit = Edit(paint.current_lot, {"density": density})
            words = f"The density of {paint.name} was said to be {density:.2f} g/ml"
            Changes(self._database).record("tube", words, edits=[edit])
            return paint

    def add_file(self, text: str, file: str = "paints.toml") -> list[schema.Paint]:
        """Add the paints of a file, all or none; one already here takes what the file says.

        Raises
        ------
        InputError
            Where the file is faulty, or a nickname belongs to another paint.
        """
        rows = []
        with self._database.transaction() as session:
            for paint in parse_paints(text, file):
                row = self._by_nickname(paint.nickname)
                if row is None or (row.name, row.maker) != (paint.name, paint.maker):
                    rows.append(self.add(paint, file))
                    continue
                _take(row, _columns(paint))
                lots = {lot.lot: lot for lot in row.lots}
                for lot in paint.lots:
                    if lot.lot not in lots:
                        row.lots.append(schema.Lot(**asdict(lot)))
                        continue
                    _take(lots[lot.lot], asdict(lot))
                session.flush()
                rows.append(row)
        return rows

    def tubes(
        self,
        lots: Mapping[str, schema.Lot] | None = None,
        named: Collection[str] | None = None,
    ) -> dict[str, Tube]:
        """Return a lot of every paint as a fit takes it, by nickname: those given, else in use.

        Of all paints, or of those of some nicknames alone.
        """
        given = lots or {}
        return {
            paint.nickname: _tube(paint, given.get(paint.nickname, paint.current_lot))
            for paint in self.all(named)
        }

    def _by_nickname(self, nickname: str) -> schema.Paint | None:
        with self._database.snapshot() as session:
            key = nickname_key(nickname)
            return session.scalar(select(schema.Paint).where(schema.Paint.nickname_key == key))


def _lot_taken(lot: str, paint: schema.Paint) -> InputError:
    return InputError(
        None,
        f"lot {lot!r} of {paint.nickname}",
        "is in the studio already",
        "give this lot a name of its own",
    )


def _take(row: schema.Paint | schema.Lot, values: Mapping[str, object]) -> None:
    for key, value in values.items():
        setattr(row, key, value)


def _columns(paint: NewPaint) -> dict[str, object]:
    columns = asdict(paint) | {"pigments": list(paint.pigments)}
    del columns["lots"]
    return columns | {"nickname_key": nickname_key(paint.nickname)}


def _tube(paint: schema.Paint, lot: schema.Lot | None) -> Tube:
    refuse = None
    if paint.finish != schema.ORDINARY:
        refuse = f"{paint.nickname} is {paint.finish}, which two-constant theory can't hold"
    typical = typical_density(paint.pigments, paint.binder)
    if lot is None:
        return Tube(paint.nickname, refuse=refuse, typical=typical)
    return Tube(paint.nickname, lot.density, lot.volume_solids, lot.lot, refuse, typical)
