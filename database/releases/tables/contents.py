"""The tables of a release, from the store, a piece at a time."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import chain
from pathlib import PurePath
from typing import Any

import numpy as np

from ....calibrate.errors import Field, InputError
from ....calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ....calibrate.optics.spectra import GRID, Array
from ....calibrate.optics.transport import TRANSPORT, opaque_polynomial
from ...common.words import caution
from ...store import schema
from ...store.packing import unpack_columns
from ...store.release_rows import (
    card_rows,
    checks_of,
    current_fits,
    drawdown_rows,
    packed_nuisances,
    packed_of,
    reading_rows,
    rested_on,
    session_rows,
)
from ...store.store import Store
from ...store.tiles import calibrated_in_words
from ...store.transactions import OrmSession
from .coefficients import coefficient_texts
from .scans import scan_texts
from .schema import TABLES
from .text import as_json, figures, lines, rows, words

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
            raise InputError(None, Field("exclude"), "nothing is left to publish", "exclude less")
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
        sessions, versions = rested_on(session, fits.values(), {check["card"] for check in checks})
        paints = [_paint(row, part_of[nickname]) for nickname, row in current.items()]
    texts: dict[str, Texts] = {
        "paints": lambda: rows(_TABLE["paints"], paints),
        "cards": lambda: rows(_TABLE["cards"], card_rows(session, versions)),
        "drawdowns": lambda: rows(_TABLE["drawdowns"], _drawdowns(session, versions)),
        "sessions": lambda: rows(_TABLE["sessions"], _sessions(session, sessions)),
        "readings": lambda: rows(_TABLE["readings"], reading_rows(session, sessions)),
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
    found = current_fits(session, model)
    # Binary order, so that a paint can be looked up without reading the rest.
    order = sorted(part_of, key=lambda nickname: nickname.encode())
    return {nickname: found[nickname] for nickname in order}


def _checks(session: OrmSession, fits: Collection[int]) -> list[dict[str, Any]]:
    return [
        {
            "fit": check.fit_id,
            "card": card,
            "patch": check.patch,
            "de00": check.de00,
            "scanner": scanner,
            "scan_error": check.scan_error,
        }
        for check, card, scanner in checks_of(session, fits)
    ]


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
        "surface_error": float(coefficients.surface_error[i]),
        "crowding": float(coefficients.crowding[i]),
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


def _drawdowns(session: OrmSession, versions: Sequence[int]) -> Iterator[dict[str, Any]]:
    for row in drawdown_rows(session, versions):
        yield row | {
            "masses": as_json(row["masses"]),
            "lots": as_json(row["lots"]),
            "over": " ".join(row["over"]),
        }


def _sessions(session: OrmSession, wanted: Sequence[int]) -> Iterator[dict[str, Any]]:
    for row in session_rows(session, wanted):
        yield row | {
            # A path is the user's own affair.
            "file": PurePath(row["file"]).name,
            "calibrated": calibrated_in_words(row["kind"], row["done"]),
            "wavelengths": as_json(row["wavelengths"]),
            "corrections": as_json(row["corrections"]) if row["corrections"] else "",
        }


def _fit(row: schema.Fit, coefficients: Coefficients) -> dict[str, Any]:
    return {
        "fit": row.id,
        "created": row.created,
        "code_version": row.code_version,
        "made_with": as_json(row.made_with) if row.made_with else "",
        "settings": as_json(row.settings),
        "inputs": as_json(row.inputs),
        "coefficients_sha256": row.coefficients_sha256,
    } | _theory(coefficients)


def _nuisances(session: OrmSession, fits: Collection[int]) -> Iterator[dict[str, Any]]:
    for fit in fits:
        yield from _records(packed_nuisances(session, fit), fit=fit)


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


_DIGITS = 6
"""Decimals of a residual: a hundredth of what an instrument repeats to."""


def residual_texts(session: OrmSession, current: Mapping[str, schema.PaintFit]) -> Iterator[str]:
    """Residuals of the fits in use as CSV, a paint at a time."""
    for nickname, packed in packed_of(session, current, schema.PaintFit.residuals):
        columns = unpack_columns(packed)
        starts, values = _by_patch(columns)
        if starts.size:
            yield lines(
                words([nickname] * starts.size),
                words(columns["card"][i] for i in starts),
                words(columns["patch"][i] for i in starts),
                figures(values),
                words([current[nickname].model] * starts.size),
            )


def _by_patch(columns: Mapping[str, Any]) -> tuple[Any, Array]:
    """Where each patch begins, (N,), and what is left over of it on the whole grid, (N, W)."""
    nm = np.array(columns["wavelength"], dtype=float)
    left = np.array(columns["measured"], float) - np.array(columns["fitted"], float)
    # The wavelengths of a patch rise; where they don't, the next one begins.
    starts = np.flatnonzero(np.diff(nm, prepend=np.inf) <= 0)
    values = np.full((starts.size, GRID.size), np.nan)
    row = np.searchsorted(starts, np.arange(nm.size), side="right") - 1
    values[row, np.searchsorted(GRID, nm)] = np.round(left, _DIGITS)
    return starts, values
