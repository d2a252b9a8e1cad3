"""Spectra as a table: CSV of any separator, or a spreadsheet; samples in rows or in columns."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ..errors import InputError
from ..optics.spectra import Spectra, check_possible
from . import cells
from .session import Session
from .statements import Statement, resolve, topic

_SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
_WAVELENGTH_WORDS = re.compile(r"\s*(?:nm\b|wave|lambda|λ|wl\b)", re.IGNORECASE)
_COMMENT = re.compile(r'\s*"?\s*#(?!N/A)')
_KEY_VALUE = re.compile(r"#?\s*([^:=]+?)\s*[:=]\s*(.*)")
_AXIS_ROWS = 200
"""An axis of wavelengths begins within so many rows."""


@dataclass(frozen=True)
class _Row:
    """A row (or, of a table turned on its side, a column) and where it stands."""

    where: str
    cells: list[str]

    @property
    def filled(self) -> list[str]:
        return [cell for cell in self.cells if cell]


def _in_range(name: str) -> bool:
    found = cells.wavelength(name)
    return found is not None and cells.SHORTEST <= found.nm <= cells.LONGEST


def _is_axis(names: Sequence[str]) -> bool:
    return sum(_in_range(name) for name in names) >= cells.FEWEST


def _axes(rows: Sequence[_Row]) -> tuple[int | None, int | None]:
    """First row and first column that hold wavelengths."""
    row = next((i for i, r in enumerate(rows[:_AXIS_ROWS]) if _is_axis(r.cells)), None)
    width = max((len(r.cells) for r in rows), default=0)
    # Where samples stand in columns the wavelengths lead, after a few columns at most.
    for j in range(min(width, 20)):
        if _is_axis([r.cells[j] for r in rows if j < len(r.cells)]):
            return row, j
    return row, None


def _statement(row: _Row) -> Statement | None:
    """Statement that a row above the readings makes, if it makes one."""
    filled = row.filled
    if len(filled) == 1 and (found := _KEY_VALUE.fullmatch(filled[0])):
        return Statement(row.where, found[1], found[2].strip())
    if len(filled) >= 2 and topic(filled[0].lstrip("# ")):
        key = filled[0].lstrip("# ").rstrip(": ")
        return Statement(row.where, key, " ".join(filled[1:]))
    return None


def _turned(rows: list[_Row], column: int, file: str) -> tuple[list[_Row], list[_Row]]:
    """Rows above the names of the samples, and the table below turned on its side."""
    cells_of_axis = [row.cells[column] if column < len(row.cells) else "" for row in rows]
    first = next(i for i, cell in enumerate(cells_of_axis) if _in_range(cell))
    while first and cells.wavelength(cells_of_axis[first - 1]):
        first -= 1
    preamble = [row for row in rows[:first] if _statement(row)]
    table = [row for row in rows[:first] if not _statement(row)] + rows[first:]
    # A row shorter than the row of names would leave a name without its values.
    named = len(rows[first - 1].cells) if first else 0
    for row, cell in zip(rows[first:], cells_of_axis[first:], strict=True):
        if cells.wavelength(cell) and len(row.cells) < named:
            raise InputError(
                file,
                row.where,
                f"expected {named} cells as in the row of names, found {len(row.cells)}",
                "leave a cell empty where a value is missing",
            )
    width = max(len(row.cells) for row in table)
    padded = [row.cells + [""] * (width - len(row.cells)) for row in table]
    turned = [
        _Row(f"column {j + 1}", list(line)) for j, line in enumerate(zip(*padded, strict=True))
    ]
    return preamble, [turned[column], *turned[:column], *turned[column + 1 :]]


def _layout(rows: list[_Row], file: str) -> tuple[list[_Row], list[_Row], str]:
    """Split into what stands above and the table with its header of wavelengths first."""
    row, column = _axes(rows)
    if row is not None and column is not None:
        corner = rows[row].cells[column] if column < len(rows[row].cells) else ""
        if _WAVELENGTH_WORDS.match(corner):
            row = None
        elif cells.normal(corner) in (*cells.LABELS, *cells.LABELS_LAST):
            column = None
        else:
            raise InputError(
                file,
                rows[row].where,
                "both a row and a column look like wavelengths",
                'head the column of wavelengths "nm", or that of the samples "sample"',
            )
    if row is not None:
        return rows[:row], rows[row:], "samples in rows"
    if column is not None:
        return *_turned(rows, column, file), "samples in columns"
    raise InputError(
        file,
        None,
        "expected spectra, but neither a row nor a column of it holds three wavelengths "
        f"from {cells.SHORTEST:g} to {cells.LONGEST:g} nm",
        "export spectral reflectance as CGATS, CSV or XLSX, with wavelengths such as 400 or NM400",
    )


def _check_whole(header: _Row, sample: _Row, axis: Sequence[int], file: str) -> None:
    """Refuse a row whose cells may have moved against the header's."""
    width = len(header.cells)
    if len(sample.cells) <= axis[-1] or any(sample.cells[width:]):
        raise InputError(
            file,
            sample.where,
            f"expected {width} cells as in the header, found {len(sample.cells)}",
            "leave a cell empty where a value is missing, and separate cells by tabs or "
            "semicolons if numbers have a decimal comma",
        )
    for name, cell in list(zip(header.cells, sample.cells, strict=False))[axis[0] :]:
        if cell and not name:
            raise InputError(
                file,
                sample.where,
                f"{cells.plain(cell)[:40]!r} stands where the header has no wavelength",
                "give each value its wavelength",
            )


