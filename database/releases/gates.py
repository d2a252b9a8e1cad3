"""What stands against publishing: verdicts, held-out mixtures, drift, staleness, cautions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...calibrate.errors import Face, Sentence
from ...calibrate.fit.judging.quality import FIRST_GUESS, LOOK_AT_STEP
from ...calibrate.fit.uncertainty.check import MOST_SCAN_ERROR
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ...calibrate.optics.colour import in_words
from ...calibrate.optics.transport import TRANSPORT
from ..common.remedies import StudioDo
from ..fits.check_mixtures import told_by_scan
from ..fits.out_of_date import outdated
from ..mixing import model_choice
from ..mixing.model_choice import WORDS
from ..store import schema
from ..store.in_use import check_errors, whites_of
from ..store.packing import unpack_coefficients
from ..store.transactions import OrmSession
from .compare import Numbers, compare

HELD_OUT_MEAN, HELD_OUT_P95 = 2.0, 5.0
"""CIEDE2000 of held-out mixtures beyond which a release must be forced: a near miss on average, or
one in twenty a different colour."""
DRIFT_STOPS, DRIFT_TOLD = 2.0, 1.0
"""CIEDE2000 by which a refitted paint may move from the last release."""

Fits = Mapping[str, Mapping[str, schema.PaintFit]]


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
    """

    gate: str
    paint: str
    stops: bool
    words: str | Sentence

    @property
    def line(self) -> Sentence:
        """The finding in a line."""
        return Sentence(f"{self.paint}: " if self.paint else "", self.words)

    def as_dict(self, face: Face = str) -> dict[str, Any]:
        """Return it for machines and for the release, as a face says it."""
        words = Sentence(self.words).said(face)
        return vars(self) | {"words": words, "line": self.line.said(face)}


def gates(
    session: OrmSession,
    fits: Fits,
    trial: model_choice.Trial,
    numbers: Callable[[str, Sequence[str]], Numbers],
    last: schema.Release | None,
) -> list[Gate]:
    """Judge what would be published.

    What is said of paints and mixtures is that of the model that mixes are calculated by. Where the
    other fares so ill that it would stop a release, that is told: a reader of the release may mix
    by it.

    Parameters
    ----------
    session : Session
    fits : mapping of model to a mapping of nickname to PaintFit
        What would be published. Every paint has a fit by two fluxes.
    trial : Trial
        How far off each model was where both were tried.
    numbers : callable
        From a model and some of its nicknames to their K and S, and their whites'.
    last : Release or None
        The release before.
    """
    further = {paint: row.fit_id for paint, row in fits[TRANSPORT].items()}
    used, other = dict[str, schema.PaintFit](), dict[str, schema.PaintFit]()
    for paint, row in fits[TWO_FLUX].items():
        used[paint] = fits[model_choice.choose([paint], further, trial)][paint]
        if paint in further:
            other[paint] = row if used[paint].model == TRANSPORT else fits[TRANSPORT][paint]
    found = [
        *_verdicts(used.values(), other.values()),
        *_held_out(session, used, other),
        *_stale(session, fits),
        *_lots(used.values()),
        *_scanned(used.values()),
        *_cautions(used.values()),
    ]
    if last is not None:
        found += _drift(session, fits, numbers, last)
    return sorted(found, key=lambda gate: not gate.stops)


def _verdicts(used: Iterable[schema.PaintFit], other: Iterable[schema.PaintFit]) -> Iterable[Gate]:
    for row in used:
        if row.verdict in (LOOK_AT_STEP, FIRST_GUESS):
            stops = row.verdict == LOOK_AT_STEP
            yield Gate("verdict", row.paint.nickname, stops, f"its fit is {_judged(row)}")
    for row in other:
        if row.verdict == LOOK_AT_STEP:
            words = f"its fit by {WORDS[row.model]}, which mixes aren't calculated by, is"
            yield Gate("verdict", row.paint.nickname, False, f"{words} {_judged(row)}")


def _judged(row: schema.PaintFit) -> str:
    why = "; ".join(row.reasons)
    return f"judged '{row.verdict}'" + (f" ({why})" if why else "")


