"""Scans of cards with their channels, in the studio database."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import joinedload

from ...calibrate.cards.channels import CardChannels, one_sided
from ...calibrate.optics.spectra import Array
from ...calibrate.optics.surface import Surface
from . import schema
from .cards import card_of, last_version, likely_cards
from .imports import Undone
from .transactions import Subject, now

if TYPE_CHECKING:
    # Only what reads pictures needs the libraries for it.
    from ...calibrate.scan.image import Facts
    from ...calibrate.scan.reading import ScannedCard


@dataclass(frozen=True, kw_only=True)
class StoredChannels(CardChannels):
    """Channels of a card together with where the studio keeps both, so that a fit can name them.

    Attributes
    ----------
    scan_sha256 : str
        Of the picture.
    calibration : int or None
        None where its device isn't characterised.
    lab : (N, 3) array
        CIELAB, D50 and 2 degrees, as the device's characterisation has it.
    """

    scan: int
    scan_sha256: str
    card_version: int
    card_sha256: str
    calibration: int | None
    lab: Array


class Scans(Subject):
    """Scans of cards."""

    def add(
        self,
        scan: ScannedCard,
        facts: Facts,
        asked: Mapping[str, Any],
        calibration: int | None,
        remarks: Sequence[object],
    ) -> tuple[int, bool]:
        """Keep what was read of a picture, whole or not at all: its number, and whether it is new.

        The same picture read again in the same way is kept once; read in another way it is a
        further attempt, and the last one counts.
        """
        from ...calibrate.scan.settings import Settings

        channels = scan.channels
        with self._database.transaction() as session:
            version = last_version(session, channels.card.name, facts.file)
            query = select(schema.Scan).where(
                schema.Scan.card_id == version.card_id, schema.Scan.sha256 == facts.sha256
            )
            attempts = session.scalars(query.order_by(schema.Scan.attempt)).all()
            patches = _patch_rows(scan)
            last = attempts[-1] if attempts else None
            if last is not None and last.id not in Undone.of(session).scans:
                same = [_said(row) for row in last.patches] == [_said(row) for row in patches]
                if same and (last.calibration_id, last.asked) == (calibration, dict(asked)):
                    return last.id, False
            evened = scan.evened
            row = schema.Scan(
                card_id=version.card_id,
                calibration_id=calibration,
                file=facts.file,
                sha256=facts.sha256,
                attempt=len(attempts) + 1,
                taken=facts.taken,
                added=now(),
                settings=Settings.of(facts).as_dict(),
                dpi=float(scan.found.dpi),
                asked=dict(asked),
                level_from=scan.scale,
                evened={
                    "stray": float(evened.stray.share),
                    "stray_uncertainty": float(evened.stray.uncertainty),
                    "stray_typical": bool(evened.stray.typical),
                    "uneven": float(evened.uneven),
                    "level_uncertainty": channels.level,
                    "references": {k: v.tolist() for k, v in scan.references.items()},
                    "mended": list(scan.mended),
                },
                remarks=[str(remark) for remark in remarks],
                patches=patches,
            )
            session.add(row)
            session.flush()
            return row.id, True

    def references(self, calibration: int) -> dict[bool, dict[str, Array]]:
        """What a characterised device's pictures showed of their references, by label, (3,) each.

        The median over those of which nothing had to be set right; empty where there is none. Those
        whose level rests on a typical white (True) are by themselves.
        """
        found: dict[bool, dict[str, list[Array]]] = {True: {}, False: {}}
        with self._database.snapshot() as session:
            undone = Undone.of(session).scans
        rows = [row for row in self.rows(calibration_id=calibration) if row.id not in undone]
        for row in rows:
            if row.level_from in ("device", "grey", "white") and not row.evened.get("mended"):
                of = found[row.level_from == "white"]
                for label, value in row.evened.get("references", {}).items():
                    of.setdefault(label, []).append(np.array(value, dtype=float))
        return {
            white: {label: np.median(each, axis=0) for label, each in of.items()}
            for white, of in found.items()
        }

    def grey_of(self, card: str) -> float | None:
        """Reflectance of a card's bought grey pieces, as last said of a picture of it."""
        s = schema.Scan
        query = select(s).join(schema.Card).where(schema.Card.name == card).order_by(s.id.desc())
        with self._database.snapshot() as session:
            undone = Undone.of(session).scans
            said = (row.asked.get("grey") for row in session.scalars(query) if row.id not in undone)
            return next((grey for grey in said if grey is not None), None)

    def other_cards(self, card: str, sha256: str) -> list[str]:
        """Other cards that the same picture was read as, by its hash."""
        query = select(schema.Scan).join(schema.Card).where(schema.Scan.sha256 == sha256)
        with self._database.snapshot() as session:
            undone = Undone.of(session)
            rows = session.scalars(query.where(schema.Card.name != card))
            return sorted({row.card.name for row in rows if row.id not in undone.scans})

    def rows(self, **where: object) -> list[schema.Scan]:
        """Return scans as kept, undone ones too, by columns that say which; in their order."""
        query = select(schema.Scan).filter_by(**where).order_by(schema.Scan.id)
        with self._database.snapshot() as session:
            return list(session.scalars(query))

    def times(self) -> Sequence[Any]:
        """Return card_id, id, added and taken of every scan, undone ones too."""
        s = schema.Scan
        with self._database.snapshot() as session:
            return session.execute(select(s.card_id, s.id, s.added, s.taken)).all()

    def all(self, purpose: Literal["fit", "check"] = "fit") -> list[StoredChannels]:
        """Channels of every scan that counts, by card name, then by the picture's hash."""
        query = (
            select(schema.Scan)
            .where(schema.Scan.card_id.in_(likely_cards(purpose)))
            .order_by(schema.Scan.id)
            .options(joinedload(schema.Scan.card).selectinload(schema.Card.versions))
        )
        with self._database.snapshot() as session:
            undone = Undone.of(session)
            last = {
                (row.card.name, row.sha256): row
                for row in session.scalars(query)
                if row.id not in undone.scans
            }
            found = []
            for name, sha256 in sorted(last):
                row = last[name, sha256]
                version = undone.newest(row.card)
                if version is not None and version.purpose == purpose:
                    found.append(channels_of(row, version))
        return found


