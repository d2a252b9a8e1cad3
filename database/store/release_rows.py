"""The rows that a release takes from the store: fits in use, and all that they rest on."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import Text, cast, select
from sqlalchemy.orm import Session as OrmSession
from sqlalchemy.orm import defer

from . import schema
from .imports import Undone

_PIECE = 500
"""Rows or parents that are asked for at once."""


def current_fits(session: OrmSession, model: str) -> dict[str, schema.PaintFit]:
    """Return the fits in use by a model, by nickname, without their packed tables."""
    query = (
        select(schema.PaintFit)
        .where(schema.CURRENT, schema.PaintFit.model == model)
        .options(
            defer(schema.PaintFit.patches),
            defer(schema.PaintFit.residuals),
            defer(schema.PaintFit.quality),
        )
    )
    return {row.paint.nickname: row for row in session.scalars(query)}


def checks_of(session: OrmSession, fits: Collection[int]) -> list[tuple[schema.Check, str, str]]:
    """Return the judged patches of some fits, each with its card and scanner (empty: none)."""
    query = (
        select(schema.Check, schema.Card.name, schema.Device.name)
        .join(schema.Card)
        .outerjoin(schema.Calibration, schema.Calibration.id == schema.Check.calibration_id)
        .outerjoin(schema.Device, schema.Device.id == schema.Calibration.device_id)
        .order_by(schema.Check.id)
    )
    rows = session.execute(query)
    return [(check, card, scanner or "") for check, card, scanner in rows if check.fit_id in fits]


def rested_on(
    session: OrmSession, fits: Collection[schema.Fit], checked: Collection[str]
) -> tuple[list[int], list[int]]:
    """Return the sessions that fits and checks rest on, and the cards as the fits took them."""
    undone = Undone.of(session)
    inputs = [item for fit in fits for item in fit.inputs["sessions"]]
    sessions = {item["session"] for item in inputs}
    scanned = [item for fit in fits for item in fit.inputs.get("scans", ())]
    versions = {item["card_version"] for item in (*inputs, *scanned)}
    held_out = select(schema.Card).where(schema.Card.name.in_(checked))
    for card in session.scalars(held_out) if checked else ():
        newest = undone.newest(card)
        if newest is not None:
            versions.add(newest.id)
            of_card = select(schema.Session.id).where(
                schema.Session.card_id == card.id, schema.Session.state == "dry"
            )
            sessions |= set(session.scalars(of_card)) - undone.sessions
    cards: dict[int, int] = {}
    query = select(schema.CardVersion.id, schema.CardVersion.card_id).order_by(
        schema.CardVersion.id
    )
    for version, number in session.execute(query):
        if version in versions:
            cards[number] = version
    return sorted(sessions), sorted(cards.values())


def card_rows(session: OrmSession, versions: Sequence[int]) -> Iterator[dict[str, Any]]:
    """Cards as some versions have them, by name."""
    v = schema.CardVersion
    query = (
        select(
            schema.Card.name.label("card"),
            v.id, v.purpose, v.layout, v.date, v.balance_g, v.sealed, v.note, v.sha256,
        )
        .join(v, v.card_id == schema.Card.id)
    )  # fmt: skip
    yield from _wanted(session, query, versions, "id", "card")


def drawdown_rows(session: OrmSession, versions: Sequence[int]) -> Iterator[dict[str, Any]]:
    """Drawdowns of some versions of cards, by card."""
    d, paint, white = schema.Drawdown, _named("painted"), _named("white")
    query = (
        select(
            schema.Card.name.label("card"), d.id, d.card_version_id, d.step,
            paint.c.nickname.label("paint"), white.c.nickname.label("white"),
            d.masses, d.taken_from, d.taken_g, d.lots, d.over, d.opaque, d.gap_um,
            d.thickness_um, d.surface, d.coats, d.hours_dried,
        )
        .join(schema.CardVersion, d.card_version_id == schema.CardVersion.id)
        .join(schema.Card)
        .join(paint, d.paint_id == paint.c.id, isouter=True)
        .join(white, d.white_id == white.c.id, isouter=True)
    )  # fmt: skip
    yield from _wanted(session, query, versions, "card_version_id", "card", "id")


def _named(alias: str) -> Any:
    return select(schema.Paint.id, schema.Paint.nickname).subquery(alias)


def session_rows(session: OrmSession, wanted: Sequence[int]) -> Iterator[dict[str, Any]]:
    """Sessions by number, with their card, device and calibration."""
    s, device, calibration = schema.Session, schema.Device, schema.Calibration
    query = (
        select(
            s.id.label("session"), schema.Card.name.label("card"), s.file, s.sha256, s.format,
            s.unit, s.geometry, s.specular, s.condition, s.state, s.date, s.wavelengths,
            s.corrections,
            device.name.label("device"), device.serial,
            calibration.kind, calibration.done,
        )
        .join(schema.Card)
        .join(device, s.device_id == device.id, isouter=True)
        .join(calibration, s.calibration_id == calibration.id, isouter=True)
    )  # fmt: skip
    yield from _wanted(session, query, wanted, "session", "session")


def reading_rows(session: OrmSession, wanted: Sequence[int]) -> Iterator[dict[str, Any]]:
    """Readings of some sessions, by session.

    The figures stand as they were kept, without making numbers of them and text again.
    """
    r = schema.Reading
    query = select(
        r.session_id.label("session"), r.id, r.patch, r.repeat,
        cast(r.reflectance, Text).label("reflectance"), cast(r.flags, Text).label("flags"),
        cast(r.corrected, Text).label("corrected"),
    )  # fmt: skip
    yield from _wanted(session, query, wanted, "session", "session", "id")


def _wanted(
    session: OrmSession, query: Any, wanted: Sequence[int], key: str, *order: str
) -> Iterator[dict[str, Any]]:
    """Rows of a query whose `key` is wanted, in order, some at a time."""
    column = next(c for c in query.selected_columns if c.key == key)
    if order[0] == key:
        for i in range(0, len(wanted), _PIECE):
            some = query.where(column.in_(wanted[i : i + _PIECE])).order_by(*order)
            yield from (dict(row) for row in session.execute(some).mappings())
        return
    found: list[Any] = []
    for i in range(0, len(wanted), _PIECE):
        found += session.execute(query.where(column.in_(wanted[i : i + _PIECE]))).mappings().all()
    # Databases sort words in ways of their own.
    for row in sorted(found, key=lambda row: tuple(row[name] for name in order)):
        yield dict(row)


def packed_nuisances(session: OrmSession, fit: int) -> bytes:
    """Return the packed table of a fit's nuisance values."""
    return session.scalars(select(schema.Fit.nuisances).where(schema.Fit.id == fit)).one()


