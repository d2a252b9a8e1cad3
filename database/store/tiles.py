"""What instruments read of their tiles: kept with the session, and over the years by device."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session as OrmSession

from ...calibrate.formats.session import Session
from ...calibrate.instrument.tiles import PREFIX, TileReading, tile_means
from ...calibrate.optics.spectra import Array
from . import schema

_WHITE = f"{PREFIX}white"
_SITTINGS = 10
"""Earlier sittings that a tile is held against."""
_STATED = "stated/"
"""Kind of what a file says was done before its readings; of the reading itself nothing is known."""


def tile_calibrations(device: schema.Device, read: Session, done: str) -> list[schema.Calibration]:
    """Rows for the readings of tiles that came with a session, in order.

    Parameters
    ----------
    read : Session
        Corrected.
    done : str
        UTC, ISO 8601; where the session has no date.
    """
    if read.corrections is None:
        return _stated(device, read)
    certified = {tile["name"]: tile for tile in read.corrections["tiles"]}
    return [
        schema.Calibration(
            device=device,
            done=read.date or done,
            kind=f"{PREFIX}{reading['name']}",
            result=tile_result(
                read.spectra.wavelengths.tolist(), reading, certified.get(reading["name"])
            ),
        )
        for reading in read.corrections["readings"]
    ]


def _stated(device: schema.Device, read: Session) -> list[schema.Calibration]:
    """Rows for a calibration that a file merely tells of; files of one sitting tell of one."""
    if read.calibrated is None:
        return []
    kind = f"{_STATED}{read.tile or 'tile'}"
    known = (row for row in device.calibrations if (row.kind, row.done) == (kind, read.calibrated))
    row = next(known, None) or schema.Calibration(
        device=device, done=read.calibrated, kind=kind, result={"tile": read.tile}
    )
    return [row]


def spectrophotometers(session: OrmSession) -> list[schema.Device]:
    """Return every instrument that reads spectra, by name."""
    query = select(schema.Device).where(schema.Device.kind == "spectrophotometer")
    return sorted(session.scalars(query), key=lambda device: device.name.casefold())


def earlier_tiles(
    session: OrmSession, device: str | None, wavelengths: Array, sitting: int | None = None
) -> list[dict[str, Array]]:
    """What an instrument read of its tiles in its last sittings, the newest first.

    Parameters
    ----------
    session : Session
    device : str or None
        Its name.
    wavelengths : (W,) array, nm
        Readings on others aren't compared.
    sitting : int, optional
        One that isn't an earlier one.

    Returns
    -------
    list of mapping of tile to (W,) array
    """
    known = session.scalar(select(schema.Device).where(schema.Device.name == device))
    if known is None:
        return []
    groups: dict[tuple[str, int | None], list[TileReading]] = {}
    for row in sorted(known.calibrations, key=lambda row: row.done):
        said = row.result
        if not row.kind.startswith(PREFIX) or said.get("sitting", -1) == sitting:
            continue
        values = np.array(said["reflectance"], dtype=float)
        if not np.array_equal(said["wavelengths"], wavelengths) or np.isnan(values).all():
            continue
        reading = TileReading(
            row.kind.removeprefix(PREFIX), values, 0.0, calibrated=bool(said.get("calibrated"))
        )
        key = ("" if "sitting" in said else row.done, said.get("sitting"))
        groups.setdefault(key, []).append(reading)
    return [tile_means(readings) for readings in reversed(groups.values())][:_SITTINGS]


def last_white(calibrations: Sequence[schema.Calibration]) -> schema.Calibration | None:
    """Return the last reading of the white tile, which a session goes by."""
    held = (_WHITE, _STATED)
    return next((row for row in reversed(calibrations) if row.kind.startswith(held)), None)


def calibrated_in_words(kind: str | None, done: str | None) -> str:
    """On what an instrument was calibrated, and when; empty where nothing is recorded."""
    if kind is None:
        return ""
    name = kind.removeprefix(_STATED).removeprefix(PREFIX)
    return f"{name if 'tile' in name.casefold() else f'{name} tile'}, {done}"


def tile_result(
    wavelengths: list[float], reading: dict[str, Any], certified: dict[str, Any] | None
) -> dict[str, Any]:
    """Return what is kept of one reading of a tile: raw, with the certificate it goes by."""
    return {
        "wavelengths": wavelengths,
        "reflectance": reading["values"],
        "temperature_c": reading["temperature_c"],
        "certified": certified,
    }
