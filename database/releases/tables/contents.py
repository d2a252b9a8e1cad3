"""The tables of a release, from the store, a piece at a time."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import chain
from pathlib import PurePath
from typing import Any

from sqlalchemy import Text, cast, select
from sqlalchemy.orm import Session as OrmSession
from sqlalchemy.orm import defer

from ....calibrate.errors import InputError
from ....calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ....calibrate.optics.transport import TRANSPORT, opaque_polynomial
from ...common.cautions import caution
from ...store import schema
from ...store.imports import Undone
from ...store.in_use import packed_of
from ...store.packing import unpack_columns
from ...store.store import Store
from ...store.tiles import calibrated_in_words
from .coefficients import coefficient_texts
from .residuals import residual_texts
from .scans import scan_texts
from .schema import TABLES
from .text import as_json, rows

Texts = Callable[[], Iterator[str]]
_TABLE = {table.name: table for table in TABLES}


@dataclass(frozen=True)
class Contents:
    """What goes into a release.

    Attributes
    ----------
    texts : mapping of table to a callable
        That yields its lines, without the heading, in pieces; within the store's snapshot.
    paints : mapping of nickname to what the studio remembers of it
        ``name``, ``fit``, ``meaning`` (scale and model of its numbers), ``words``, a hash of all
        that is said about it beside its numbers, and ``transport``, its fit by that, if any.
    current : mapping of nickname to PaintFit
        By two fluxes.
    further : mapping of nickname to PaintFit
        By transport, of those that have one.
    parts : sequence of Coefficients
        Their K and S, fit by fit.
    beside : sequence of Coefficients
        Those of them that have a fit by transport.
    """

    texts: Mapping[str, Texts]
    paints: Mapping[str, dict[str, Any]]
    current: Mapping[str, schema.PaintFit]
    further: Mapping[str, schema.PaintFit]
    parts: Sequence[Coefficients]
    beside: Sequence[Coefficients]

    @property
    def scale(self) -> str:
        """Scale of K and S."""
        return self.parts[0].scale

    @property
    def curve(self) -> Sequence[float]:
        """What opaque films read by transport; see `opaque_polynomial`."""
        slanted = self.parts[0].surface.geometry == "45:0"
        return opaque_polynomial(slanted).tolist() if self.beside else ()


def contents(store: Store, exclude: Collection[str] = ()) -> Contents:
    """Gather the current fits of a studio with everything they rest on.

    Parameters
    ----------
    store : Store
    exclude : collection of str
        Nicknames to leave out.

    Raises
    ------
    InputError
        Where no paint has a fit, or their fits can't be used together.
    """
    with store.snapshot() as session:
        wanted = [paint for paint in store.fits.current() if paint not in exclude]
        if exclude and not wanted:
            raise InputError(None, "exclude", "nothing is left to publish", "exclude less")
        parts = store.fits.parts(wanted if exclude else None, TWO_FLUX)
        part_of = {paint: part for part in parts for paint in part.paints}
        current = _current(session, part_of, TWO_FLUX)
        known = store.fits.current(TRANSPORT)
        also = [paint for paint in part_of if paint in known]
        beside = store.fits.parts(also, TRANSPORT) if also else []
        beside_of = {paint: part for part in beside for paint in part.paints}
        further = _current(session, beside_of, TRANSPORT)
        both = (current, further)
        of_transport = {row.fit_id for row in further.values()}
        fits = {row.fit_id: row.fit for row in (*current.values(), *further.values())}
        checks = _checks(session, fits)
        sessions, versions = _inputs(session, fits.values(), {check["card"] for check in checks})
        paints = [_paint(row, part_of[nickname]) for nickname, row in current.items()]
    texts: dict[str, Texts] = {
        "paints": lambda: rows(_TABLE["paints"], paints),
        "cards": lambda: rows(_TABLE["cards"], _cards(session, versions)),
        "drawdowns": lambda: rows(_TABLE["drawdowns"], _drawdowns(session, versions)),
        "sessions": lambda: rows(_TABLE["sessions"], _sessions(session, sessions)),
        "readings": lambda: rows(_TABLE["readings"], _readings(session, sessions)),
        "transport": lambda: rows(
            _TABLE["transport"],
            (_judged(row, beside_of[nickname]) for nickname, row in further.items()),
        ),
        "fits": lambda: rows(
            _TABLE["fits"],
            (
                _fit(fit, (beside if number in of_transport else parts)[0])
                for number, fit in fits.items()
            ),
        ),
        "nuisances": lambda: rows(_TABLE["nuisances"], _nuisances(session, fits)),
        "patches": lambda: rows(_TABLE["patches"], chain(*(_patches(session, m) for m in both))),
        "residuals": lambda: chain(*(residual_texts(session, m) for m in both)),
        "quality": lambda: rows(_TABLE["quality"], chain(*(_quality(session, m) for m in both))),
        "checks": lambda: rows(_TABLE["checks"], checks),
    }
    texts |= scan_texts(session, fits.values())
    texts |= coefficient_texts(parts, beside, list(current))
    remembered = {row["paint"]: _remembered(row, further.get(row["paint"])) for row in paints}
    return Contents(texts, remembered, current, further, parts, beside)


def _current(
    session: OrmSession, part_of: Mapping[str, Coefficients], model: str
) -> dict[str, Any]:
    """Return the fits in use, by nickname in the order of every table: as one case sorts them."""
    query = (
        select(schema.PaintFit)
        .where(schema.PaintFit.current, schema.PaintFit.model == model)
        .options(
            defer(schema.PaintFit.patches),
            defer(schema.PaintFit.residuals),
            defer(schema.PaintFit.quality),
        )
    )
    found = {row.paint.nickname: row for row in session.scalars(query)}
    # Binary order, so that a paint can be looked up without reading the rest.
    order = sorted(part_of, key=lambda nickname: nickname.encode())
    return {nickname: found[nickname] for nickname in order}


def _checks(session: OrmSession, fits: Collection[int]) -> list[dict[str, Any]]:
    query = (
        select(schema.Check, schema.Card.name, schema.Device.name)
        .join(schema.Card)
        .outerjoin(schema.Calibration, schema.Calibration.id == schema.Check.calibration_id)
        .outerjoin(schema.Device, schema.Device.id == schema.Calibration.device_id)
        .order_by(schema.Check.id)
    )
    return [
        {
            "fit": check.fit_id,
            "card": card,
            "patch": check.patch,
            "de00": check.de00,
            "scanner": scanner or "",
            "scan_error": check.scan_error,
        }
        for check, card, scanner in session.execute(query)
        if check.fit_id in fits
    ]


def _inputs(
    session: OrmSession, fits: Collection[schema.Fit], checked: Collection[str]
) -> tuple[list[int], list[int]]:
    """Return the sessions that the fits and checks rest on, and the cards as the fits took them."""
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


def _paint(row: schema.PaintFit, coefficients: Coefficients) -> dict[str, Any]:
    paint, i = row.paint, coefficients.index(row.paint.nickname)
    return {
        "paint": paint.nickname,
        "name": paint.name,
        "maker": paint.maker,
        "range": paint.range,
        "pigments": " ".join(paint.pigments),
        "binder": paint.binder,
        "finish": paint.finish,
        "caution": caution(paint.pigments),
        "lot": row.lot.lot if row.lot else "",
        "density": float(coefficients.density[i]),
        "dry_volume": float(coefficients.dry_volume[i]),
        "dry_volume_measured": bool(coefficients.dry_volume_measured[i]),
        "scan_made": bool(coefficients.scan_made[i]),
        "white": row.beside[1] if len(row.beside) > 1 else "",
        **_judged(row, coefficients),
        **_theory(coefficients),
    }


def _judged(row: schema.PaintFit, coefficients: Coefficients) -> dict[str, Any]:
    """What a fit by any model finds of a paint, beside its numbers."""
    i = coefficients.index(row.paint.nickname)
    return {
        "paint": row.paint.nickname,
        "fit": row.fit_id,
        "mix_error": float(coefficients.mix_error[i]),
        "part_error": float(coefficients.part_error[i]),
        "surface_offset": float(coefficients.surface_offset[i]),
        "verdict": row.verdict,
        "reasons": "; ".join(row.reasons),
        "de00_mean": row.de00_mean,
        "de00_max": row.de00_max,
    }


def _theory(coefficients: Coefficients) -> dict[str, Any]:
    return {
        "model": coefficients.model,
        "scale": coefficients.scale,
        **asdict(coefficients.surface),
    }


def _remembered(row: dict[str, Any], further: schema.PaintFit | None) -> dict[str, Any]:
    said = [row[key] for key in ("name", "maker", "range", "pigments", "binder", "finish", "lot")]
    words = hashlib.sha256(json.dumps(said).encode()).hexdigest()
    meaning = f"{row['model']}, {row['scale']}"
    by_transport = {} if further is None else {"transport": further.fit_id}
    return {
        "name": row["name"], "fit": row["fit"], "words": words, "meaning": meaning, **by_transport
    }  # fmt: skip


def _cards(session: OrmSession, versions: Sequence[int]) -> Iterator[dict[str, Any]]:
    v = schema.CardVersion
    query = (
        select(
            schema.Card.name.label("card"),
            v.id, v.purpose, v.layout, v.date, v.balance_g, v.sealed, v.note, v.sha256,
        )
        .join(v, v.card_id == schema.Card.id)
    )  # fmt: skip
    yield from _wanted(session, query, versions, "id", "card")


def _drawdowns(session: OrmSession, versions: Sequence[int]) -> Iterator[dict[str, Any]]:
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
    for row in _wanted(session, query, versions, "card_version_id", "card", "id"):
        yield row | {
            "masses": as_json(row["masses"]),
            "lots": as_json(row["lots"]),
            "over": " ".join(row["over"]),
        }


def _named(alias: str) -> Any:
    return select(schema.Paint.id, schema.Paint.nickname).subquery(alias)


def _sessions(session: OrmSession, wanted: Sequence[int]) -> Iterator[dict[str, Any]]:
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
    for row in _wanted(session, query, wanted, "session", "session"):
        yield row | {
            # A path is the user's own affair.
            "file": PurePath(row["file"]).name,
            "calibrated": calibrated_in_words(row["kind"], row["done"]),
            "wavelengths": as_json(row["wavelengths"]),
            "corrections": as_json(row["corrections"]) if row["corrections"] else "",
        }


def _readings(session: OrmSession, wanted: Sequence[int]) -> Iterator[dict[str, Any]]:
    r = schema.Reading
    # The figures as they were kept, without making numbers of them and text again.
    query = select(
        r.session_id.label("session"), r.id, r.patch, r.repeat,
        cast(r.reflectance, Text).label("reflectance"), cast(r.flags, Text).label("flags"),
        cast(r.corrected, Text).label("corrected"),
    )  # fmt: skip
    yield from _wanted(session, query, wanted, "session", "session", "id")


def _wanted(
    session: OrmSession, query: Any, wanted: Sequence[int], key: str, *order: str, piece: int = 500
) -> Iterator[dict[str, Any]]:
    """Rows of a query whose `key` is wanted, in order, some at a time."""
    column = next(c for c in query.selected_columns if c.key == key)
    if order[0] == key:
        for i in range(0, len(wanted), piece):
            some = query.where(column.in_(wanted[i : i + piece])).order_by(*order)
            yield from (dict(row) for row in session.execute(some).mappings())
        return
    found: list[Any] = []
    for i in range(0, len(wanted), piece):
        found += session.execute(query.where(column.in_(wanted[i : i + piece]))).mappings().all()
    # Databases sort words in ways of their own.
    for row in sorted(found, key=lambda row: tuple(row[name] for name in order)):
        yield dict(row)


def _fit(row: schema.Fit, coefficients: Coefficients) -> dict[str, Any]:
    return {
        "fit": row.id,
        "created": row.created,
        "code_version": row.code_version,
        "settings": as_json(row.settings),
        "inputs": as_json(row.inputs),
        "coefficients_sha256": row.coefficients_sha256,
    } | _theory(coefficients)


def _nuisances(session: OrmSession, fits: Collection[int]) -> Iterator[dict[str, Any]]:
    for fit in fits:
        packed = session.scalar(select(schema.Fit.nuisances).where(schema.Fit.id == fit))
        assert packed is not None
        yield from _records(packed, fit=fit)


def _patches(
    session: OrmSession, current: Mapping[str, schema.PaintFit]
) -> Iterator[dict[str, Any]]:
    for nickname, packed in packed_of(session, current, schema.PaintFit.patches):
        # Fits made before steps were left out say nothing of it.
        for row in _records(packed, fit=current[nickname].fit_id, paint=nickname):
            yield {"left_out": None} | row


def _quality(
    session: OrmSession, current: Mapping[str, schema.PaintFit]
) -> Iterator[dict[str, Any]]:
    for nickname, packed in packed_of(session, current, schema.PaintFit.quality):
        yield from _records(packed, paint=nickname, model=current[nickname].model)


def _records(packed: bytes, **said: Any) -> Iterator[dict[str, Any]]:
    columns = unpack_columns(packed)
    names = list(columns)
    for values in zip(*columns.values(), strict=True):
        yield dict(zip(names, values, strict=True)) | said
