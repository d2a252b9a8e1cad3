"""What stands against publishing: verdicts, held-out mixtures, drift, staleness, cautions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from ..calibrate.fit.quality import FIRST_GUESS, PAINT_AGAIN
from ..calibrate.optics.coefficients import TWO_FLUX
from ..calibrate.optics.colour import in_words
from . import schema
from .compare import Numbers, compare, whites_of
from .import_store import Undone
from .joining import join
from .packing import unpack_coefficients

HELD_OUT_MEAN, HELD_OUT_P95 = 2.0, 5.0
"""CIEDE2000 of held-out mixtures beyond which a release must be forced: a near miss on average, or
one in twenty a different colour."""
DRIFT_STOPS, DRIFT_TOLD = 2.0, 1.0
"""CIEDE2000 by which a refitted paint may move from the last release."""


@dataclass(frozen=True)
class Gate:
    """Something to say before publishing.

    Attributes
    ----------
    gate : {"verdict", "held-out", "drift", "stale", "lot", "scan", "caution"}
    paint : str
        Nickname; empty where it is of all.
    stops : bool
        Whether it must be forced.
    words : str
    """

    gate: str
    paint: str
    stops: bool
    words: str

    @property
    def line(self) -> str:
        """The finding in a line."""
        return f"{self.paint}: {self.words}" if self.paint else self.words

    def as_dict(self) -> dict[str, Any]:
        """Return it for machines and for the release."""
        return asdict(self) | {"line": self.line}


def gates(
    session: OrmSession,
    current: Mapping[str, schema.PaintFit],
    numbers: Callable[[Sequence[str]], Numbers],
    last: schema.Release | None,
) -> list[Gate]:
    """Judge what would be published.

    Parameters
    ----------
    session : Session
    current : mapping of nickname to PaintFit
        What would be published.
    numbers : callable
        From some of its nicknames to their K and S, and their whites'.
    last : Release or None
        The release before.
    """
    found = [
        *_verdicts(current.values()),
        *_held_out(session, current),
        *_stale(session, current),
        *_lots(current.values()),
        *_scanned(current.values()),
        *_cautions(current.values()),
    ]
    if last is not None:
        found += _drift(session, current, numbers, last)
    return sorted(found, key=lambda gate: not gate.stops)


def _verdicts(rows: Iterable[schema.PaintFit]) -> Iterable[Gate]:
    for row in rows:
        if row.verdict in (PAINT_AGAIN, FIRST_GUESS):
            why = "; ".join(row.reasons)
            yield Gate(
                "verdict",
                row.paint.nickname,
                row.verdict == PAINT_AGAIN,
                f"its fit is judged '{row.verdict}'" + (f" ({why})" if why else ""),
            )


def _held_out(session: OrmSession, current: Mapping[str, schema.PaintFit]) -> Iterable[Gate]:
    fits = {row.fit_id for row in current.values()}
    query = select(schema.Check.fit_id, schema.Check.de00)
    off = np.array([de00 for fit, de00 in session.execute(query) if fit in fits])
    if not off.size:
        yield Gate(
            "held-out", "", False, "no mixtures were held out: nothing says how mixes will come out"
        )
        return
    mean, p95 = float(off.mean()), float(np.percentile(off, 95))
    stops = mean > HELD_OUT_MEAN or p95 > HELD_OUT_P95
    if stops:
        yield Gate(
            "held-out",
            "",
            True,
            f"held-out mixtures are off by {in_words(mean)} (CIEDE2000 {mean:.1f}) on average, "
            f"95 of 100 within {p95:.1f}",
        )


def _stale(session: OrmSession, current: Mapping[str, schema.PaintFit]) -> Iterable[Gate]:
    inputs = {row.fit_id: row.fit.inputs for row in current.values()}
    holding = {paint: row.fit_id for paint, row in current.items()}
    for paints, fit, why, stops in _outdated(session, holding, inputs):
        yield Gate("stale", paints, stops, f"fit {fit} {why}; fit again: tintladder fit")


def stale_fits(session: OrmSession) -> Iterable[str]:
    """Say of each fit in use whether its readings, cards or white are no longer those that hold."""
    query = (
        select(schema.Paint.nickname, schema.PaintFit.fit_id)
        .join(schema.PaintFit)
        .where(schema.PaintFit.current, schema.PaintFit.model == TWO_FLUX)
    )
    holding = {paint: fit for paint, fit in session.execute(query)}
    of_fit = select(schema.Fit.id, schema.Fit.inputs).where(
        schema.Fit.id.in_(sorted(set(holding.values())))
    )
    inputs = {fit: said for fit, said in session.execute(of_fit)}
    for paints, fit, why, _ in _outdated(session, holding, inputs):
        yield f"fit {fit} of {paints} {why}"


def _outdated(
    session: OrmSession, holding: Mapping[str, int], inputs: Mapping[int, Mapping[str, Any]]
) -> Iterable[tuple[str, int, str, bool]]:
    """Find fits whose readings, cards or white are no longer those that hold: paints, fit, why."""
    undone = Undone.of(session)
    newest = undone.newest_of_all(session)
    by_fit: dict[int, list[str]] = {}
    for paint, fit in holding.items():
        by_fit.setdefault(fit, []).append(paint)
    for fit, paints in by_fit.items():
        read = [*inputs[fit].get("sessions", []), *inputs[fit].get("scans", [])]
        known = inputs[fit].get("known") or {"fits": {}}
        moved = [p for p, n in known["fits"].items() if p in holding and holding[p] != n]
        missing = [p for p in known["fits"] if p not in holding]
        why = None
        if any(
            item.get("session") in undone.sessions or item.get("scan") in undone.scans
            for item in read
        ):
            why = "rests on readings whose import was undone"
        elif any(item["card_version"] not in newest for item in read):
            why = "rests on a card that was corrected since"
        elif moved:
            why = f"was fitted against {', '.join(moved)} before that was fitted anew"
        elif missing:
            why = f"was fitted against {', '.join(missing)}, which is left out"
        if why:
            some = ", ".join(paints[:6]) + (", ..." if len(paints) > 6 else "")
            yield some, fit, why, not missing


def _lots(rows: Iterable[schema.PaintFit]) -> Iterable[Gate]:
    """Tell of numbers that were read of another tube than the one in use."""
    for row in rows:
        used = row.paint.current_lot
        if row.lot is not None and used is not None and used.on_hand and used.id != row.lot.id:
            yield Gate(
                "lot",
                row.paint.nickname,
                False,
                f"was read of lot {row.lot.lot or '(unnamed)'}, the tube in use is lot "
                f"{used.lot or '(unnamed)'}",
            )


def _scanned(rows: Iterable[schema.PaintFit]) -> Iterable[Gate]:
    for row in rows:
        if row.fit.inputs.get("by_scan"):
            yield Gate(
                "scan",
                row.paint.nickname,
                False,
                "its numbers come from a scan, not a spectrum, and are marked so "
                "(--measured-only leaves such paints out)",
            )


def _cautions(rows: Iterable[schema.PaintFit]) -> Iterable[Gate]:
    for row in rows:
        if not row.paint.pigments:
            yield Gate(
                "caution",
                row.paint.nickname,
                True,
                "no pigments are stated, so its caution can't be given; state them as on the "
                'label, or pigments = ["unknown"]',
            )


def _drift(
    session: OrmSession,
    current: Mapping[str, schema.PaintFit],
    numbers: Callable[[Sequence[str]], Numbers],
    last: schema.Release,
) -> Iterable[Gate]:
    refitted = [
        paint
        for paint, row in current.items()
        if paint in last.contents and last.contents[paint]["fit"] != row.fit_id
    ]
    if not refitted:
        return
    old = _as_published(session, last, refitted)
    new = numbers(refitted)
    before, after = old.coefficients.scale, new.coefficients.scale
    if before != after:
        yield Gate("drift", "", True, f"K and S were {before} in {last.version}, now {after}")
        return
    moved = compare(old, new).table
    for row in moved[moved["paint"].isin(refitted)].itertuples():
        far = float(np.nanmax([row.masstone_de00, row.tint_de00, 0.0]))
        if far > DRIFT_TOLD:
            yield Gate(
                "drift",
                str(row.paint),
                far > DRIFT_STOPS,
                f"its colour moved since {last.version}: masstone CIEDE2000 "
                f"{row.masstone_de00:.1f}, mid-tint {row.tint_de00:.1f} ({in_words(far)})",
            )


def _as_published(session: OrmSession, last: schema.Release, paints: Sequence[str]) -> Numbers:
    """Return K and S of some paints as the last release has them, and of their whites."""
    fits = {paint: said["fit"] for paint, said in last.contents.items()}
    whites = whites_of(session, {paint: fits[paint] for paint in paints})
    wanted = dict.fromkeys([*paints, *(white for white in whites.values() if white in fits)])
    parts = []
    for fit in sorted({fits[paint] for paint in wanted}):
        row = session.get_one(schema.Fit, fit)
        mine = [paint for paint in wanted if fits[paint] == fit]
        parts.append((f"fit {fit}", unpack_coefficients(row.coefficients).select(mine)))
    return Numbers(last.version, join(parts), whites)
