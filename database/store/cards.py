"""Cards, and what was read of them, in the studio database."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Literal, cast

from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from ...calibrate.cards.card import Card, Drawdown
from ...calibrate.cards.readings import CardReadings, pair
from ...calibrate.errors import InputError
from ...calibrate.formats.session import Session
from ..common.listing import few
from . import schema
from .imports import ImportStore, Undone
from .session_rows import reading_rows, session_of
from .tiles import last_white, tile_calibrations
from .transactions import now

_SAME = (
    "masses",
    "taken_from",
    "taken_g",
    "lots",
    "opaque",
    "gap_um",
    "thickness_um",
    "surface",
    "coats",
    "hours_dried",
)
"""Fields that a drawdown has in the database just as in memory."""


class AlreadyReadError(InputError):
    """The same file of readings is in the studio for that card."""


@dataclass(frozen=True)
class StoredReadings(CardReadings):
    """Readings of a card together with where the studio keeps both, so that a fit can name them.

    Attributes
    ----------
    session : int
    session_sha256 : str
    card_version : int
    card_sha256 : str
    """

    session: int
    session_sha256: str
    card_version: int
    card_sha256: str


class CardStore(ImportStore):
    """Cards and sessions."""

    def add_card(self, card: Card, text: str) -> Literal["added", "changed", "unchanged"]:
        """Add a card, or what its corrected file now says; earlier versions are kept.

        Raises
        ------
        InputError
            Where it names a paint that isn't in the studio, or no longer has a patch that was read.
        """
        sha256 = hashlib.sha256(text.encode()).hexdigest()
        with self.transaction() as session:
            row = session.scalar(select(schema.Card).where(schema.Card.name == card.name))
            undone = Undone.of(session)
            holds = undone.newest(row) if row is not None else None
            if holds is not None and holds.sha256 == sha256:
                return "unchanged"
            outcome: Literal["added", "changed"] = "added" if holds is None else "changed"
            if row is None:
                row = schema.Card(name=card.name)
                session.add(row)
            else:
                _check_patches_remain(session, row, card, undone)
            row.versions.append(_version(session, card, text, sha256))
            session.flush()
            return outcome

    def card(self, name: str) -> Card:
        """Return a card as its last version describes it.

        Raises
        ------
        InputError
            Where there is none of that name.
        """
        with self.snapshot() as session:
            return card_of(last_version(session, name))

    def cards(self) -> list[Card]:
        """Every card, by name."""
        with self.snapshot() as session:
            undone = Undone.of(session)
            rows = session.scalars(select(schema.Card).order_by(schema.Card.name))
            return [card_of(row) for card in rows if (row := undone.newest(card)) is not None]

    def card_version(self, name: str) -> int:
        """Return the number of the version of a card that holds.

        Raises
        ------
        InputError
            Where there is none of that name.
        """
        with self.snapshot() as session:
            return last_version(session, name).id

    def add_session(
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
        with self.transaction() as session:
            version = last_version(session, name, readings.file)
            pair(card_of(version), replace(readings, state="dry"))
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

    def last_session(self, card: str) -> tuple[int, Session]:
        """Return the number of a card's last session that counts, and the session.

        Raises
        ------
        InputError
            Where there is no such card, or nothing was read of it.
        """
        with self.snapshot() as session:
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
                raise InputError(
                    None, f"card {card}", "nothing was read of it", "read it: tintladder read"
                )
            return row.id, session_of(row)

    def card_readings(self, purpose: Literal["fit", "check"] = "fit") -> list[StoredReadings]:
        """Return every dry session with its card, by card name, then by the file's hash.

        The order doesn't depend on when each file was read, so neither does a fit.
        """
        query = select(schema.Session).join(schema.Card).where(schema.Session.state == "dry")
        found = []
        with self.snapshot() as session:
            undone = Undone.of(session)
            # Databases sort words in ways of their own.
            rows = sorted(session.scalars(query), key=lambda row: (row.card.name, row.sha256))
            for row in rows:
                version = undone.newest(row.card)
                if version is None or row.id in undone.sessions or version.purpose != purpose:
                    continue
                paired = pair(card_of(version), session_of(row))
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


def card_of_version(version: schema.CardVersion, session: schema.Session) -> CardReadings:
    """Return a session's readings with the card as one of its versions describes it."""
    return pair(card_of(version), session_of(session))


