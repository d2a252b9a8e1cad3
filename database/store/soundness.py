"""What a check of the studio reads of the store: damage, and rows that hang loose."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from . import schema
from .imports import Undone

_Taken = type[schema.Session | schema.Scan]


def file_damage(session: OrmSession) -> list[str]:
    """Say what is damaged of the database file, where it is one."""
    connection = session.connection()
    if connection.dialect.name != "sqlite":
        return []
    rows = connection.exec_driver_sql("PRAGMA integrity_check(5)")
    return [said for (said,) in rows if said != "ok"]


def lost_parents(session: OrmSession) -> list[tuple[int, str, str]]:
    """Return rows that belong to one that is gone: their number, table, and the other's table."""
    connection = session.connection()
    if connection.dialect.name != "sqlite":
        return []
    rows = connection.exec_driver_sql("PRAGMA foreign_key_check")
    return [(row[1], row[0], row[2]) for row in rows]


def changed_cards(session: OrmSession) -> Iterator[str]:
    """Names of cards of which a version isn't as its file was."""
    for version in session.scalars(select(schema.CardVersion)):
        if hashlib.sha256(version.text.encode()).hexdigest() != version.sha256:
            yield version.card.name


def emptied(session: OrmSession) -> Iterator[tuple[str, int, str, str]]:
    """Files that were taken in, and of which no row holds what they held.

    Yields
    ------
    kind : {"session", "scan"}
    number : int
    file : str
    held : str
        What is missing.
    """
    tables: tuple[tuple[str, _Taken, Any, str], ...] = (
        ("session", schema.Session, schema.Reading.session_id, "readings"),
        ("scan", schema.Scan, schema.ScanPatch.scan_id, "patches"),
    )
    for kind, table, owner, held in tables:
        filled = set(session.scalars(select(owner).distinct()))
        for number, file in session.execute(select(table.id, table.file).order_by(table.id)):
            if number not in filled:
                yield kind, number, file, held


def never_read(session: OrmSession) -> Iterator[str]:
    """Names of cards that hold, and of which nothing that holds was taken in."""
    undone = Undone.of(session)
    read = _cards_of(session, schema.Session, undone.sessions)
    read |= _cards_of(session, schema.Scan, undone.scans)
    for card in session.scalars(select(schema.Card).order_by(schema.Card.name)):
        if undone.newest(card) is not None and card.id not in read:
            yield card.name


def _cards_of(session: OrmSession, table: _Taken, undone: Collection[int]) -> set[int]:
    rows = session.execute(select(table.id, table.card_id))
    return {card for number, card in rows if number not in undone}


class KeptFit(NamedTuple):
    """A fit as it is kept; `packed` is None where its bytes were changed.

    `gone` are the files it rests on that are no longer there, by kind and number.
    """

    number: int
    packed: bytes | None
    gone: tuple[tuple[str, int], ...]


def kept_fits(session: OrmSession) -> Iterator[KeptFit]:
    """Every fit."""
    files = {"session": _hashes(session, schema.Session), "scan": _hashes(session, schema.Scan)}
    row = schema.Fit
    query = select(row.id, row.inputs, row.coefficients, row.coefficients_sha256)
    for fit, inputs, packed, sha256 in session.execute(query):
        whole = hashlib.sha256(packed).hexdigest() == sha256
        gone = tuple(
            (kind, item[kind])
            for kind, known in files.items()
            for item in inputs.get(f"{kind}s", ())
            if known.get(item[kind]) != item["sha256"]
        )
        yield KeptFit(fit, packed if whole else None, gone)


def _hashes(session: OrmSession, table: _Taken) -> dict[int, str]:
    return {number: sha256 for number, sha256 in session.execute(select(table.id, table.sha256))}


def calibrated_sessions(session: OrmSession) -> Iterator[tuple[int, str, str, str]]:
    """Sessions that hold and name a calibration: number, day, device, when it was calibrated."""
    undone = Undone.of(session)
    query = (
        select(
            schema.Session.id, schema.Session.date, schema.Device.name, schema.Calibration.done
        )
        .join(schema.Device, schema.Session.device_id == schema.Device.id)
        .join(schema.Calibration, schema.Session.calibration_id == schema.Calibration.id)
    )  # fmt: skip
    for number, read_on, device, done in session.execute(query):
        if number not in undone.sessions and read_on:
            yield number, read_on, device, done