def channels_of(row: schema.Scan, version: schema.CardVersion) -> StoredChannels:
    """The channels that a scan keeps, with the card as one of its versions describes it."""
    paired = CardChannels(
        card_of(version),
        np.array([patch.channels for patch in row.patches], dtype=float),
        np.array([patch.variance for patch in row.patches], dtype=float),
        tuple(patch.patch for patch in row.patches),
        Surface.of("45:0", "excluded"),
        row.file,
        row.evened["level_uncertainty"],
        one_sided((patch.patch, patch.flag) for patch in row.patches),
    )
    return StoredChannels(
        **{f.name: getattr(paired, f.name) for f in fields(paired)},
        scan=row.id,
        scan_sha256=row.sha256,
        card_version=version.id,
        card_sha256=version.sha256,
        calibration=row.calibration_id,
        lab=np.array([patch.lab for patch in row.patches], dtype=float),
    )


def _patch_rows(scan: ScannedCard) -> list[schema.ScanPatch]:
    flags, repeats = dict(scan.flags), Counter[str]()
    rows, lab = [], scan.lab
    for i, label in enumerate(scan.channels.labels):
        repeats[label] += 1
        rows.append(
            schema.ScanPatch(
                patch=label,
                repeat=repeats[label],
                channels=scan.channels.channels[i].tolist(),
                variance=scan.channels.variance[i].tolist(),
                lab=lab[i].tolist(),
                spread=float(scan.spread[i]),
                left_out=float(scan.left_out[i]),
                flag=flags.get(label, ""),
            )
        )
    return rows


def _said(row: schema.ScanPatch) -> tuple[Any, ...]:
    return row.patch, row.repeat, row.channels, row.variance, row.flag
