"""The tables of a release, from the store."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from ..calibrate.optics.coefficients import Coefficients
from ..calibrate.optics.spectra import Array
from . import schema
from .joining import Ints, Part, factor_names, factor_rows, model_error
from .packing import unpack_table
from .release_schema import TABLES
from .store import Store

Rows = list[dict[str, Any]]
_QUANTITIES = np.array(["K", "S"], dtype=object)


@dataclass(frozen=True)
class Contents:
    """What goes into a release.

    Attributes
    ----------
    tables : mapping of name to DataFrame
    paints : mapping of nickname to what the studio remembers of it
        ``name``, ``fit`` and ``words``, a hash of all that is said about it beside its numbers.
    """

    tables: Mapping[str, pd.DataFrame]
    paints: Mapping[str, dict[str, Any]]


def contents(store: Store) -> Contents:
    """Gather the current fits of a studio with everything they rest on.

    Raises
    ------
    InputError
        Where no paint has a fit, or their fits can't be used together.
    """
    with store.snapshot() as session:
        parts = store.current_parts()
        part_of = {paint: part for _, part in parts for paint in part.paints}
        current = {
            row.paint.nickname: row
            for row in session.scalars(
                select(schema.PaintFit)
                .join(schema.Paint)
                .where(schema.PaintFit.current)
                .order_by(schema.Paint.nickname_key)
            )
        }
        fits = sorted({row.fit for row in current.values()}, key=lambda fit: fit.id)
        checks = [
            check
            for check in session.scalars(select(schema.Check).order_by(schema.Check.id))
            if check.fit_id in {fit.id for fit in fits}
        ]
        sessions, versions = _inputs(session, fits, checks)
        paints = [_paint(row, part_of[nickname]) for nickname, row in current.items()]
        rows: dict[str, Rows | pd.DataFrame] = {
            "paints": paints,
            "cards": [_card(version) for version in versions],
            "drawdowns": [_drawdown(v, row) for v in versions for row in v.drawdowns],
            "sessions": [_session(row) for row in sessions],
            "readings": _joined(_readings(row) for row in sessions),
            "fits": [_fit(fit, parts[0][1]) for fit in fits],
            "nuisances": _joined(unpack_table(fit.nuisances).assign(fit=fit.id) for fit in fits),
            "patches": _joined(
                unpack_table(row.patches).assign(fit=row.fit_id, paint=nickname)
                for nickname, row in current.items()
            ),
            "checks": [
                {"fit": c.fit_id, "card": c.card.name, "patch": c.patch, "de00": c.de00}
                for c in checks
            ],
        }
    rows |= coefficient_tables(parts, list(current))
    tables = {}
    for table in TABLES:
        columns = [column.name for column in table.columns]
        numbers = {column.name: float for column in table.columns if column.kind == "number"}
        tables[table.name] = pd.DataFrame(rows[table.name], columns=columns).astype(numbers)
    return Contents(tables, {row["paint"]: _remembered(row) for row in paints})


def coefficient_tables(parts: Sequence[Part], paints: Sequence[str]) -> dict[str, pd.DataFrame]:
    """Coefficients as long tables: wavelengths, coefficients, covariance, own, shared, factors.

    Parameters
    ----------
    parts : sequence of Part
        Of fits that are alike.
    paints : sequence of str
        All their paints, in the order of the tables.
    """
    first = parts[0][1]
    names = factor_names(parts)
    order = {paint: position for position, paint in enumerate(paints)}

    def sorted_by_paint(tables: Iterable[pd.DataFrame]) -> pd.DataFrame:
        joined = pd.concat(list(tables), ignore_index=True)
        # In one place all rows of a paint: it can be looked up without reading the rest.
        return joined.sort_values("paint", key=lambda p: p.map(order), kind="stable")

    return {
        "wavelengths": pd.DataFrame(
            {"wavelength": first.wavelengths, "model_error": model_error(parts)}
        ),
        "coefficients": sorted_by_paint(_values(part) for _, part in parts),
        "covariance": sorted_by_paint(_local(part) for _, part in parts),
        "own": sorted_by_paint(
            _changes(part.own.swapaxes(0, 1), part, np.arange(part.own.shape[1]))
            for _, part in parts
        ),
        "shared": pd.DataFrame({"factor": np.arange(len(names)) + 1, "name": list(names)}),
        "factors": sorted_by_paint(
            _changes(part.factors, part, rows)
            for (_, part), rows in zip(parts, factor_rows(parts), strict=True)
        ),
    }


def _values(c: Coefficients) -> pd.DataFrame:
    p, w = c.k.shape
    paint, quantity, wavelength = (axis.ravel() for axis in np.indices((p, 2, w)))
    return pd.DataFrame(
        {
            "paint": np.array(c.paints, dtype=object)[paint],
            "model": c.model,
            "quantity": _QUANTITIES[quantity],
            "wavelength": c.wavelengths[wavelength],
            "value": np.stack([c.k, c.s], 1).ravel(),
            "uncertainty": np.stack(c.uncertainty, 1).ravel(),
            "scan_made": c.scan_made[paint],
            "geometry": c.surface.geometry,
            "scale": c.scale,
            "ratio_only": c.ratio_only[paint, wavelength],
        }
    )


def _local(c: Coefficients) -> pd.DataFrame:
    p, w = c.k.shape
    return pd.DataFrame(
        {
            "paint": np.repeat(np.array(c.paints, dtype=object), w),
            "wavelength": np.tile(c.wavelengths, p),
            "kk": c.local[:, 0, 0].ravel(),
            "ks": c.local[:, 0, 1].ravel(),
            "ss": c.local[:, 1, 1].ravel(),
        }
    )


def _changes(factors: Array, c: Coefficients, rows: Ints) -> pd.DataFrame:
    """Long table of (F, P, 2, W), without noughts."""
    factor, paint, quantity, wavelength = at = np.nonzero(factors)
    return pd.DataFrame(
        {
            "factor": rows[factor] + 1,
            "paint": np.array(c.paints, dtype=object)[paint],
            "quantity": _QUANTITIES[quantity],
            "wavelength": c.wavelengths[wavelength],
            "change": factors[at],
        }
    )


def _joined(tables: Iterable[pd.DataFrame]) -> pd.DataFrame:
    listed = list(tables)
    return pd.concat(listed, ignore_index=True) if listed else pd.DataFrame()


def _inputs(
    session: OrmSession, fits: list[schema.Fit], checks: list[schema.Check]
) -> tuple[list[schema.Session], list[schema.CardVersion]]:
    """Return the sessions that the fits and checks rest on, and the cards as the fits took them."""
    inputs = [item for fit in fits for item in fit.inputs["sessions"]]
    cards = {check.card for check in checks}
    query = select(schema.Session).order_by(schema.Session.id)
    sessions = {row.id: row for row in session.scalars(query)}
    checked = {row.id for row in sessions.values() if row.card in cards and row.state == "dry"}
    versions = {item["card_version"] for item in inputs} | {card.versions[-1].id for card in cards}
    newest: dict[str, schema.CardVersion] = {}
    for number in sorted(versions):
        version = session.get_one(schema.CardVersion, number)
        newest[version.card.name] = version
    wanted = sorted({item["session"] for item in inputs} | checked)
    return [sessions[i] for i in wanted], [newest[name] for name in sorted(newest)]


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
        "lot": row.lot.lot if row.lot else "",
        "density": coefficients.density[i],
        "dry_volume": coefficients.dry_volume[i],
        "dry_volume_measured": bool(coefficients.dry_volume_measured[i]),
        "mix_error": coefficients.mix_error[i],
        "scan_made": bool(coefficients.scan_made[i]),
        "fit": row.fit_id,
        "verdict": row.verdict,
        "reasons": "; ".join(row.reasons),
        "de00_mean": row.de00_mean,
        "de00_max": row.de00_max,
    } | _theory(coefficients)


def _theory(coefficients: Coefficients) -> dict[str, Any]:
    return {
        "model": coefficients.model,
        "scale": coefficients.scale,
        **asdict(coefficients.surface),
    }


def _remembered(row: dict[str, Any]) -> dict[str, Any]:
    said = [row[key] for key in ("name", "maker", "range", "pigments", "binder", "finish", "lot")]
    words = hashlib.sha256(json.dumps(said).encode()).hexdigest()
    return {"name": row["name"], "fit": row["fit"], "words": words}


def _card(row: schema.CardVersion) -> dict[str, Any]:
    columns = ("purpose", "layout", "date", "balance_g", "sealed", "note", "sha256")
    return {"card": row.card.name} | {column: getattr(row, column) for column in columns}


def _drawdown(version: schema.CardVersion, row: schema.Drawdown) -> dict[str, Any]:
    as_kept = ("step", "taken_from", "taken_g", "opaque", "gap_um", "thickness_um", "surface")
    return {
        "card": version.card.name,
        "paint": row.paint.nickname if row.paint else "",
        "white": row.white.nickname if row.white else "",
        "masses": json.dumps(row.masses, ensure_ascii=False),
        "lots": json.dumps(row.lots, ensure_ascii=False),
        "over": " ".join(row.over),
        "coats": row.coats,
        "hours_dried": row.hours_dried,
    } | {column: getattr(row, column) for column in as_kept}


def _session(row: schema.Session) -> dict[str, Any]:
    as_kept = ("file", "sha256", "format", "unit", "geometry", "specular", "condition", "state")
    return {
        "session": row.id,
        "card": row.card.name,
        "date": row.date,
        "device": row.device.name if row.device else "",
    } | {column: getattr(row, column) for column in as_kept}


def _readings(row: schema.Session) -> pd.DataFrame:
    n, w = len(row.readings), len(row.wavelengths)
    return pd.DataFrame(
        {
            "session": row.id,
            "patch": np.repeat([reading.patch for reading in row.readings], w),
            "repeat": np.repeat([reading.repeat for reading in row.readings], w),
            "wavelength": np.tile(np.array(row.wavelengths, dtype=float), n),
            "reflectance": np.array([r.reflectance for r in row.readings], dtype=float).ravel(),
            "flags": np.array([r.flags for r in row.readings], dtype=int).ravel(),
        }
    )


def _fit(row: schema.Fit, coefficients: Coefficients) -> dict[str, Any]:
    return {
        "fit": row.id,
        "created": row.created,
        "code_version": row.code_version,
        "settings": json.dumps(row.settings, ensure_ascii=False),
        "inputs": json.dumps(row.inputs),
        "coefficients_sha256": row.coefficients_sha256,
    } | _theory(coefficients)
