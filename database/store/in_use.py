"""What is in use, as releases and their checks ask for it: queries over many rows at once."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import select, update
from sqlalchemy.orm import Session as OrmSession
from sqlalchemy.orm import defer

from ...calibrate.optics.coefficients import TWO_FLUX
from ...calibrate.optics.transport import TRANSPORT
from ..mixing.model_choice import Trial, costs_of, trial_of
from . import schema


def published(session: OrmSession) -> list[schema.Release]:
    """Return every release that was published, in no order."""
    return list(session.scalars(select(schema.Release)))


def fits_in_use(session: OrmSession) -> dict[str, dict[str, int]]:
    """Return the number of the current fit of each paint, by model and nickname."""
    query = (
        select(schema.PaintFit.model, schema.Paint.nickname, schema.PaintFit.fit_id)
        .join(schema.PaintFit)
        .where(schema.CURRENT)
    )
    found: dict[str, dict[str, int]] = {TWO_FLUX: {}, TRANSPORT: {}}
    for model, paint, fit in session.execute(query):
        found[model][paint] = fit
    return found


def inputs_of(session: OrmSession, fits: Sequence[int]) -> dict[int, dict[str, Any]]:
    """Return what went into some fits, by their numbers."""
    query = select(schema.Fit.id, schema.Fit.inputs).where(schema.Fit.id.in_(fits))
    return {fit: said for fit, said in session.execute(query)}


def whites_of(session: OrmSession, fits: Mapping[str, int]) -> dict[str, str]:
    """Return the white of each paint's ladder, by nickname, of given fits."""
    query = (
        select(schema.Paint.nickname, schema.PaintFit.fit_id, schema.PaintFit.beside)
        .join(schema.PaintFit, schema.PaintFit.paint_id == schema.Paint.id)
        .where(schema.PaintFit.fit_id.in_(sorted(set(fits.values()))))
    )
    return {
        paint: beside[1]
        for paint, fit, beside in session.execute(query)
        if fits.get(paint) == fit and len(beside) > 1
    }


def lot_in_use(session: OrmSession, paint: str) -> str:
    """Return the lot whose fit is in use of a paint, by nickname; empty where none is."""
    query = (
        select(schema.Lot.lot)
        .join(schema.PaintFit, schema.PaintFit.lot_id == schema.Lot.id)
        .join(schema.Paint, schema.PaintFit.paint_id == schema.Paint.id)
        .where(schema.CURRENT, schema.Paint.nickname == paint)
    )
    return session.scalar(query) or ""


def retire(session: OrmSession, paint: schema.Paint, model: str | None) -> None:
    """Let the fits of a paint be current no longer: by one model, or by all."""
    fits = update(schema.PaintFit).where(schema.PaintFit.paint_id == paint.id, schema.CURRENT)
    if model is not None:
        fits = fits.where(schema.PaintFit.model == model)
    session.execute(fits.values(current=False))


def check_errors(session: OrmSession) -> list[tuple[int, float, float]]:
    """Return fit, CIEDE2000 and the scan's own (0 of a measured one) of every judged patch."""
    query = select(schema.Check.fit_id, schema.Check.de00, schema.Check.scan_error)
    return [(fit, de00, error or 0.0) for fit, de00, error in session.execute(query)]


def paint_fits(session: OrmSession) -> list[schema.PaintFit]:
    """Return every paint's fits in use, by any model, without their tables."""
    row = schema.PaintFit
    # Of a thousand paints these come to a hundred megabytes.
    tables = (defer(each, raiseload=True) for each in (row.patches, row.residuals, row.quality))
    return list(session.scalars(select(row).where(schema.CURRENT).options(*tables)))


def checks_in_use(session: OrmSession, fits: Iterable[int]) -> list[schema.Check]:
    """Return every patch that some fits were judged by."""
    return list(session.scalars(select(schema.Check).where(schema.Check.fit_id.in_(fits))))


def last_release(session: OrmSession) -> schema.Release | None:
    """Return the release that was published last, if any."""
    return session.scalar(select(schema.Release).order_by(schema.Release.id.desc()).limit(1))


def learnt_from(session: OrmSession) -> list[str]:
    """Return the names of the cards whose mixtures the fits in use learnt from."""
    used = select(schema.PaintFit.fit_id).where(schema.CURRENT)
    rows = session.scalars(select(schema.Fit.inputs).where(schema.Fit.id.in_(used)))
    read = [item for said in rows for item in (*said["sessions"], *said.get("scans", ()))]
    names = set[str]()
    for table, key in ((schema.Session, "session"), (schema.Scan, "scan")):
        taught = table.id.in_({item[key] for item in read if item.get("learnt") and key in item})
        names.update(session.scalars(select(schema.Card.name).join(table).where(taught)))
    return sorted(names)


def tried(session: OrmSession) -> Trial:
    """How far off the models of a studio's fits in use were where every one was tried."""
    in_use = (
        select(schema.PaintFit.fit_id, schema.PaintFit.model)
        .where(schema.CURRENT)
        .distinct()
        .subquery()
    )
    check = schema.Check
    checks = (
        select(in_use.c.model, check.card_id, check.patch, check.de00, check.scan_error)
        .join(check, check.fit_id == in_use.c.fit_id)
        .order_by(check.id)
    )
    mixtures: dict[str, dict[Hashable, float]] = {}
    unsure: dict[Hashable, float] = {}
    for model, card, patch, de00, error in session.execute(checks):
        mixtures.setdefault(model, {})[card, patch] = de00
        if error is not None:
            unsure[card, patch] = error
    found = trial_of(mixtures, {}, unsure)
    if found.off:
        return found
    left_out = select(
        schema.PaintFit.model, schema.PaintFit.paint_id, schema.PaintFit.left_out
    ).where(schema.CURRENT)
    steps: dict[str, dict[Hashable, float]] = {}
    for model, paint, off in session.execute(left_out):
        if off is not None:
            steps.setdefault(model, {})[paint] = off
    found = trial_of({}, steps)
    if found.off:
        return found
    of_fits = select(in_use.c.model, schema.Fit.inputs).join(
        schema.Fit, schema.Fit.id == in_use.c.fit_id
    )
    costs = costs_of((model, inputs) for model, inputs in session.execute(of_fits))
    return trial_of({}, {}, costs=costs)


def hidden(session: OrmSession, table: str) -> frozenset[int]:
    """Return the ids of a table's rows that were taken out of use."""
    query = select(schema.Change.hidden).where(schema.Change.undone.is_(None))
    return frozenset(number for said in session.scalars(query) for number in said.get(table, ()))
