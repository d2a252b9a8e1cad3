"""The cells of a spreadsheet as they are shown, read one by one, within bounds that are said."""

from __future__ import annotations

import io
import re
import struct
import warnings
import zipfile
from datetime import date, datetime, time, timedelta
from typing import Any

from ..errors import InputError

MOST_CELLS = 2_000_000
"""Cells of a workbook that hold something; those of a card's readings are far fewer."""
MOST_COLUMNS = 5_000
UNPACKED = 60_000_000
"""Bytes that a workbook may unpack to."""
_STRETCH = 1000
_DO = "export the readings as CGATS text, CxF3, CSV or XLSX"
_QUOTED = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]|_.|\*.')


def sheets_of(raw: bytes, file: str) -> dict[str, list[list[str]]]:
    """Return the cells of each sheet of a spreadsheet, as text, as they are shown.

    A cell with the number format of percent, ``0.00%``, shows 0.0455 as 4.55 %: its text is
    ``4.55%``. A format that writes the sign behind a number as text leaves the number as it is.

    Parameters
    ----------
    raw : bytes
    file : str
        What an error names.

    Returns
    -------
    mapping of sheet name to rows of str

    Raises
    ------
    InputError
        For what is no workbook, a damaged one, or one that swells beyond all readings.
    """
    _check_archive(raw, file)
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it speaks of styles that don't matter here
            book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
            count = 0
            sheets: dict[str, list[list[str]]] = {}
            for sheet in book.worksheets:
                if not hasattr(sheet, "reset_dimensions"):
                    continue  # a sheet that is a chart
                # What a sheet says of its size may be wrong, or the last cell of all.
                sheet.reset_dimensions()
                rows: list[list[str]] = []
                empty = 0
                for row in sheet.rows:
                    texts = _texts(row, sheet.title, file)
                    if not texts:
                        empty += 1
                        continue
                    count += len(texts)
                    if count > MOST_CELLS:
                        raise _too_large(file, f"has more than {MOST_CELLS:,} cells")
                    # Of a long stretch of empty rows only that it is there says anything.
                    empty = empty if empty < _STRETCH else 1
                    count += empty
                    rows += [*([[]] * empty), texts]
                    empty = 0
                sheets[sheet.title] = rows
    except InputError:
        raise
    except Exception as problem:  # a broken workbook raises almost anything
        raise InputError(
            file, None, f"the spreadsheet can't be read ({type(problem).__name__})", _DO
        ) from None
    return sheets


def _check_archive(raw: bytes, file: str) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            names = archive.namelist()
            unpacked = sum(info.file_size for info in archive.infolist())
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError, struct.error):
        raise InputError(file, None, "this looks like a damaged archive", _DO) from None
    if "xl/workbook.xml" not in names:
        raise InputError(file, None, "expected readings, this looks like a zip archive", _DO)
    if unpacked > UNPACKED:
        raise _too_large(file, f"unpacks to {unpacked / 1e6:.0f} MB")


def _too_large(file: str, words: str) -> InputError:
    return InputError(
        file,
        None,
        f"it {words}, far more than a sheet of readings",
        "export the readings alone",
    )


def _texts(row: tuple[Any, ...], sheet: str, file: str) -> list[str]:
    """Text of each cell of a row up to the last that holds something."""
    last = next((i for i in range(len(row) - 1, -1, -1) if row[i].value not in (None, "")), -1)
    if last >= MOST_COLUMNS:
        raise _too_large(file, f"has a value in column {last + 1} of sheet {sheet}")
    return [_shown(cell, sheet, file) for cell in row[: last + 1]]


def _shown(cell: Any, sheet: str, file: str) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        if isinstance(value, (datetime, date, time, timedelta)):
            return value.isoformat() if not isinstance(value, timedelta) else str(value)
        return str(value)
    form = str(cell.number_format or "General").split(";")[0]
    bare = _QUOTED.sub("", form)
    if "%" in bare:
        # To fifteen digits, as a spreadsheet calculates: 100 x 0.0455 is 4.55.
        return f"{100 * value:.15g}%"
    if re.search(r"[0#?],+(?![0#?,])", bare):
        raise InputError(
            file,
            f"sheet {sheet}, {cell.coordinate}",
            f"the number format {form} shows another number than the cell holds",
            "give the cells a plain number format",
        )
    text = repr(int(value)) if float(value).is_integer() and abs(value) < 1e15 else repr(value)
    return f"{text}%" if "%" in form else text
