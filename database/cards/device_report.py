"""What the studio's own readings tell of its spectrophotometers, and how their tiles move."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from ...calibrate.errors import InputError
from ...calibrate.instrument.agreement import Agreement, Scatter, agreement, scatter
from ...calibrate.instrument.repeats import averaged
from ...calibrate.instrument.tiles import PREFIX, TRAP
from ...calibrate.optics.colour import ciede2000, lab
from ...calibrate.optics.spectra import Array, Spectra, to_grid
from ..store import schema
from ..store.imports import Undone
from ..store.readings import session_of
from ..store.store import Store
from ..store.tiles import spectrophotometers

Patch = tuple[str, str]
"""A card and its patch."""
_A_MONTH = 28.0
"""Days; over less than that a change says nothing of a year."""


@dataclass(frozen=True)
class TileTrend:
    """How the readings of one tile went over time.

    Attributes
    ----------
    days : (T,) array
        Since the first reading; for the same moment in order.
    dates : tuple of T str
        ISO 8601.
    level : (T,) array
        Mean reflectance.
    moved : (T,) array
        CIEDE2000 from the first reading.
    slope : float
        Change of the level in a year, over the level; NaN for fewer than three readings or a month.
    slope_uncertainty : float
        Standard uncertainty; NaN likewise.
    """

    name: str
    days: Array
    dates: tuple[str, ...]
    level: Array
    moved: Array
    slope: float
    slope_uncertainty: float


@dataclass(frozen=True)
class InstrumentReport:
    """What is known of a spectrophotometer.

    Attributes
    ----------
    optics : str
        Geometries and conditions that it read under.
    first, last : str
        Dates of its sessions, ISO 8601; empty where none is dated.
    repeatability : Scatter or None
        Repeats of a patch within a session.
    reproducibility : Scatter or None
        Means of a patch over several sessions.
    """

    name: str
    serial: str
    optics: str
    sessions: int
    readings: int
    first: str
    last: str
    repeatability: Scatter | None
    reproducibility: Scatter | None
    tiles: tuple[TileTrend, ...]


@dataclass(frozen=True)
class Compared:
    """Two instruments on the patches that both have read.

    Attributes
    ----------
    remarks : tuple of str
        Why they may not be expected to agree.
    """

    one: str
    other: str
    agreement: Agreement
    worst_patch: str
    remarks: tuple[str, ...]


def instrument_reports(store: Store, name: str | None = None) -> list[InstrumentReport]:
    """Report on one spectrophotometer, or on all that the studio knows.

    Parameters
    ----------
    name : str, optional
        As files or the instrument give it, or a part that fits only one.

    Raises
    ------
    InputError
        Where there is none of that name.
    """
    with store.snapshot() as session:
        devices = spectrophotometers(session)
        chosen = devices if name is None else [_find(devices, name)]
        return [_report(store, device) for device in chosen]


def compare_instruments(store: Store, one: str, other: str) -> Compared:
    """Compare two spectrophotometers on the patches that both have read, as fits take them.

    Raises
    ------
    InputError
        Where there are no such two, or they have read no patch in common.
    """
    with store.snapshot() as session:
        devices = spectrophotometers(session)
        found = [_find(devices, name) for name in (one, other)]
        names = [device.name for device in found]
        if names[0] == names[1]:
            raise InputError(None, names[0], "is one instrument, not two", "name another")
        sessions = [_sessions(store, device) for device in found]
        means = [_means(each) for each in sessions]
        optics = [_optics(each) for each in sessions]
    common = [patch for patch in means[0] if patch in means[1]]
    if not common:
        raise InputError(
            None, " and ".join(names), "have read no patch in common", "read one card with both"
        )
    first, second = (np.array([each[p].mean(axis=0) for p in common]) for each in means)
    worst = common[int(ciede2000(first, second).argmax())]
    remarks: tuple[str, ...] = ()
    if optics[0] != optics[1]:
        said = f"they read differently ({optics[0]}; {optics[1]}), so gloss and texture part them"
        remarks = (said,)
    return Compared(names[0], names[1], agreement(first, second), " ".join(worst), remarks)


def _find(devices: Sequence[schema.Device], name: str) -> schema.Device:
    exact = [d for d in devices if name.casefold() == d.name.casefold()]
    found = exact or [d for d in devices if name.casefold() in d.name.casefold()]
    if len(found) != 1:
        there = ", ".join(d.name for d in devices) or "none yet"
        expected = "fits several instruments" if found else "no such instrument"
        raise InputError(None, name, f"{expected} (there are: {there})", "give its name in full")
    return found[0]


def _sessions(store: Store, device: schema.Device) -> list[schema.Session]:
    """Sessions of dry paint that count."""
    with store.snapshot() as session:
        undone = Undone.of(session).sessions
        rows = store.readings.rows(device_id=device.id, state="dry")
    return [row for row in rows if row.id not in undone]


def _repeats(row: schema.Session) -> list[Array]:
    """CIELAB of the readings of each patch of a session, as fits take them."""
    spectra = to_grid(session_of(row).trusted)
    found = lab(spectra.values)
    by_patch: dict[str, list[Array]] = defaultdict(list)
    for label, colour in zip(spectra.labels, found, strict=True):
        if np.isfinite(colour).all():
            by_patch[label].append(colour)
    return [np.array(colours) for colours in by_patch.values()]


def _means(sessions: Sequence[schema.Session]) -> dict[Patch, Array]:
    """CIELAB of each patch as read in each session, repeats averaged, (sessions, 3)."""
    every: dict[Patch, list[Array]] = defaultdict(list)
    for row in sessions:
        patches = averaged(to_grid(session_of(row).trusted))
        for patch, colour in zip(patches.labels, lab(patches.mean), strict=True):
            if np.isfinite(colour).all():
                every[(row.card.name, patch)].append(colour)
    return {patch: np.array(colours) for patch, colours in every.items()}


def _optics(sessions: Sequence[schema.Session]) -> str:
    said = {
        f"{row.geometry} specular {row.specular}" + (f" {row.condition}" if row.condition else "")
        for row in sessions
    }
    return ", ".join(sorted(said))


def _report(store: Store, device: schema.Device) -> InstrumentReport:
    sessions = _sessions(store, device)
    dates = sorted(row.date for row in sessions if row.date)
    return InstrumentReport(
        name=device.name,
        serial=device.serial,
        optics=_optics(sessions),
        sessions=len(sessions),
        readings=sum(len(row.readings) for row in sessions),
        first=dates[0][:10] if dates else "",
        last=dates[-1][:10] if dates else "",
        repeatability=scatter([readings for row in sessions for readings in _repeats(row)]),
        reproducibility=scatter(list(_means(sessions).values())),
        tiles=_tiles(device),
    )


def _tiles(device: schema.Device) -> tuple[TileTrend, ...]:
    by_name: dict[str, dict[tuple[str, tuple[float, ...]], schema.Calibration]] = defaultdict(dict)
    for row in sorted(device.calibrations, key=lambda row: row.id):
        if not row.kind.startswith(PREFIX) or row.result.get("calibrated"):
            continue  # just calibrated on it: what it reads then tells nothing
        # A file that was undone and read again brings the same reading twice.
        key = (row.done, tuple(row.result["reflectance"]))
        by_name[row.kind.removeprefix(PREFIX)].setdefault(key, row)
    return tuple(_trend(name, list(rows.values())) for name, rows in sorted(by_name.items()))


def _trend(name: str, rows: Sequence[schema.Calibration]) -> TileTrend:
    rows = sorted(rows, key=lambda row: row.done)
    when = [datetime.fromisoformat(row.done).replace(tzinfo=None) for row in rows]
    days = np.array([(each - when[0]).total_seconds() for each in when]) / 86400
    level = np.array([np.mean(row.result["reflectance"]) for row in rows])
    spectra = [_on_grid(row.result) for row in rows]
    colours = lab(np.concatenate(spectra))
    slope, unsure = np.nan, np.nan
    if len(rows) > 2 and np.ptp(days) >= _A_MONTH:
        x = days - days.mean()
        slope = float(x @ level / (x @ x))
        rest = level - level.mean() - slope * x
        unsure = float(np.sqrt(rest @ rest / (len(rows) - 2) / (x @ x)))
    # Of a trap a share means nothing: what it reads is next to nought.
    unit = 1.0 if name.startswith(TRAP) else float(level.mean())
    return TileTrend(
        name,
        days,
        tuple(row.done for row in rows),
        level,
        ciede2000(np.tile(colours[0], (len(rows), 1)), colours),
        365.25 * slope / unit,
        365.25 * unsure / unit,
    )


def _on_grid(result: Mapping[str, list[float]]) -> Array:
    values = np.array([result["reflectance"]], dtype=float)
    return to_grid(Spectra.from_values(result["wavelengths"], values, ["tile"])).values