def _names(header: _Row, samples: Sequence[_Row], axis: Sequence[int], file: str) -> list[str]:
    """Name of each sample."""
    others = [
        j
        for j in range(len(header.cells))
        if j not in axis and any(j < len(s.cells) and s.cells[j] for s in samples)
    ]
    where = [sample.where for sample in samples]
    columns = {j: [s.cells[j] if j < len(s.cells) else "" for s in samples] for j in others}
    # Of two columns with one name the first counts.
    found = cells.labels({header.cells[j]: columns[j] for j in reversed(others)}, file, where)
    leading = [j for j in others if j < axis[0]]
    if found is None and len(leading) == 1:
        found = cells.labels({"SAMPLE": columns[leading[0]]}, file, where)
    if found is None:
        raise InputError(
            file,
            header.where,
            "nothing tells the samples' names",
            'head the names "sample" and put them before the first wavelength',
        )
    return found


def _parse(
    rows: list[_Row],
    file: str,
    sha256: str,
    taken_for: str,
    unit: str | None,
    geometry: str | None,
    specular: str | None,
) -> Session:
    rows = [row for row in rows if row.filled]
    comments = [row for row in rows if _COMMENT.match(row.filled[0])]
    rest = [row for row in rows if not _COMMENT.match(row.filled[0])]
    above, (header, *samples), orientation = _layout(rest, file)
    for name in header.cells:
        if cells.almost_wavelength(name):
            raise InputError(
                file, f"{header.where}, {name}", "expected a wavelength such as 400", "correct it"
            )
    found = [(w, j) for j, name in enumerate(header.cells) if (w := cells.wavelength(name))]
    wl = cells.check_wavelengths([w.nm for w, _ in found], file, header.where)
    axis = [j for _, j in found]
    for comment in comments:
        if cells.commented_reading(" ".join(comment.filled), wl.size) and not any(
            cells.wavelength(part) for part in re.split(r"[\s;,]+", " ".join(comment.filled))
        ):
            raise InputError(
                file,
                comment.where,
                "this row starts with # yet looks like a reading",
                "name the sample without #, or delete the row",
            )
    samples = [sample for sample in samples if sample.filled]
    if not samples:
        raise InputError(
            file, header.where, "there is no reading below it", "export the session again"
        )
    for sample in samples:
        _check_whole(header, sample, axis, file)
    rows_of_values = [[s.cells[j] if j < len(s.cells) else "" for j in axis] for s in samples]
    statements = []
    for row in [*comments, *above]:
        said = _statement(row)
        statements.append(said or Statement(row.where, row.where, " ".join(row.filled)))
    stated = resolve(
        statements,
        file,
        column_unit=cells.column_unit([w for w, _ in found], file),
        unit=unit,
        geometry=geometry,
        specular=specular,
    )
    where = [s.where for s in samples]
    names = _names(header, samples, axis, file)
    values = cells.values(rows_of_values, wl, names, where, file) / stated.scale
    spectra = Spectra.from_values(wl, values, names)
    check_possible(spectra, file)
    return Session(
        spectra=spectra,
        file=file,
        sha256=sha256,
        format=f"{taken_for}, {orientation}",
        **stated.fields(),
    )