def packed_of(
    session: OrmSession, current: Mapping[str, schema.PaintFit], column: Any
) -> Iterator[tuple[str, bytes]]:
    """Read one packed table of each fit in use, in order, where it has one: nickname, bytes."""
    nicknames = list(current)
    for start in range(0, len(nicknames), _PIECE):
        some = {current[nickname].id: nickname for nickname in nicknames[start : start + _PIECE]}
        query = select(schema.PaintFit.id, column).where(schema.PaintFit.id.in_(some))
        found = {number: packed for number, packed in session.execute(query)}
        yield from (
            (nickname, found[number])
            for number, nickname in some.items()
            if found[number] is not None
        )


def scans_of(session: OrmSession, fits: Iterable[schema.Fit]) -> list[int]:
    """Return the numbers of the scans that fits rest on, or were judged by."""
    fits = list(fits)
    fitted = {item["scan"] for fit in fits for item in fit.inputs.get("scans", ())}
    return sorted(fitted | _judging(session, {fit.id for fit in fits}))


def _judging(session: OrmSession, fits: Collection[int]) -> set[int]:
    """Scans of the mixtures that judged the fits, by the devices that did."""
    of_card = select(schema.Check.card_id, schema.Check.calibration_id).where(
        schema.Check.calibration_id.is_not(None), schema.Check.fit_id.in_(sorted(fits))
    )
    judged = {(card, calibration) for card, calibration in session.execute(of_card.distinct())}
    if not judged:
        return set()
    undone = Undone.of(session)
    query = (
        select(schema.Scan)
        .where(schema.Scan.card_id.in_(sorted({card for card, _ in judged})))
        .order_by(schema.Scan.id)
    )
    # Of one picture the last attempt counts.
    last = {
        (row.card_id, row.sha256): row
        for row in session.scalars(query)
        if row.id not in undone.scans
    }
    return {row.id for row in last.values() if (row.card_id, row.calibration_id) in judged}


def scan_rows(session: OrmSession, numbers: Iterable[int]) -> Iterator[schema.Scan]:
    """Some scans, one at a time."""
    for number in numbers:
        yield session.get_one(schema.Scan, number)


def scanner_rows(session: OrmSession, scans: Sequence[int]) -> Iterator[schema.Calibration]:
    """The characterisations that some scans were read with."""
    used = select(schema.Scan.calibration_id).where(schema.Scan.id.in_(scans))
    query = select(schema.Calibration).where(schema.Calibration.id.in_(used))
    yield from session.scalars(query.order_by(schema.Calibration.id))
