"""Reads a file of readings, whatever its format, and says what it took it for."""

from __future__ import annotations

import hashlib
import io
import re
import struct
import warnings
import zipfile
from pathlib import Path

from ..errors import CalibrateDo, InputError
from .cgats import looks_like_cgats, parse_cgats
from .cxf import parse_cxf
from .session import Session
from .spot_ink import SpotInk, parse_spot_ink
from .table import has_spectra, parse_cells, parse_table

LARGEST = 50_000_000
"""Bytes; a file of readings is far smaller."""
_UNPACKED = 500_000_000

_KNOWN = (
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"\xd0\xcf\x11\xe0", "an old binary spreadsheet or document"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"SQLite format 3", "a database"),
    (b"\x7fELF", "a program"),
)
_PICTURES = ("a PNG picture", "a JPEG picture", "a TIFF picture")
_DO = "export the readings as CGATS text, CxF3, CSV or XLSX"


def _bytes(path: Path, file: str) -> bytes:
    if path.is_dir():
        raise InputError(file, None, "it is a folder", "give one file of readings")
    if not path.exists():
        raise InputError(file, None, "no such file", "check the name and the folder")
    try:
        size = path.stat().st_size
        if size > LARGEST:
            raise InputError(
                file,
                None,
                f"it has {size / 1e6:.0f} MB, readings have {LARGEST / 1e6:.0f} MB at most",
                "give a file of readings, or split it",
            )
        raw = path.read_bytes()
    except OSError as problem:
        raise InputError(
            file, None, f"it can't be opened ({problem.strerror})", "check who may read it"
        ) from None
    if not raw.strip():
        raise InputError(file, None, "it is empty", "export the readings again")
    return raw


def _text(raw: bytes, file: str) -> str:
    """Decode UTF-8, UTF-16 with a byte order mark, else Windows-1252."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return raw.decode("utf-16")
        except UnicodeDecodeError:
            raise InputError(file, None, "its UTF-16 text is damaged", _DO) from None
    for start, what in _KNOWN:
        if raw.startswith(start) and (len(start) > 2 or b"\x00" in raw):
            do = CalibrateDo.SCAN() if what in _PICTURES else _DO
            raise InputError(file, None, f"expected readings, this looks like {what}", do)
    if re.search(rb"[\x00-\x08\x0e-\x19\x1b-\x1f]", raw):
        raise InputError(file, None, "expected readings, this looks like a binary file", _DO)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", errors="replace")
    return text.rstrip("\x1a")  # the end-of-file mark of old exporters


def _sheets(raw: bytes, file: str) -> dict[str, list[list[str]]]:
    """Cells of each sheet of a spreadsheet, as text."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            names = archive.namelist()
            unpacked = sum(info.file_size for info in archive.infolist())
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError, struct.error):
        raise InputError(file, None, "this looks like a damaged archive", _DO) from None
    if "xl/workbook.xml" not in names:
        raise InputError(file, None, "expected readings, this looks like a zip archive", _DO)
    if unpacked > _UNPACKED:
        raise InputError(file, None, "it unpacks to far more than a sheet of readings", _DO)
    import pandas as pd

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl speaks of styles, which don't matter here
            sheets = pd.read_excel(
                io.BytesIO(raw),
                sheet_name=None,
                header=None,
                dtype=object,
                na_filter=False,
                engine="openpyxl",
            )
    except Exception as problem:  # a broken workbook raises almost anything
        raise InputError(
            file, None, f"the spreadsheet can't be read ({type(problem).__name__})", _DO
        ) from None
    return {
        str(name): [["" if cell is None else str(cell) for cell in row] for row in sheet.to_numpy()]
        for name, sheet in sheets.items()
    }


def read_spot_ink(path: str | Path, **said: str | None) -> SpotInk | None:
    """Read a spot-ink characterisation (ISO 17972-4); None where the file is none.

    Parameters
    ----------
    path : str or Path
    said : unit, geometry, specular
        As for `read_session`.

    Raises
    ------
    InputError
        For one that can't be read without guessing.
    """
    file = str(path)
    raw = _bytes(Path(path), file)
    if raw.startswith(b"PK\x03\x04"):
        return None
    text = _text(raw, file)
    if not text.lstrip().startswith("<"):
        return None
    return parse_spot_ink(text, file, hashlib.sha256(raw).hexdigest(), **said)


def read_session(
    path: str | Path,
    *,
    unit: str | None = None,
    geometry: str | None = None,
    specular: str | None = None,
) -> Session:
    """Read a file of readings: CGATS.17 / ISO 28178 text, CxF3, CSV or TSV, XLSX.

    Parameters
    ----------
    path : str or Path
    unit : {"percent", "fraction"}, optional
        Said by the user where the file doesn't; must not contradict it.
    geometry : {"di:8", "8:di", "45:0"}, optional
    specular : {"included", "excluded"}, optional

    Returns
    -------
    Session
        Its `format` says what the file was taken for.

    Raises
    ------
    InputError
        For a file that can't be read, isn't one of readings, or leaves something to guess.

    Examples
    --------
    Of the demonstration's invented cards:

    >>> from importlib.resources import files
    >>> session = read_session(files("tintladder.measurements") / "boatyard/readings/buoy-red.txt")
    >>> session.notation, len(session.spectra), session.spectra.values[2].max().item()
    ('di:8', 32, 0.81384)
    """
    path, file = Path(path), str(path)
    raw = _bytes(path, file)
    sha256 = hashlib.sha256(raw).hexdigest()
    if raw.startswith(b"PK\x03\x04"):
        sheets = {name: table for name, table in _sheets(raw, file).items() if has_spectra(table)}
        if len(sheets) > 1:
            raise InputError(
                file,
                f"sheets {', '.join(sheets)}",
                "several sheets hold spectra",
                "save the one you mean by itself",
            )
        name, table = next(iter(sheets.items()), ("", []))
        return parse_cells(
            table,
            file,
            sha256,
            taken_for=f"XLSX sheet {name}",
            unit=unit,
            geometry=geometry,
            specular=specular,
        )
    text = _text(raw, file)
    if looks_like_cgats(text):
        parse = parse_cgats
    elif text.lstrip().startswith("<"):
        parse = parse_cxf
    elif re.search(r"^\s*\[\[drawdown\]\]", text, re.MULTILINE):
        raise InputError(
            file, None, "expected readings, this looks like a card file", "give it as the card"
        )
    else:
        parse = parse_table
    return parse(text, file, sha256, unit=unit, geometry=geometry, specular=specular)
