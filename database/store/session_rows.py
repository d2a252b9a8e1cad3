"""A session of readings and its rows in the studio database."""

from __future__ import annotations

from collections import Counter
from typing import Any, cast

import numpy as np

from ...calibrate.formats.session import Session
from ...calibrate.optics.spectra import Array, Spectra
from . import schema


def session_of(row: schema.Session) -> Session:
    """Return the session that a row keeps, as it was read."""
    values = np.array([reading.reflectance for reading in row.readings], dtype=float)
    flags = np.array([reading.flags for reading in row.readings], dtype=np.uint16)
    labels = tuple(reading.patch for reading in row.readings)
    spectra = Spectra(np.array(row.wavelengths, dtype=float), values, labels, flags)
    corrected = None
    if row.corrections is not None:
        corrected = np.array([reading.corrected for reading in row.readings], dtype=float)
    return Session(
        spectra=spectra,
        file=row.file,
        sha256=row.sha256,
        format=row.format,
        # The table's own checks hold these to the words of their types.
        unit=cast(Any, row.unit),
        geometry=cast(Any, row.geometry),
        specular=cast(Any, row.specular),
        state=cast(Any, row.state),
        condition=row.condition,
        date=row.date,
        device=row.device.name if row.device else None,
        serial=row.device.serial or None if row.device else None,
        header=row.header,
        corrected=None if corrected is None else spectra.with_values(corrected),
        corrections=row.corrections,
    )


def reading_rows(read: Session) -> list[schema.Reading]:
    """Rows for the readings of a session, numbered within their patch."""
    spectra, repeats = read.spectra, Counter[str]()
    corrected = [None] * len(spectra) if read.corrected is None else read.corrected.values
    rows = []
    for i, label in enumerate(spectra.labels):
        repeats[label] += 1
        rows.append(
            schema.Reading(
                patch=label,
                repeat=repeats[label],
                reflectance=_plain(spectra.values[i]),
                flags=spectra.flags[i].tolist(),
                corrected=_plain(corrected[i]),
            )
        )
    return rows


def _plain(values: Array | None) -> list[float | None] | None:
    if values is None:
        return None
    return [None if np.isnan(value) else value for value in values.tolist()]