def _held_out(
    session: OrmSession,
    used: Mapping[str, schema.PaintFit],
    other: Mapping[str, schema.PaintFit],
) -> Iterable[Gate]:
    checks = check_errors(session)
    for rows in (used, other):
        models = {row.fit_id: row.model for row in rows.values()}
        mine = [(de00, error) for fit, de00, error in checks if fit in models]
        off = np.array([de00 for de00, error in mine if error <= MOST_SCAN_ERROR])
        if rows is used:
            by_scan = told_by_scan([error for _, error in mine if error])
            yield from (Gate("held-out", "", False, words) for words in by_scan)
        if not off.size:
            if rows is used:
                words = "no mixtures were held out: nothing says how mixes will come out"
                if mine:
                    words = "no mixture that was held out was read surely enough to tell of mixes"
                yield Gate("held-out", "", False, words)
            return
        mean, p95 = float(off.mean()), float(np.percentile(off, 95))
        if mean > HELD_OUT_MEAN or p95 > HELD_OUT_P95:
            by = "" if rows is used else f" by {WORDS[next(iter(models.values()))]}"
            yield Gate(
                "held-out",
                "",
                rows is used,
                f"held-out mixtures are off{by} by {in_words(mean)} (CIEDE2000 {mean:.1f}) on "
                f"average, 95 of 100 within {p95:.1f}",
            )


def _stale(session: OrmSession, fits: Fits) -> Iterable[Gate]:
    rows = [row for of_model in fits.values() for row in of_model.values()]
    inputs = {row.fit_id: row.fit.inputs for row in rows}
    holding = [{paint: row.fit_id for paint, row in each.items()} for each in fits.values()]
    for each in outdated(session, holding, inputs):
        words = Sentence(f"fit {each.fit} {each.why}; ", StudioDo.FIT_AGAIN())
        yield Gate("stale", each.some, each.mended_by_fit, words)


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
                Sentence(
                    "its numbers come from a scan, not a spectrum, and are marked so; ",
                    StudioDo.MEASURED_ONLY(),
                ),
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
    fits: Fits,
    numbers: Callable[[str, Sequence[str]], Numbers],
    last: schema.Release,
) -> Iterable[Gate]:
    """Tell of each paint that moved, by the model that has it move most."""
    farthest: dict[str, tuple[float, Gate]] = {}
    for model, current in fits.items():
        published = _published(last, model)
        refitted = [p for p, row in current.items() if published.get(p, row.fit_id) != row.fit_id]
        if not refitted:
            continue
        old, new = _as_published(session, last, model, refitted), numbers(model, refitted)
        before, after = old.coefficients.scale, new.coefficients.scale
        if before != after:
            yield Gate("drift", "", True, f"K and S were {before} in {last.version}, now {after}")
            return
        moved = compare(old, new).table
        for row in moved[moved["paint"].isin(refitted)].itertuples():
            far = float(np.nanmax([row.masstone_de00, row.tint_de00, 0.0]))
            gate = Gate(
                "drift",
                str(row.paint),
                far > DRIFT_STOPS,
                f"its colour moved since {last.version}: masstone CIEDE2000 "
                f"{row.masstone_de00:.1f}, mid-tint {row.tint_de00:.1f} ({in_words(far)}; by "
                f"{WORDS[model]})",
            )
            if far > max(DRIFT_TOLD, farthest.get(gate.paint, (0.0,))[0]):
                farthest[gate.paint] = far, gate
    yield from (gate for _, gate in farthest.values())


def _published(last: schema.Release, model: str) -> dict[str, int]:
    """Return the number of each paint's fit by a model in the last release."""
    key = "transport" if model == TRANSPORT else "fit"
    return {paint: said[key] for paint, said in last.contents.items() if key in said}


def _as_published(
    session: OrmSession, last: schema.Release, model: str, paints: Sequence[str]
) -> Numbers:
    """Return K and S of some paints as the last release has them, and of their whites."""
    fits = _published(last, model)
    whites = whites_of(session, {paint: fits[paint] for paint in paints})
    wanted = dict.fromkeys([*paints, *(white for white in whites.values() if white in fits)])
    parts = []
    for fit in sorted({fits[paint] for paint in wanted}):
        row = session.get_one(schema.Fit, fit)
        mine = [paint for paint in wanted if fits[paint] == fit]
        parts.append(unpack_coefficients(row.coefficients, fit, mine))
    return Numbers(last.version, Coefficients.concat(parts), whites)
