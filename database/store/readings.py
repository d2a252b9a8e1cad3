"""What was read of cards, in the studio database: a session a file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields
from typing import Any, Literal, cast

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession
from sqlalchemy.orm import joinedload

from ...calibrate.cards.card import Card
from ...calibrate.cards.readings import CardReadings, check_patches, pair
from ...calibrate.errors import InputError
from ...calibrate.formats.session import Session
from ...calibrate.optics.spectra import Array, Spectra
from ..common.remedies import StudioDo
from . import schema
from .cards import card_of, last_version, likely_cards
from .imports import Undone
from .tiles import earlier_tiles, last_white, tile_calibrations
from .transactions import Subject, now


class AlreadyReadError(InputError):
    """The same file of readings is in the studio for that card."""


@dataclass(frozen=True)
class StoredReadings(CardReadings):
    """Readings of a card together with where the studio keeps both, so that a fit can name them."""

    session: int
    session_sha256: str
    card_version: int
    card_sha256: str


class Readings(Subject):
    """Sessions of readings."""

    def add(
        self,
        card: Card | str,
        readings: Session,
        calibrations: Sequence[schema.Calibration] | None = None,
    ) -> int:
        """Add a file of readings to a card, whole or not at all, and return its number.

        Readings of wet paint are kept too, but no fit takes them. `calibrations` are the readings
        of tiles where the studio has them already; else they come with the session.

        Raises
        ------
        InputError
            Where the card isn't there, a label is no patch of it, a reflectance is impossible, or
            the same file was read before.
        """
        name = card if isinstance(card, str) else card.name
        with self._database.transaction() as session:
            version = last_version(session, name, readings.file)
            check_patches(card_of(version), readings)
            known = select(schema.Session).where(
                schema.Session.card_id == version.card_id,
                schema.Session.sha256 == readings.sha256,
            )
            undone, attempts = Undone.of(session), session.scalars(known).all()
            before = next((row for row in attempts if row.id not in undone.sessions), None)
            if before is not None:
                raise AlreadyReadError(
                    readings.file,
                    None,
                    f"already read for card {name} ({before.added}, from {before.file})",
                    "nothing to do; the readings are in the studio",
                )
            device = _device(session, readings.device, readings.serial)
            if calibrations is None:
                calibrations = tile_calibrations(device, readings, now()) if device else []
                session.add_all(calibrations)
            row = schema.Session(
                card_id=version.card_id,
                device=device,
                calibration=last_white(calibrations),
                file=readings.file,
                sha256=readings.sha256,
                format=readings.format,
                unit=readings.unit,
                geometry=readings.geometry,
                specular=readings.specular,
                condition=readings.condition,
                state=readings.state,
                date=readings.date,
                header=dict(readings.header),
                wavelengths=readings.spectra.wavelengths.tolist(),
                added=now(),
                attempt=len(attempts) + 1,
                corrections=readings.corrections,
                readings=reading_rows(readings),
            )
            session.add(row)
            session.flush()
            return row.id

    def earlier_tiles(self, read: Session) -> list[dict[str, Array]]:
        """What the instrument of a session read of its tiles before, the newest sitting first."""
        with self._database.snapshot() as session:
            return earlier_tiles(session, read.device, read.spectra.wavelengths)

    def last(self, card: str) -> tuple[int, Session]:
        """Return the number of a card's last session that counts, and the session.

        Raises
        ------
        InputError
            Where there is no such card, or nothing was read of it.
        """
        with self._database.snapshot() as session:
            version = last_version(session, card)
            query = (
                select(schema.Session)
                .where(
                    schema.Session.card_id == version.card_id,
                    schema.Session.id.not_in(Undone.of(session).sessions),
                )
                .order_by(schema.Session.id.desc())
                .limit(1)
            )
            row = session.scalar(query)
            if row is None:
                raise InputError(None, f"card {card}", "nothing was read of it", StudioDo.READ())
            return row.id, session_of(row)

    def rows(self, **where: object) -> list[schema.Session]:
        """Return sessions as kept, undone ones too, by columns that say which; in their order."""
        query = select(schema.Session).filter_by(**where).order_by(schema.Session.id)
        with self._database.snapshot() as session:
            return list(session.scalars(query))

    def times(self) -> Sequence[Any]:
        """Return card_id, id, added, state and date of every session, undone ones too."""
        s = schema.Session
        with self._database.snapshot() as session:
            return session.execute(select(s.card_id, s.id, s.added, s.state, s.date)).all()

    def all(
        self, purpose: Literal["fit", "check"] = "fit", holding: Collection[str] = ()
    ) -> list[StoredReadings]:
        """Return every dry session with its card, by card name, then by the file's hash.

        The order doesn't depend on when each file was read, so neither does a fit. With `holding`,
        those of cards that hold any of these paints, and nothing is read of others.
        """
        query = (
            select(schema.Session)
            .where(
                schema.Session.state == "dry",
                schema.Session.card_id.in_(likely_cards(purpose, holding)),
            )
            .options(joinedload(schema.Session.card).selectinload(schema.Card.versions))
        )
        found = []
        with self._database.snapshot() as session:
            undone = Undone.of(session)
            # Databases sort words in ways of their own.
            rows = sorted(session.scalars(query), key=lambda row: (row.card.name, row.sha256))
            for row in rows:
                version = undone.newest(row.card)
                if version is None or row.id in undone.sessions or version.purpose != purpose:
                    continue
                card = card_of(version)
                if holding and not set(holding).intersection(card.paints):
                    continue
                paired = pair(card, session_of(row))
                found.append(
                    StoredReadings(
                        **{f.name: getattr(paired, f.name) for f in fields(paired)},
                        session=row.id,
                        session_sha256=row.sha256,
                        card_version=version.id,
                        card_sha256=version.sha256,
                    )
                )
        return found

    def cards(self, purpose: Literal["fit", "check"] = "fit") -> set[str]:
        """Return the names of the cards that `all` has readings of, without reading them."""
        query = (
            select(schema.Session.id, schema.Card.name, schema.CardVersion.id)
            .join(schema.Card, schema.Card.id == schema.Session.card_id)
            .join(schema.CardVersion, schema.CardVersion.card_id == schema.Card.id)
            .where(schema.Session.state == "dry", schema.CardVersion.purpose == purpose)
        )
        with self._database.snapshot() as session:
            undone = Undone.of(session)
            newest = undone.newest_of_all(session)
            return {
                name
                for number, name, version in session.execute(query)
                if number not in undone.sessions and version in newest
            }


def card_of_version(version: schema.CardVersion, session: schema.Session) -> CardReadings:
    """Return a session's readings with the card as one of its versions describes it."""
    return pair(card_of(version), session_of(session))