def parse_cells(
    table: Sequence[Sequence[str]],
    file: str,
    sha256: str,
    *,
    taken_for: str = "table",
    unit: str | None = None,
    geometry: str | None = None,
    specular: str | None = None,
) -> Session:
    """Read spectra from the cells of a sheet.

    Parameters
    ----------
    table : sequence of rows of str
        Empty text where a cell is empty.
    file, sha256, taken_for : str
        As the session is to name them.
    unit, geometry, specular : str, optional
        Said by the user where the file doesn't.

    Returns
    -------
    Session

    Raises
    ------
    InputError
        For anything that can't be read without guessing, and for impossible reflectances.
    """
    rows = [_Row(f"row {i}", [c.strip() for c in row]) for i, row in enumerate(table, start=1)]
    return _parse(rows, file, sha256, taken_for, unit, geometry, specular)


def has_spectra(table: Sequence[Sequence[str]]) -> bool:
    """Whether a sheet has a row or a column of wavelengths."""
    return _axes([_Row("", list(row)) for row in table]) != (None, None)


def parse_table(
    text: str,
    file: str,
    sha256: str,
    *,
    unit: str | None = None,
    geometry: str | None = None,
    specular: str | None = None,
) -> Session:
    """Read spectra from text separated by commas, semicolons or tabs.

    The parameters and errors are those of `parse_cells`. Lines that start with # are comments;
    ``# unit: percent`` is one that states something.

    Parameters
    ----------
    text : str
    file : str
        What an error names.
    sha256 : str
        Of the file.
    unit : str, optional
        As the user says, where the file does not.
    geometry : str, optional
        The same.
    specular : str, optional
        The same.

    Returns
    -------
    Session
    """
    lines = re.split(r"\r\n|\r|\n", text.lstrip("\ufeff"))
    problem: csv.Error | None = None
    rows, kind = [], "table"
    for separator, word in _SEPARATORS.items():
        try:
            rows = _split(lines, separator)
        except csv.Error as raised:
            problem = raised
            continue
        if _axes([row for row in rows if row.filled]) != (None, None):
            kind = "TSV table" if separator == "\t" else f"CSV table ({word})"
            problem = None
            break
    if problem:
        raise InputError(
            file, None, f"it can't be read as a table ({problem})", "check its quotation marks"
        )
    return _parse(rows, file, sha256, kind, unit, geometry, specular)


def _split(lines: Sequence[str], separator: str) -> list[_Row]:
    """Cells of each line; a comment stays one cell."""
    comments = {
        i: line.strip().rstrip(separator).strip('" ')
        for i, line in enumerate(lines, start=1)
        if _COMMENT.match(line)
    }
    kept = ("\n" if i in comments else line + "\n" for i, line in enumerate(lines, start=1))
    # Strict, or a quotation mark left open would swallow the samples after it.
    reader = csv.reader(kept, delimiter=separator, skipinitialspace=True, strict=True)
    rows = []
    for row in reader:
        comment = comments.get(reader.line_num)
        texts = [comment] if comment is not None else [cell.strip() for cell in row]
        rows.append(_Row(f"line {reader.line_num}", texts))
    return rows
