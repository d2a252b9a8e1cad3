"""Cards in the studio database."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection
from typing import Any, Literal, cast

from sqlalchemy import Select, String, func, or_, select
from sqlalchemy import cast as cast_in_sql
from sqlalchemy.orm import Session as OrmSession
from sqlalchemy.orm import selectinload

from ...calibrate.cards.card import Card, Drawdown
from ...calibrate.errors import CalibrateDo, InputError
from ..common.remedies import StudioDo
from ..common.words import few
from . import schema
from .imports import Undone
from .in_use import hidden
from .transactions import Subject, now

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
_NAMED_AT_ONCE = 100
"""Paints that a query names at most; where more are asked for, nearly all cards are."""


class Cards(Subject):
    """Cards."""

    def add(self, card: Card, text: str) -> Literal["added", "changed", "unchanged"]:
        """Add a card, or what its corrected file now says; earlier versions are kept.

        Raises
        ------
        InputError
            Where it names a paint that isn't in the studio, or no longer has a patch that was read.
        """
        sha256 = hashlib.sha256(text.encode()).hexdigest()
        with self._database.transaction() as session:
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

    def find(self, name: str) -> Card:
        """Return a card as its last version describes it.

        Raises
        ------
        InputError
            Where there is none of that name.
        """
        with self._database.snapshot() as session:
            return card_of(last_version(session, name))

    def all(self) -> list[Card]:
        """Every card, by name."""
        with self._database.snapshot() as session:
            undone = Undone.of(session)
            query = select(schema.Card).order_by(schema.Card.name)
            rows = session.scalars(query.options(selectinload(schema.Card.versions)))
            return [card_of(row) for card in rows if (row := undone.newest(card)) is not None]

    def surface(self) -> str | None:
        """Return how most drawdowns dried: gloss, satin or matt; None before the first."""
        query = (
            select(schema.Drawdown.surface)
            .group_by(schema.Drawdown.surface)
            .order_by(func.count().desc(), schema.Drawdown.surface)
            .limit(1)
        )
        with self._database.snapshot() as session:
            return session.scalar(query)

    def rows(self) -> list[schema.Card]:
        """Return every card as kept, undone ones too, in the order they came."""
        with self._database.snapshot() as session:
            query = select(schema.Card).order_by(schema.Card.id)
            return list(session.scalars(query.options(selectinload(schema.Card.versions))))

    def version(self, name: str) -> int:
        """Return the number of the version of a card that holds.

        Raises
        ------
        InputError
            Where there is none of that name.
        """
        with self._database.snapshot() as session:
            return last_version(session, name).id


def likely_cards(purpose: str, holding: Collection[str] = ()) -> Select[Any]:
    """Ids of the cards of a purpose, by any of their versions; with names, that mention a paint.

    A little too many: who asks looks again. What isn't among them need not be read.
    """
    version = schema.CardVersion
    query = select(version.card_id).where(version.purpose == purpose)
    if not 0 < len(holding) <= _NAMED_AT_ONCE:
        return query
    text = cast_in_sql(schema.Drawdown.masses, String)
    # Spelled as the database keeps it, or as it is said.
    spelled = {spelling for paint in holding for spelling in (json.dumps(paint), f'"{paint}"')}
    mentioned = select(schema.Drawdown.card_version_id).where(
        or_(*(text.contains(each, autoescape=True) for each in sorted(spelled)))
    )
    return query.where(version.id.in_(mentioned))


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
            StudioDo.READ_CARD_FILE(),
        )
    return version


def _version(session: OrmSession, card: Card, text: str, sha256: str) -> schema.CardVersion:
    named = {p for d in card.drawdowns for p in (*d.masses, d.paint, d.white) if p}
    query = select(schema.Paint).where(schema.Paint.nickname.in_(named))
    gone = hidden(session, schema.Paint.__tablename__)
    paints = {row.nickname: row for row in session.scalars(query) if row.id not in gone}
    for i, drawdown in enumerate(card.drawdowns, 1):
        places = {f"masses.{paint}": paint for paint in drawdown.masses}
        places |= {"paint": drawdown.paint or "", "white": drawdown.white or ""}
        for where, paint in places.items():
            if paint and paint not in paints:
                raise InputError(
                    card.file,
                    f"drawdown {i}, {where}",
                    f"the studio has no paint with the nickname {paint}",
                    CalibrateDo.ADD_PAINT(),
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
