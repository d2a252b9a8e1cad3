"""Rows of cells, whatever they came from, and the tables of spectra that stand in them."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from ..errors import InputError
from ..plain_text import unescaped
from .cells import FEWEST
from .headings import Wavelength, in_range, wavelength
from .marks import Mark
from .statements import Statement, topic

_SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars"}
_COMMENT = re.compile(r'\s*"?\s*#(?!N/A)')
_KEY_VALUE = re.compile(r"#?\s*([^:=]+?)\s*[:=]\s*(.*)")
_LIKE_AXIS = re.compile(r"(?<![0-9.,])[3-8][0-9]{2}(?![0-9])")
_SPACES = re.compile(r"\s{2,}|\t")


@dataclass(frozen=True)
class Row:
    """A row (or, of a table turned on its side, a column) and where it stands.

    Attributes
    ----------
    comment : bool
        Whether it was marked as one.
    gap : bool
        Whether an empty row stands before it.
    addressed : bool
        Whether its cells have places of their own, so that none can have moved.
    """

    where: str
    cells: list[str]
    comment: bool = False
    gap: bool = False
    addressed: bool = False

    @property
    def filled(self) -> list[str]:
        """What stands in it."""
        return [cell for cell in self.cells if cell]

    def at(self, column: int) -> str:
        """Return the cell of a column; empty beyond the row's end."""
        return self.cells[column] if column < len(self.cells) else ""


@dataclass
class Sample:
    """One spectrum as a file holds it.

    Attributes
    ----------
    texts : mapping of heading to cell
        Its cells outside the spectrum.
    cells : list of W str
    marks : tuple of Mark
        What stands above it, or above its columns.
    """

    where: str
    texts: dict[str, str]
    cells: list[str]
    marks: tuple[Mark, ...] = ()


@dataclass
class Table:
    """Spectra on one set of wavelengths, and what is stated of them.

    Attributes
    ----------
    wavelengths : list of W Wavelength
    beside : tuple of str
        Headings of the columns before the first wavelength.
    """

    where: str
    wavelengths: list[Wavelength]
    samples: list[Sample]
    statements: list[Statement] = field(default_factory=list)
    beside: tuple[str, ...] = ()


def is_axis(names: Sequence[str]) -> bool:
    """Whether three or more of the names are wavelengths."""
    found = 0
    for name in names:
        if _LIKE_AXIS.search(name) and in_range(name):
            found += 1
            if found == FEWEST:
                return True
    return False


def stands_by(row: Row, column: int) -> bool:
    """Whether a row has a wavelength in a column."""
    return not row.comment and wavelength(row.at(column)) is not None


def statement_of(row: Row) -> Statement | None:
    """Statement that a row outside the readings makes, if it makes one."""
    filled = row.filled
    if len(filled) == 1 and (found := _KEY_VALUE.fullmatch(filled[0])):
        return Statement(row.where, found[1], found[2].strip())
    if len(filled) >= 2 and topic(filled[0].lstrip("# ")):
        key = filled[0].lstrip("# ").rstrip(": ")
        return Statement(row.where, key, " ".join(filled[1:]))
    return None


def rows_of_cells(table: Sequence[Sequence[str]]) -> list[Row]:
    """Return the rows of a sheet that hold something."""
    rows, gap = [], False
    for number, texts in enumerate(table, start=1):
        row = Row(f"row {number}", [text.strip() for text in texts], gap=gap, addressed=True)
        filled = row.filled
        gap = not filled
        if filled:
            if _COMMENT.match(filled[0]):
                row = Row(row.where, row.cells, True, row.gap, True)
            rows.append(row)
    return rows


def rows_of_text(text: str, file: str) -> tuple[list[Row], str]:
    """Return the rows of a text that hold something, and what separates their cells, in words.

    Parameters
    ----------
    text : str
    file : str
        What an error names.

    Returns
    -------
    list of Row
    str
        Empty where no separator makes wavelengths of any row or column.

    Raises
    ------
    InputError
        For quotation marks left open.
    """
    lines = re.split(r"\r\n|\r|\n", text.lstrip("\ufeff"))
    problem: csv.Error | None = None
    rows: list[Row] = []
    for separator, word in _SEPARATORS.items():
        if not any(separator in line for line in lines):
            continue
        try:
            rows = _filled(_split(lines, separator))
        except csv.Error as raised:
            problem = raised
            continue
        if has_axis(rows):
            return rows, word
    for pattern, word in ((_SPACES, "columns"), (re.compile(r"\s+"), "spaces")):
        spaced = _filled(
            Row(f"line {n}", pattern.split(line.strip()), bool(_COMMENT.match(line)))
            for n, line in enumerate(lines, start=1)
        )
        if has_axis(spaced):
            return spaced, word
    if problem:
        raise InputError(
            file, None, f"it can't be read as a table ({problem})", "check its quotation marks"
        )
    return rows, ""


def _filled(rows: Iterator[Row]) -> list[Row]:
    kept, gap = [], False
    for row in rows:
        if row.filled:
            kept.append(Row(row.where, row.cells, row.comment, gap))
        gap = not row.filled
    return kept


def _split(lines: Sequence[str], separator: str) -> Iterator[Row]:
    """Cells of each line; a comment stays one cell."""
    comments = {
        i: line.strip().rstrip(separator).strip('" ')
        for i, line in enumerate(lines, start=1)
        if _COMMENT.match(line)
    }
    kept = ("\n" if i in comments else line + "\n" for i, line in enumerate(lines, start=1))
    # Strict, or a quotation mark left open would swallow the samples after it.
    reader = csv.reader(kept, delimiter=separator, skipinitialspace=True, strict=True)
    for row in reader:
        comment = comments.get(reader.line_num)
        texts = [comment] if comment is not None else [unescaped(cell.strip()) for cell in row]
        yield Row(f"line {reader.line_num}", texts, comment is not None)


def axis_columns(rows: Sequence[Row]) -> list[int]:
    """Columns that hold wavelengths; where samples stand in columns they lead the table."""
    width = max((len(row.cells) for row in rows if not row.comment), default=0)
    return [
        column
        for column in range(min(width, 400))
        if is_axis([row.at(column) for row in rows if not row.comment])
    ]


def axis_rows(rows: Sequence[Row]) -> list[int]:
    """Rows that hold wavelengths."""
    return [i for i, row in enumerate(rows) if not row.comment and is_axis(row.cells)]


def has_axis(rows: Sequence[Row]) -> bool:
    """Whether a row or a column holds wavelengths."""
    return bool(axis_rows(rows) or axis_columns(rows))
