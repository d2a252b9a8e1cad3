"""A fit as rows of the studio database, and back."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from ...calibrate.fit.problem.result import JointFit, PaintFit
from ...calibrate.optics.coefficients import Coefficients
from . import schema
from .packing import pack_table, unpack_coefficients, unpack_columns, unpack_table
from .readings import StoredReadings
from .scans import StoredChannels

if TYPE_CHECKING:
    from ...calibrate.fit.judging.quality_report import QualityReport


def named_inputs(inputs: Sequence[StoredReadings | StoredChannels]) -> dict[str, Any]:
    """Name what a fit was fitted to: sessions and scans, each with the card as it was then."""
    return {
        "sessions": [
            {"session": item.session, "sha256": item.session_sha256} | _card_named(item)
            for item in inputs
            if isinstance(item, StoredReadings)
        ],
        "scans": [
            {"scan": item.scan, "sha256": item.scan_sha256} | _card_named(item)
            for item in inputs
            if isinstance(item, StoredChannels)
        ],
    }


def reasons(fit: JointFit) -> dict[str, Any]:
    """Why paints were set aside at a fit, as it is kept; nothing where none was."""
    return {"aside": {p: str(why) for p, why in fit.aside.items()}} if fit.aside else {}


def set_aside(session: Session, current: Mapping[str, int]) -> dict[str, str]:
    """Why paints were set aside when they were fitted last.

    Parameters
    ----------
    current : mapping of nickname to int
        Number of each fitted paint's current fit.

    Returns
    -------
    dict of nickname to str
    """
    query = select(schema.Fit.id, schema.Fit.inputs["aside"]).order_by(schema.Fit.id)
    return {
        paint: why
        for number, aside in session.execute(query)
        for paint, why in (aside or {}).items()
        if current.get(paint, 0) < number
    }


def strength_reference(session: Session) -> str | None:
    """Nickname of the paint that the fits in use state tinting strength against, if any."""
    from ...calibrate.fit.judging.quality_figures import STRENGTH

    query = (
        select(schema.PaintFit.quality)
        .where(schema.CURRENT, schema.PaintFit.quality.is_not(None))
        .order_by(schema.PaintFit.id.desc())
    )
    # The first or second row tells: a white alone has no strength.
    for packed in session.scalars(query.execution_options(yield_per=20)):
        assert packed is not None
        columns = unpack_columns(packed)
        for quantity, against in zip(columns["quantity"], columns["against"], strict=True):
            if quantity == STRENGTH:
                return str(against)
    return None


def _card_named(item: StoredReadings | StoredChannels) -> dict[str, Any]:
    card = {"card_version": item.card_version, "card_sha256": item.card_sha256}
    return card | ({"learnt": True} if item.card.purpose == "learn" else {})


def paint_fit(row: schema.PaintFit, coefficients: Coefficients) -> PaintFit:
    """Return the fit of a paint that a row keeps; `coefficients` are those of the whole fit."""
    return PaintFit(
        paint=row.paint.nickname,
        coefficients=coefficients.select(row.beside),
        patches=unpack_table(row.patches),
        residuals=unpack_table(row.residuals),
        verdict=row.verdict,
        reasons=tuple(row.reasons),
    )


def kept_paint_fit(session: Session, row: schema.PaintFit) -> PaintFit:
    """Return the same, with nothing unpacked of the other paints of its fit."""
    packed = packed_coefficients(session, row.fit_id)
    return paint_fit(row, unpack_coefficients(packed, paints=row.beside))


def packed_coefficients(session: Session, fit: int) -> bytes:
    """Coefficients of a fit as kept, and nothing else of it."""
    return session.scalars(select(schema.Fit.coefficients).where(schema.Fit.id == fit)).one()


def current_of(paint: str, model: str) -> Select[Any]:
    """Rows of a paint's current fit by a model."""
    named = select(schema.Paint.id).where(schema.Paint.nickname == paint)
    of_paint = (schema.PaintFit.model == model, schema.PaintFit.paint_id.in_(named))
    return select(schema.PaintFit).where(schema.CURRENT, *of_paint)


def paint_fit_row(
    paint: schema.Paint,
    lot: str,
    fit: PaintFit,
    quality: QualityReport | None,
) -> schema.PaintFit:
    """Row of a paint's fit; `lot` names the tube."""
    from ...calibrate.fit.judging.quality_figures import figures

    return schema.PaintFit(
        paint=paint,
        lot=next((known for known in paint.lots if known.lot == lot), None),
        model=fit.coefficients.model,
        current=True,
        beside=list(fit.coefficients.paints),
        verdict=fit.verdict,
        reasons=list(fit.reasons),
        de00_mean=_finite(fit.de00_mean),
        de00_max=_finite(fit.de00_max),
        patches=pack_table(fit.patches if quality is None else quality.patches),
        residuals=pack_table(fit.residuals),
        quality=None if quality is None else pack_table(figures(quality)),
        left_out=None if quality is None else _finite(quality.left_out.median()),
    )


def check_row(fit: int, card: schema.Card, said: Mapping[Hashable, Any]) -> schema.Check:
    """Row of a patch of a mixture that a fit was judged by."""
    scanned = said.get("calibration") is not None
    return schema.Check(
        fit_id=fit,
        card=card,
        patch=f"{said['step']}/{said['over']}",
        de00=said["de00"],
        calibration_id=said["calibration"] if scanned else None,
        scan_error=said["scan_error"] if scanned else None,
    )


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