def last_version(session: OrmSession, name: str, file: str | None = None) -> schema.CardVersion:
    """Return the version of a card that holds.

    Raises
    ------
    InputError
        Where there is none of that name.
    """
    row = session.scalar(select(schema.Card).where(schema.Card.name == name))
    undone = Undone.of(session)
    version = undone.newest(row) if row is not None else None
    if version is None:
        cards = session.scalars(select(schema.Card).order_by(schema.Card.name))
        names = [card.name for card in cards if undone.newest(card) is not None]
        there = f" (there are: {few(names)})" if names else ""
        raise InputError(
            file,
            None,
            f"the studio has no card {name}{there}",
            "read the card's file first, or name it with --card",
        )
    return version


def _version(session: OrmSession, card: Card, text: str, sha256: str) -> schema.CardVersion:
    paints = {row.nickname: row for row in session.scalars(select(schema.Paint))}
    for i, drawdown in enumerate(card.drawdowns, 1):
        named = {f"masses.{paint}": paint for paint in drawdown.masses}
        named |= {"paint": drawdown.paint or "", "white": drawdown.white or ""}
        for where, paint in named.items():
            if paint and paint not in paints:
                raise InputError(
                    card.file,
                    f"drawdown {i}, {where}",
                    f"the studio has no paint with the nickname {paint}",
                    "add it with tintladder tubes add, or mend the nickname",
                )
    return schema.CardVersion(
        file=card.file,
        text=text,
        sha256=sha256,
        added=now(),
        purpose=card.purpose,
        layout=card.layout,
        date=card.date,
        balance_g=card.balance_g,
        sealed=card.sealed,
        note=card.note,
        drawdowns=[
            schema.Drawdown(
                step=drawdown.step,
                paint=paints[drawdown.paint] if drawdown.paint else None,
                white=paints[drawdown.white] if drawdown.white else None,
                over=list(drawdown.over),
                **{key: getattr(drawdown, key) for key in _SAME if key not in ("masses", "lots")},
                masses=dict(drawdown.masses),
                lots=dict(drawdown.lots),
            )
            for drawdown in card.drawdowns
        ],
    )


def card_of(version: schema.CardVersion) -> Card:
    """Return the card that a version keeps."""
    return Card(
        name=version.card.name,
        file=version.file,
        drawdowns=tuple(
            Drawdown(
                step=row.step,
                paint=row.paint.nickname if row.paint else None,
                white=row.white.nickname if row.white else None,
                over=tuple(row.over),
                **{key: getattr(row, key) for key in _SAME},
            )
            for row in version.drawdowns
        ),
        purpose=cast(Any, version.purpose),
        layout=version.layout,
        date=version.date,
        balance_g=version.balance_g,
        sealed=version.sealed,
        note=version.note,
    )


def _check_patches_remain(
    session: OrmSession, row: schema.Card, card: Card, undone: Undone
) -> None:
    read = session.execute(
        select(schema.Reading.patch, schema.Session.file)
        .join(schema.Session)
        .where(schema.Session.card_id == row.id, schema.Session.id.not_in(undone.sessions))
        .order_by(schema.Reading.id)
    )
    scanned = session.execute(
        select(schema.ScanPatch.patch, schema.Scan.file)
        .join(schema.Scan)
        .where(schema.Scan.card_id == row.id, schema.Scan.id.not_in(undone.scans))
        .order_by(schema.ScanPatch.id)
    )
    for patch, file in (*read, *scanned):
        if patch not in card.patches:
            raise InputError(
                card.file,
                f"patch {patch}",
                f"was read ({file}) but is no longer on card {card.name}",
                "keep the step under its name, or give the changed card a new name",
            )


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
