"""Walks one number back: coefficient, fit, corrected reading, raw reading, device, card, grams."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...calibrate.cards.card import BARE
from ...calibrate.cards.readings import CardReadings
from ...calibrate.errors import InputError
from ...calibrate.formats.session import Session
from ...calibrate.instrument.corrections_record import changed_by, in_words
from ...calibrate.optics.coefficients import Coefficients
from ..releases.load import LoadedRelease
from ..releases.model_choice import of_model
from ..releases.refit import packed_readings
from ..releases.tables.inputs import session_of as packed_session
from ..store import schema
from ..store.readings import card_of_version, session_of
from ..store.store import Store
from ..store.tiles import calibrated_in_words
from .trace_scans import Scanned, scan_rows, scans_of_release, scans_of_store


@dataclass(frozen=True)
class Origin:
    """What a paint's numbers rest on.

    Attributes
    ----------
    place : str
        The studio or release.
    coefficients : Coefficients
        Of the paint alone.
    fit : mapping
        number, created, code_version, settings, sha256, verdict.
    inputs : tuple of (CardReadings, Session, mapping)
        With the session's number, device, serial and calibration.
    fitted : mapping of (card, patch) to (CIEDE2000, weight)
    scans : tuple of Scanned
        Where it rests on scans.
    """

    place: str
    coefficients: Coefficients
    fit: Mapping[str, Any]
    inputs: tuple[tuple[CardReadings, Session, Mapping[str, Any]], ...]
    fitted: Mapping[tuple[str, str], tuple[float, float]]
    scans: tuple[Scanned, ...] = ()


def of_store(store: Store, text: str, model: str | None = None) -> Origin:
    """Return what a paint in use rests on.

    Parameters
    ----------
    store : Store
    text : str
        Nickname or part of a name.
    model : {"two-flux", "transport"}, optional
        By default that which its mixes with its white are calculated by.

    Raises
    ------
    InputError
        Where there is no such paint, or it has no such fit.
    """
    with store.snapshot() as session:
        fit = store.fits.of(text, model)
        row = store.fits.row(fit.paint, fit.coefficients.model)
        inputs = []
        for item in row.fit.inputs["sessions"]:
            kept = session.get_one(schema.Session, item["session"])
            version = session.get_one(schema.CardVersion, item["card_version"])
            paired, read = card_of_version(version, kept), session_of(kept)
            inputs.append((paired, read, _session(kept)))
        return Origin(
            "this studio",
            fit.coefficients.select([fit.paint]),
            {
                "number": row.fit.id,
                "created": row.fit.created,
                "code_version": row.fit.code_version,
                "settings": row.fit.settings,
                "sha256": row.fit.coefficients_sha256,
                "verdict": fit.verdict,
                "adopted": _adopted(row.fit.inputs),
            },
            tuple(inputs),
            _fitted(fit.patches),
            scans_of_store(session, row.fit.inputs.get("scans", ())),
        )


def of_release(release: LoadedRelease, text: str, model: str | None = None) -> Origin:
    """Return what a paint of a release rests on; `model` as for `of_store`.

    Raises
    ------
    InputError
        Where it has no such paint, or no such fit of it, or the card as it was fitted isn't in it.
    """
    paints = release.tables["paints"]
    mine = paints[paints["paint"].str.casefold() == text.strip().casefold()]
    if mine.empty:
        some = ", ".join(paints["paint"].head(8))
        raise InputError(
            release.name, None, f"it has no paint {text} (it has {some})", "give a nickname of it"
        )
    nickname, white = mine[["paint", "white"]].iloc[0]
    beside = [white] if model is None and white in set(paints["paint"]) else []
    release = of_model(release, [nickname, *beside], model)
    paint = release.tables["paints"].set_index("paint", drop=False).loc[nickname]
    fits = release.tables["fits"]
    fit = fits[fits["fit"] == paint["fit"]].iloc[0]
    said = json.loads(fit["inputs"])
    try:
        readings = packed_readings(release.tables, said)
        scans = scans_of_release(release, said.get("scans", ()))
    except ValueError as error:
        raise InputError(
            release.name, paint["paint"], f"can't be traced ({error})", "trace it in its studio"
        ) from error
    sessions = release.tables["sessions"].set_index("session")
    inputs = tuple(
        (
            paired,
            packed_session(release.tables, item["session"]),
            {
                "number": item["session"],
                **sessions.loc[item["session"], ["device", "serial", "calibrated"]].to_dict(),
            },
        )
        for paired, item in zip(readings, said["sessions"], strict=True)
    )
    patches = release.tables["patches"]
    return Origin(
        f"release {release.version}",
        release.select([paint["paint"]]),
        {
            "number": int(fit["fit"]),
            "created": fit["created"],
            "code_version": fit["code_version"],
            "settings": json.loads(fit["settings"]),
            "sha256": fit["coefficients_sha256"],
            "verdict": paint["verdict"],
            "adopted": _adopted(said),
        },
        inputs,
        _fitted(patches[patches["paint"] == paint["paint"]]),
        scans,
    )


def _adopted(inputs: Mapping[str, Any]) -> dict[str, Any] | None:
    """Name the release that a fit was adopted from, and its digest."""
    said = inputs.get("adopted")
    return None if said is None else {key: said[key] for key in ("release", "version", "digest")}


def _session(row: schema.Session) -> dict[str, Any]:
    calibration = row.calibration
    return {
        "number": row.id,
        "device": row.device.name if row.device else "",
        "serial": row.device.serial if row.device else "",
        "calibrated": calibrated_in_words(calibration.kind, calibration.done)
        if calibration
        else "",
    }


def _fitted(patches: Any) -> dict[tuple[str, str], tuple[float, float]]:
    rows = patches[["card", "patch", "de00", "weight"]].itertuples(index=False)
    return {(row.card, row.patch): (float(row.de00), float(row.weight)) for row in rows}


def trace(origin: Origin, wavelength: float) -> dict[str, Any]:
    """Walk K and S of a paint at one wavelength back to what was weighed and read.

    Returns
    -------
    dict
        JSON-able: ``coefficient`` (its ``model`` says what its K and S are), ``fit``, and
        ``readings``, one for each patch that holds the paint or is bare: corrected and raw
        reflectance, session, device, card, step, grams; and ``scans``, the same of scanned patches.

    Raises
    ------
    InputError
        For a wavelength that isn't on the grid.
    """
    c = origin.coefficients
    at = np.flatnonzero(c.wavelengths == wavelength)
    if not at.size:
        first, last = c.wavelengths[[0, -1]]
        raise InputError(
            None,
            f"{wavelength:g} nm",
            f"expected a wavelength of its grid: {first:g} to {last:g} nm by 10",
            "give the nearest",
        )
    w = int(at[0])
    paint = c.paints[0]
    readings = [
        row
        for paired, read, said in origin.inputs
        if paint in paired.card.paints
        for row in _readings(origin, paint, paired, read, said, wavelength)
    ]
    return {
        "place": origin.place,
        "coefficient": _coefficient(c, w),
        "fit": dict(origin.fit),
        "readings": readings,
        "scans": list(scan_rows(paint, origin.scans, origin.fitted)),
    }


def _coefficient(c: Coefficients, w: int) -> dict[str, Any]:
    k, s = c.uncertainty
    own = np.sqrt((c.own[0, :, :, w] ** 2).sum(axis=0))
    shared = np.sqrt((c.factors[:, 0, :, w] ** 2).sum(axis=0))
    alone = np.sqrt([c.local[0, 0, 0, w], c.local[0, 1, 1, w]])
    parts = {
        name: {"this value alone": alone[i], "the paint's own": own[i], "shared": shared[i]}
        for i, name in enumerate("KS")
    }
    return {
        "paint": c.paints[0],
        "wavelength": float(c.wavelengths[w]),
        "model": c.model,
        "scale": c.scale,
        "K": _plain(c.k[0, w]),
        "S": _plain(c.s[0, w]),
        "uncertainty_K": _plain(k[0, w]),
        "uncertainty_S": _plain(s[0, w]),
        "uncertainty_parts": {
            name: {part: _plain(value) for part, value in of.items()} for name, of in parts.items()
        },
        "ratio_only": bool(c.ratio_only[0, w]),
        "crowding": float(c.crowding[0]),
        "surface_offset": float(c.surface_offset[0]),
    }


def _readings(
    origin: Origin,
    paint: str,
    paired: CardReadings,
    read: Session,
    said: Mapping[str, Any],
    wavelength: float,
) -> list[dict[str, Any]]:
    card, rows = paired.card, []
    grid = int(np.flatnonzero(paired.spectra.wavelengths == wavelength)[0])
    nearest = int(np.abs(read.spectra.wavelengths - wavelength).argmin())
    steps = {drawdown.step: drawdown for drawdown in card.drawdowns}
    for patch in dict.fromkeys(paired.spectra.labels):
        step = steps.get(patch.rpartition("/")[0])
        if step is None and not patch.startswith(f"{BARE}/"):
            continue
        if step is not None and paint not in card.held(step.step):
            continue
        raw = read.spectra.values[[i for i, p in enumerate(read.spectra.labels) if p == patch]]
        de00, weight = origin.fitted.get((card.name, patch), (np.nan, np.nan))
        rows.append(
            {
                "card": card.name,
                "card_date": card.date,
                "patch": patch,
                "masses_g": dict(step.masses) if step else {},
                "taken_from": step.taken_from if step else None,
                "taken_g": step.taken_g if step else None,
                "gap_um": step.gap_um if step else None,
                "corrected": _plain(paired.read(patch)[:, grid].mean()),
                "correction": _correction(read, wavelength, len(raw)),
                "raw": [_plain(value) for value in raw[:, nearest]],
                "raw_nm": float(read.spectra.wavelengths[nearest]),
                "unit": read.unit,
                "fit_de00": _plain(de00),
                "weight": _plain(weight),
                "session": said["number"],
                "file": read.file,
                "sha256": read.sha256,
                "date": read.date,
                "device": said["device"],
                "serial": said["serial"],
                "calibrated": said["calibrated"],
                "geometry": f"{read.geometry}, specular {read.specular}",
                "stages": list(in_words(read.corrections)),
            }
        )
    return rows


def _correction(read: Session, wavelength: float, repeats: int) -> str:
    """Say what was done between the raw reading and the fit."""
    said = []
    if read.corrections is not None:
        said.append(f"corrected for {', '.join(changed_by(read.corrections)) or 'nothing'}")
    if wavelength not in read.spectra.wavelengths:
        said.append("brought to the 10 nm grid from its neighbours")
    if repeats > 1:
        said.append(f"mean of {repeats} readings")
    return "; ".join(said) or "as read"


def _plain(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None
