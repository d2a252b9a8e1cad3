"""Readings written as a table: CSV, or a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import numpy as np

from ..plain_text import escaped
from . import cells
from .session import Session


def _rows(session: Session) -> Iterator[list[str | float | None]]:
    said = {
        "created": session.date,
        "instrumentation": session.device,
        "geometry": session.notation,
        "specular": session.specular if session.geometry != "45:0" else None,
        "condition": session.condition,
        "unit": "fraction",
        "state": session.state,
        "instrument serial number": session.serial,
        "calibration date": session.calibrated,
        "calibration tile": session.tile,
    }
    for key, value in (dict(session.header) | said).items():
        if value is not None:
            yield [f"# {cells.plain(key)}: {cells.plain(value)}"]
    spectra = session.spectra
    yield ["sample", *(np.format_float_positional(nm, trim="-") for nm in spectra.wavelengths)]
    for label, row in zip(spectra.labels, spectra.values.tolist(), strict=True):
        yield [label, *(None if np.isnan(value) else value for value in row)]


def _in_csv(cell: str | float | None) -> str | float:
    if isinstance(cell, str):
        return escaped(cell)
    return "" if cell is None else cell


def format_csv(session: Session) -> str:
    """Write a session as CSV: raw readings as fractions, with every digit; empty where missing.

    Its `file`, `sha256`, `format` and `unit` aren't written.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for row in _rows(session):
        if len(row) == 1:
            out.write(f"{row[0]}\n")
        else:
            writer.writerow(_in_csv(cell) for cell in row)
    return out.getvalue()


def format_xlsx(session: Session) -> bytes:
    """Write a session as a spreadsheet of one sheet; as `format_csv`, but with sixteen digits."""
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for number, row in enumerate(_rows(session), 1):
        for column, cell in enumerate(row, 1):
            place = sheet.cell(number, column)
            place.value = cell
            if isinstance(cell, str):
                place.data_type = "s"  # a name that begins with = is no formula
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