def session_of(row: schema.Session) -> Session:
    """Return the session that a row keeps, as it was read."""
    values = np.array([reading.reflectance for reading in row.readings], dtype=float)
    flags = np.array([reading.flags for reading in row.readings], dtype=np.uint16)
    labels = tuple(reading.patch for reading in row.readings)
    spectra = Spectra(np.array(row.wavelengths, dtype=float), values, labels, flags)
    corrected = None
    if row.corrections is not None:
        corrected = np.array([reading.corrected for reading in row.readings], dtype=float)
    return Session(
        spectra=spectra,
        file=row.file,
        sha256=row.sha256,
        format=row.format,
        # The table's own checks hold these to the words of their types.
        unit=cast(Any, row.unit),
        geometry=cast(Any, row.geometry),
        specular=cast(Any, row.specular),
        state=cast(Any, row.state),
        condition=row.condition,
        date=row.date,
        device=row.device.name if row.device else None,
        serial=row.device.serial or None if row.device else None,
        header=row.header,
        corrected=None if corrected is None else spectra.with_values(corrected),
        corrections=row.corrections,
    )


def reading_rows(read: Session) -> list[schema.Reading]:
    """Rows for the readings of a session, numbered within their patch."""
    spectra, repeats = read.spectra, Counter[str]()
    # A value that is missing is kept as nothing, for JSON has no word for it.
    kept, corrected = (
        np.where(np.isnan(each.values), np.array(None), each.values).tolist()
        for each in (spectra, read.corrected or spectra)
    )
    rows = []
    for i, label in enumerate(spectra.labels):
        repeats[label] += 1
        rows.append(
            schema.Reading(
                patch=label,
                repeat=repeats[label],
                reflectance=kept[i],
                flags=spectra.flags[i].tolist(),
                corrected=None if read.corrected is None else corrected[i],
            )
        )
    return rows


def _device(session: OrmSession, name: str | None, serial: str | None) -> schema.Device | None:
    """Return the instrument that a file names; two of one name are told apart by their numbers."""
    if not name:
        return None
    for called in (name, f"{name} {serial}"):
        known = session.scalar(select(schema.Device).where(schema.Device.name == called))
        if known is None:
            return schema.Device(name=called, serial=serial or "")
        if not serial or known.serial in ("", serial):
            known.serial = serial or known.serial
            break
    return known
