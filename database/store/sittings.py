"""Sittings with an instrument: each reading kept as it comes, in the end a session made of them.

A sitting is open until it is finished or given up, and can be gone on with meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session as OrmSession

from ...calibrate.errors import Field, InputError
from ...calibrate.formats.session import Session
from ...calibrate.instrument.instrument import Identity
from ...calibrate.instrument.made_session import instrument_name, session_of_sitting
from ...calibrate.instrument.profile import Profile
from ...calibrate.instrument.profile_file import parse_profile
from ...calibrate.instrument.progress import VOID, Progress, RawReading
from ...calibrate.instrument.sitting import Correcting
from ...calibrate.optics.spectra import Array
from ..common.remedies import StudioDo
from . import schema
from .cards import Cards
from .imports import Imports
from .readings import Readings
from .tiles import earlier_tiles
from .transactions import Transactions, now


@dataclass(frozen=True)
class Sitting:
    """An open sitting.

    Attributes
    ----------
    started : str
        UTC, ISO 8601.
    profile : Profile
        As it was when it began.
    tiles : str or None
        File of the tiles' certified values.
    """

    number: int
    card: str
    started: str
    profile: Profile
    port: str
    repeats: int
    tiles: str | None = None


class Sittings:
    """Sittings, open and ended."""

    def __init__(
        self, database: Transactions, cards: Cards, readings: Readings, imports: Imports
    ) -> None:
        self._database = database
        self._cards = cards
        self._readings = readings
        self._imports = imports

    def begin(
        self,
        card: str,
        profile: Profile,
        port: str,
        repeats: int,
        anew: bool = False,
        tiles: Path | None = None,
    ) -> Sitting:
        """Open a sitting.

        Parameters
        ----------
        repeats : int
            How often each patch is read.
        anew : bool
            Give up one of this card that is open.
        tiles : Path, optional
            File of the tiles' certified values, for going on.

        Raises
        ------
        InputError
            Where there is no such card, or a sitting of it is open.
        """
        with self._database.transaction() as session:
            self._cards.find(card)  # refuses one that isn't there
            for row in _open_rows(session):
                if row.card.name != card:
                    continue
                if not anew:
                    raise InputError(
                        None, f"card {card}", f"a sitting of it is open since {row.started}",
                        StudioDo.GO_ON_OR_ANEW(card=card),
                    )  # fmt: skip
                row.ended = now()
            row = schema.Sitting(
                card=session.scalars(select(schema.Card).where(schema.Card.name == card)).one(),
                started=now(),
                profile=profile.text,
                plan={"profile": profile.file, "port": port, "repeats": repeats}
                | ({} if tiles is None else {"tiles": str(tiles.absolute())}),
                skipped=[],
            )
            session.add(row)
            session.flush()
            return _sitting(row)

    def open(self) -> list[Sitting]:
        """Every sitting that is neither finished nor given up, the newest last."""
        with self._database.snapshot() as session:
            return [_sitting(row) for row in _open_rows(session)]

    def all(self) -> list[Sitting]:
        """Every sitting that there ever was, the newest last."""
        with self._database.snapshot() as session:
            query = select(schema.Sitting).order_by(schema.Sitting.id)
            return [_sitting(row) for row in session.scalars(query)]

    def find(self, card: str | None = None) -> Sitting:
        """Return the sitting to go on with.

        Raises
        ------
        InputError
            Where there is none, or more than one could be meant.
        """
        found = [each for each in self.open() if card in (None, each.card)]
        if not found:
            of = f" of card {card}" if card else ""
            raise InputError(
                None, Field("resume"), f"no sitting{of} is open", StudioDo.BEGIN_SITTING()
            )
        if len({each.card for each in found}) > 1:
            raise InputError(
                None, Field("resume"),
                f"several are open: {', '.join(each.card for each in found)}",
                StudioDo.NAME_CARD_SITTING(),
            )  # fmt: skip
        return found[-1]

    def progress(self, sitting: Sitting) -> Progress:
        """Return how far a sitting has come."""
        with self._database.snapshot() as session:
            rows = session.scalars(
                select(schema.SittingReading)
                .where(schema.SittingReading.sitting_id == sitting.number)
                .order_by(schema.SittingReading.id)
            )
            readings = [
                RawReading(
                    row.place, row.round, row.repeat, row.taken,
                    np.array(row.reflectance, dtype=float), row.said,
                )
                for row in rows
            ]  # fmt: skip
            skipped = session.get_one(schema.Sitting, sitting.number).skipped
        return Progress(sitting.repeats, readings, skipped)

    def keep(self, sitting: Sitting, reading: RawReading, identity: Identity) -> None:
        """Keep one reading; it is on the disk when this returns.

        One of a tile or the trap also goes to the calibrations of the instrument.

        Raises
        ------
        InputError
            Where another program goes on with the same sitting.
        """
        values = [None if np.isnan(v) else v for v in reading.values.tolist()]
        row = schema.SittingReading(
            sitting_id=sitting.number,
            place=reading.place,
            round=reading.round,
            repeat=reading.repeat,
            taken=reading.taken,
            reflectance=values,
            said=dict(reading.said),
        )
        try:
            with self._database.transaction() as session:
                session.add(row)
                if reading.is_tile and VOID not in reading.said:
                    session.add(
                        schema.Calibration(
                            device=_device(session, sitting.profile, identity),
                            done=reading.taken,
                            kind=reading.place,
                            result={
                                "sitting": sitting.number,
                                "wavelengths": sitting.profile.wavelengths.tolist(),
                                "reflectance": values,
                                **{k: v for k, v in reading.said.items() if k != "dialogue"},
                            },
                        )
                    )
        except IntegrityError:
            raise InputError(
                None,
                f"reading of {reading.place}",
                "another program goes on with the same sitting",
                "end one of them",
            ) from None

    def skip(self, sitting: Sitting, patch: str) -> None:
        """Keep that a patch was passed over."""
        with self._database.transaction() as session:
            row = session.get_one(schema.Sitting, sitting.number)
            row.skipped = [*(p for p in row.skipped if p != patch), patch]

    def instrument(self, sitting: Sitting) -> Identity:
        """Return who the instrument of a sitting said it was; empty where that isn't known yet."""
        with self._database.snapshot() as session:
            last = next(reversed(_calibrations(session, sitting)), None)
            said = (last.device.profile or {}) if last is not None else {}
        return Identity(**{field: said.get(field, "") for field in vars(Identity())})

    def earlier_tiles(self, sitting: Sitting, identity: Identity) -> list[dict[str, Array]]:
        """What the instrument read of its tiles in earlier sittings, the newest first."""
        with self._database.snapshot() as session:
            return earlier_tiles(
                session,
                instrument_name(sitting.profile, identity),
                sitting.profile.wavelengths,
                sitting.number,
            )

    def finish(
        self,
        sitting: Sitting,
        identity: Identity,
        wet: bool = False,
        tiles: Session | None = None,
        tiles_are_clean: bool = False,
    ) -> tuple[int, Session]:
        """Make a session of a sitting, as if its readings had been read from a file, and close it.

        It is corrected by the tiles that were read in between; `tiles` are their certified values.
        `tiles_are_clean` says that those at odds with them were looked at.

        Returns
        -------
        number : int
            Of the session.
        session : Session

        Raises
        ------
        InputError
            Where nothing was read, or a tile is at odds with its certificate or earlier sittings.
        """
        progress = self.progress(sitting)
        correcting = Correcting(
            tiles,
            sitting.profile.optics,
            # One that was at odds, and is gone by all the same, was looked at as it was read.
            tiles_are_clean=tiles_are_clean
            or any(r.is_tile and "doubt" in r.said for r in progress.readings),
            earlier=lambda _: self.earlier_tiles(sitting, identity),
        )
        if not progress.places():
            file = f"{sitting.card}, measured {sitting.started}"
            raise InputError(file, None, "no patch was read", StudioDo.GO_ON(card=sitting.card))
        made = session_of_sitting(
            sitting.card, sitting.started, sitting.profile, progress, identity, wet, correcting
        )
        with self._database.transaction() as session:
            number = self._readings.add(sitting.card, made, _calibrations(session, sitting))
            self._imports.record([made.file], [number], [])
            row = session.get_one(schema.Sitting, sitting.number)
            row.ended, row.session_id = now(), number
            kept = session.get_one(schema.Session, number).device
            if kept is not None:
                _describe(kept, sitting.profile, identity)
        return number, made


