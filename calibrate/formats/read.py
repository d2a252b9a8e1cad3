"""Reads a file of readings, whatever its format, and says what it took it for."""

from __future__ import annotations

import hashlib
import re
import stat
from pathlib import Path

from ..errors import CalibrateDo, InputError
from .cgats import looks_like_cgats, parse_cgats
from .cxf import parse_cxf
from .gathered import Said, session_of
from .marks import Mark, marks_in
from .rows import Table
from .session import Session
from .spot_ink import SpotInk, parse_spot_ink
from .table import has_spectra, parse_cells, parse_table, tables_of_cells
from .workbook import sheets_of

LARGEST = 50_000_000
"""Bytes; a file of readings is far smaller."""
LONGEST_LINE = 1_000_000
"""Characters of a line of text; a header of readings is far shorter."""

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
    try:
        # Asked before it is opened: to open a pipe waits until somebody writes into it.
        kind = path.stat().st_mode
    except OSError as problem:
        if isinstance(problem, FileNotFoundError):
            raise InputError(file, None, "no such file", "check the name and the folder") from None
        raise _closed(file, problem) from None
    except ValueError:
        raise InputError(file, None, "no such file", "check the name and the folder") from None
    if stat.S_ISDIR(kind):
        raise InputError(file, None, "it is a folder", "give one file of readings")
    if not stat.S_ISREG(kind):
        raise InputError(
            file, None, "it is a pipe or a device, not a file", "save the readings as a file first"
        )
    try:
        with path.open("rb") as opened:
            raw = opened.read(LARGEST + 1)
    except OSError as problem:
        raise _closed(file, problem) from None
    if len(raw) > LARGEST:
        raise InputError(
            file,
            None,
            f"it has more than {LARGEST / 1e6:.0f} MB, readings have far less",
            "give a file of readings, or split it",
        )
    if not raw.strip():
        raise InputError(file, None, "it is empty", "export the readings again")
    return raw


def _closed(file: str, problem: OSError) -> InputError:
    return InputError(
        file, None, f"it can't be opened ({problem.strerror})", "check who may read it"
    )


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
    only: str | None = None,
) -> Session:
    """Read a file of readings: CGATS.17 / ISO 28178 text, CxF3, CSV or TSV, XLSX.

    Parameters
    ----------
    path : str or Path
    unit : {"percent", "fraction"}, optional
        Said by the user where the file doesn't; must not contradict it.
    geometry : {"di:8", "8:di", "45:0"}, optional
    specular : {"included", "excluded"}, optional
    only : str, optional
        Which readings are meant, where the file holds several of one sample that are no repeats:
        words such as ``M1``, or a column and its word as in ``Mode=SCE``, with commas between.

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
    said = Said(unit, geometry, specular, only)
    raw = _bytes(path, file)
    sha256 = hashlib.sha256(raw).hexdigest()
    if raw.startswith(b"PK\x03\x04"):
        return _of_workbook(raw, file, sha256, said)
    text = _text(raw, file)
    if text.lstrip().startswith("<"):
        return parse_cxf(text, file, sha256, said)
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST_LINE:
            raise InputError(
                file,
                f"line {number}",
                f"it has {len(line):,} characters, a line of readings has {LONGEST_LINE:,} at most",
                "export the readings again",
            )
    if looks_like_cgats(text):
        return parse_cgats(text, file, sha256, said)
    if re.search(r"^\s*\[\[drawdown\]\]", text, re.MULTILINE):
        raise InputError(
            file, None, "expected readings, this looks like a card file", "give it as the card"
        )
    return parse_table(text, file, sha256, said)


def _of_workbook(raw: bytes, file: str, sha256: str, said: Said) -> Session:
    sheets = {name: cells for name, cells in sheets_of(raw, file).items() if has_spectra(cells)}
    if len(sheets) < 2:
        name, cells = next(iter(sheets.items()), ("", []))
        return parse_cells(cells, file, sha256, said, taken_for=f"XLSX sheet {name}")
    tables: list[Table] = []
    for name, cells in sheets.items():
        found, orientation = tables_of_cells(cells, file)
        for table in found:
            table.where = f"sheet {name}, {table.where}"
            mark = Mark("sheet", "sheet", name, name)
            for sample in table.samples:
                sample.where = f"sheet {name}, {sample.where}"
                sample.marks += (*marks_in(name), mark)
        tables += found
    return session_of(tables, file, sha256, f"XLSX, {len(sheets)} sheets, {orientation}", said)
