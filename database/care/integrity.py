"""Looks a studio over: is it whole, does anything hang loose, is anything out of date."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import InstrumentedAttribute
from sqlalchemy.orm import Session as OrmSession

from ...calibrate.errors import InputError, Remedy
from ..common.remedies import StudioDo
from ..releases.gates import stale_fits
from ..releases.publish import releases
from ..releases.verify import verify_release
from ..store import schema
from ..store.imports import Undone
from ..store.packing import unpack_coefficients
from ..store.store import Store

CALIBRATION_HOLDS = timedelta(days=1)
"""How long a calibration on the tile holds (common practice, no source)."""


@dataclass(frozen=True)
class Finding:
    """Something found.

    Attributes
    ----------
    kind : {"integrity", "orphan", "stale"}
    broken : bool
        Whether the studio can't be relied on as it is.
    words : str
    do : str or Remedy
        What to do about it.
    """

    kind: str
    broken: bool
    words: str
    do: str | Remedy

    def as_dict(self) -> dict[str, Any]:
        """Return it for machines."""
        return vars(self)


def check_studio(store: Store, progress: Callable[[str], None] = lambda _: None) -> list[Finding]:
    """Look a studio over.

    Parameters
    ----------
    store : Store
    progress : callable, optional
        Called with what goes on.

    Returns
    -------
    list of Finding
        What is broken first; empty where all is well.
    """
    found: list[Finding] = []
    with store.snapshot() as session:
        for what, look in (
            ("the database", _database),
            ("cards", _cards),
            ("readings", _readings),
            ("fits", _fits),
            ("calibrations", _calibrations),
            ("sittings", _sittings),
        ):
            progress(what)
            found += look(session)
        found += [
            Finding("stale", False, words, StudioDo.FIT_AGAIN()) for words in stale_fits(session)
        ]
    progress("releases")
    found += _releases(store)
    return sorted(found, key=lambda finding: not finding.broken)


def _damaged(kind: str, words: str) -> Finding:
    """Something that only a backup mends."""
    return Finding(kind, True, words, StudioDo.RESTORE())


def _database(session: OrmSession) -> Iterable[Finding]:
    connection = session.connection()
    if connection.dialect.name != "sqlite":
        return
    for (said,) in connection.exec_driver_sql("PRAGMA integrity_check(5)"):
        if said != "ok":
            yield _damaged("integrity", f"the database file is damaged: {said}")
    for row in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield _damaged(
            "orphan", f"row {row[1]} of {row[0]} belongs to a row of {row[2]} that is gone"
        )


def _cards(session: OrmSession) -> Iterable[Finding]:
    for version in session.scalars(select(schema.CardVersion)):
        if hashlib.sha256(version.text.encode()).hexdigest() != version.sha256:
            yield _damaged("integrity", f"card {version.card.name} isn't as its file was")


def _readings(session: OrmSession) -> Iterable[Finding]:
    yield from _empty(session, "session", schema.Session, schema.Reading.session_id, "readings")
    yield from _empty(session, "scan", schema.Scan, schema.ScanPatch.scan_id, "patches")
    undone = Undone.of(session)
    read = _cards_of(session, schema.Session, undone.sessions)
    read |= _cards_of(session, schema.Scan, undone.scans)
    for card in session.scalars(select(schema.Card).order_by(schema.Card.name)):
        if undone.newest(card) is not None and card.id not in read:
            yield Finding("orphan", False, f"card {card.name} was never read", StudioDo.READ())


def _empty(
    session: OrmSession,
    what: str,
    table: type[schema.Session | schema.Scan],
    owner: InstrumentedAttribute[int],
    held: str,
) -> Iterable[Finding]:
    """Files that were taken in, and of which no row holds what they held."""
    filled = set(session.scalars(select(owner).distinct()))
    for number, file in session.execute(select(table.id, table.file).order_by(table.id)):
        if number not in filled:
            yield _damaged("orphan", f"{what} {number} ({file}) has no {held}")


def _cards_of(
    session: OrmSession, table: type[schema.Session | schema.Scan], undone: Collection[int]
) -> set[int]:
    """Return the cards of what was taken in and not undone, by their ids."""
    rows = session.execute(select(table.id, table.card_id))
    return {card for number, card in rows if number not in undone}


def _fits(session: OrmSession) -> Iterable[Finding]:
    sessions, scans = _hashes(session, schema.Session), _hashes(session, schema.Scan)
    for fit, inputs, packed, sha256 in session.execute(
        select(
            schema.Fit.id,
            schema.Fit.inputs,
            schema.Fit.coefficients,
            schema.Fit.coefficients_sha256,
        )
    ):
        if hashlib.sha256(packed).hexdigest() != sha256:
            yield _damaged("integrity", f"the numbers of fit {fit} were changed")
            continue
        coefficients = unpack_coefficients(packed)
        bad = (coefficients.k < 0) | (coefficients.s < 0)
        if bad.any() or np.isinf([coefficients.k, coefficients.s]).any():
            words = f"fit {fit} has a K or S that can't be"
            yield Finding("integrity", True, words, StudioDo.FIT_AGAIN())
        for what, items, known in (
            ("session", inputs["sessions"], sessions),
            ("scan", inputs.get("scans", ()), scans),
        ):
            for item in items:
                if known.get(item[what]) != item["sha256"]:
                    yield _damaged(
                        "orphan", f"fit {fit} rests on {what} {item[what]}, which is gone"
                    )


def _hashes(session: OrmSession, table: type[schema.Session | schema.Scan]) -> dict[int, str]:
    """Return the hash of each file that was taken in, by its number."""
    return {number: sha256 for number, sha256 in session.execute(select(table.id, table.sha256))}


def _calibrations(session: OrmSession) -> Iterable[Finding]:
    undone = Undone.of(session)
    query = (
        select(
            schema.Session.id, schema.Session.date, schema.Device.name, schema.Calibration.done
        )
        .join(schema.Device, schema.Session.device_id == schema.Device.id)
        .join(schema.Calibration, schema.Session.calibration_id == schema.Calibration.id)
    )  # fmt: skip
    for number, read_on, device, done in session.execute(query):
        if number in undone.sessions or not read_on:
            continue
        late = date.fromisoformat(read_on[:10]) - date.fromisoformat(done[:10])
        if late > CALIBRATION_HOLDS:
            when = f"{late.days} days after its calibration"
        elif late < timedelta(0):
            when = f"on {read_on[:10]}, but the calibration that it names is of {done[:10]}"
        else:
            continue
        yield Finding(
            "stale",
            False,
            f"session {number} was read with {device} {when}",
            "calibrate on the day, and read its card again",
        )


def _sittings(session: OrmSession) -> Iterable[Finding]:
    for row in session.scalars(select(schema.Sitting).where(schema.Sitting.ended.is_(None))):
        yield Finding(
            "stale", False, f"card {row.card.name} is being measured since {row.started}",
            StudioDo.GO_ON(card=row.card.name),
        )  # fmt: skip


def _releases(store: Store) -> Iterable[Finding]:
    folder = store.studio.releases
    rows = releases(store)
    for row in rows:
        places = [folder / row.name, folder / f"{row.name}.zip"]
        there = [place for place in places if place.exists()]
        if not there:
            yield Finding(
                "orphan", False, f"release {row.version} was published, but isn't in {folder}",
                "bring its zip back there",
            )  # fmt: skip
        for place in there:
            try:
                problems = verify_release(place, row.digest)
            except InputError as error:
                problems = [str(error)]
            if problems:
                yield Finding(
                    "integrity", True, f"release {place.name}: {problems[0]}",
                    "don't mix by it; bring it back from where you shared it",
                )  # fmt: skip
    names = {f"{row.name}{end}" for row in rows for end in ("", ".zip", ".zip.sha256")}
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        if path.name not in names:
            yield Finding(
                "orphan", False, f"{path.name} in {folder.name} is of no release published here",
                "delete it, or adopt it if it is another studio's",
            )  # fmt: skip