def _calibrations(session: OrmSession, sitting: Sitting) -> list[schema.Calibration]:
    """What the instrument read of its tiles in a sitting, in order."""
    since = session.scalars(
        select(schema.Calibration)
        .where(schema.Calibration.done >= sitting.started.removesuffix("Z"))
        .order_by(schema.Calibration.id)
    )
    return [row for row in since if row.result.get("sitting") == sitting.number]


def _device(session: OrmSession, profile: Profile, identity: Identity) -> schema.Device:
    name = instrument_name(profile, identity)
    found = session.scalar(select(schema.Device).where(schema.Device.name == name))
    return _describe(found or schema.Device(name=name), profile, identity)


def _describe(device: schema.Device, profile: Profile, identity: Identity) -> schema.Device:
    said: dict[str, Any] = {"name": profile.name, "text": profile.text, **vars(identity)}
    device.serial = identity.serial
    if device.profile != said:
        device.profile = said
    return device


def _open_rows(session: OrmSession) -> list[schema.Sitting]:
    query = select(schema.Sitting).where(schema.Sitting.ended.is_(None)).order_by(schema.Sitting.id)
    return list(session.scalars(query))


def _sitting(row: schema.Sitting) -> Sitting:
    return Sitting(
        row.id,
        row.card.name,
        row.started,
        parse_profile(row.profile, row.plan["profile"]),
        row.plan["port"],
        row.plan["repeats"],
        row.plan.get("tiles"),
    )
