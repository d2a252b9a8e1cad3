"""Finds the tables in rows of cells: samples in rows, in columns, or one value a row."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter

from ..errors import InputError
from . import cells
from .below import below, check_comment, noted
from .headings import Wavelength, wavelength
from .marks import marks_in
from .rows import Row, Sample, Table, axis_columns, axis_rows, stands_by, statement_of

_WAVELENGTH_WORDS = re.compile(r"\s*(?:nm\b|wave|lambda|λ|wl\b)", re.IGNORECASE)


def tables_of(rows: Sequence[Row], file: str) -> tuple[list[Table], str]:
    """Find the tables of spectra in rows of cells.

    Parameters
    ----------
    rows : sequence of Row
    file : str
        What an error names.

    Returns
    -------
    list of Table
    str
        How the samples stand, in words.

    Raises
    ------
    InputError
        Where there is none, or cells may have moved against their header.
    """
    heads, columns = axis_rows(rows), axis_columns(rows)
    if columns and (one := one_a_row(rows, columns[0], file)):
        return one, "one value a row"
    if heads and columns:
        corner = rows[heads[0]].at(columns[0])
        if _WAVELENGTH_WORDS.match(corner):
            heads = []
        elif cells.normal(corner) in (*cells.LABELS, *cells.LABELS_LAST):
            columns = []
        else:
            raise InputError(
                file,
                rows[heads[0]].where,
                "both a row and a column look like wavelengths",
                'head the column of wavelengths "nm", or that of the samples "sample"',
            )
    if heads:
        return _stacked(rows, heads, file), "samples in rows"
    if columns:
        return list(turned(rows, columns, file)), "samples in columns"
    raise InputError(
        file,
        None,
        "expected spectra, but neither a row nor a column of it holds three wavelengths "
        f"from {cells.SHORTEST:g} to {cells.LONGEST:g} nm",
        "export spectral reflectance as CGATS, CSV or XLSX, with wavelengths such as 400 or NM400",
    )


def _stacked(rows: Sequence[Row], heads: Sequence[int], file: str) -> list[Table]:
    """Tables of which each has its wavelengths in a row, one below the other."""
    found: list[Table] = []
    lead = list(rows[: heads[0]])
    for head, after in zip(heads, (*heads[1:], len(rows)), strict=True):
        tables, lead = below(rows[head], rows[head + 1 : after], lead, file)
        found += tables
    if found and lead:
        found[-1].statements += [noted(row) for row in lead]
    return found


def turned(rows: Sequence[Row], columns: Sequence[int], file: str) -> Iterator[Table]:
    """Yield the tables of which each has its wavelengths in a column.

    Parameters
    ----------
    rows : sequence of Row
    columns : sequence of int
        That hold wavelengths.
    file : str
        What an error names.

    Raises
    ------
    InputError
        Where cells may have moved.
    """
    width = max(len(row.cells) for row in rows)
    comments = [row for row in rows if row.comment]
    others = [row for row in rows if not row.comment]
    for row in comments:
        check_comment(row, cells.FEWEST + len(rows), file)
    for column, after in zip(columns, (*columns[1:], width), strict=True):
        # What stands before the first wavelengths belongs to them; a later column leads its own.
        first = 0 if column == columns[0] else column
        lead = comments
        found: list[tuple[list[Row], list[Row]]] = []
        start = next(i for i, row in enumerate(others) if stands_by(row, column))
        belongs = [i >= start and _belongs(row, column) for i, row in enumerate(others)]
        for is_axis, pairs in groupby(zip(belongs, others, strict=True), itemgetter(0)):
            run = [row for _, row in pairs]
            if not is_axis:
                lead = [*(lead if not found else []), *run]
                continue
            for part in _restarts(run, column):
                found.append((lead, part))
                lead = []
        for number, (above, body) in enumerate(found, start=1):
            behind = lead if number == len(found) else []
            yield from _one(above, body, behind, range(first, after), column, file)


def _belongs(row: Row, column: int) -> bool:
    """Whether a row has a wavelength, or lost it: numbers alone are neither names nor a title."""
    if stands_by(row, column):
        return True
    return not row.at(column) and all(cells.number(cell) is not None for cell in row.filled)


def _restarts(body: list[Row], column: int) -> list[list[Row]]:
    """Cut a run of wavelengths where a gap stands and they begin anew."""
    parts: list[list[Row]] = [[]]
    seen: set[str] = set()
    for row in body:
        if row.gap and row.at(column) in seen:
            parts.append([])
            seen = set()
        seen.add(row.at(column))
        parts[-1].append(row)
    return parts


def _one(
    above: list[Row], body: list[Row], behind: list[Row], span: range, column: int, file: str
) -> Iterator[Table]:
    """Yield one table, with its header of wavelengths first."""
    head = [row for row in above if not row.comment and not statement_of(row)]
    # A lone title is no row of names.
    titles = [row for row in head[:-1] if len(row.filled) == 1]
    head = [row for row in head if row not in titles]
    _check_widths(head, body, span, file)
    tail = [row for row in behind if len(row.filled) > 1 and not statement_of(row)]
    table = [*head, *body, *tail]
    turned_ = [
        Row(f"column {j + 1}", [row.at(j) for row in table], addressed=True)
        for j in (column, *(j for j in span if j != column))
    ]
    tables, _ = below(turned_[0], [row for row in turned_[1:] if row.filled], [], file)
    marks = tuple(mark for row in titles for mark in marks_in(row.filled[0]))
    notes = [row for row in (*above, *behind) if row not in head and row not in tail]
    for each in tables:
        each.where = body[0].where
        each.statements = [noted(row) for row in notes]
        for sample in each.samples:
            sample.marks += marks
        yield each


def _check_widths(head: list[Row], body: list[Row], span: range, file: str) -> None:
    """Refuse a row shorter than that of the names: it would leave a name without its values."""
    named = len(head[-1].cells) if head else 0
    for row in body:
        if len(row.cells) < min(named, span.stop) and not row.addressed:
            raise InputError(
                file,
                row.where,
                f"expected {named} cells as in the row of names, found {len(row.cells)}",
                "leave a cell empty where a value is missing",
            )


def one_a_row(rows: Sequence[Row], column: int, file: str) -> list[Table]:
    """Return the tables of a column of wavelengths in which they come again and again.

    Parameters
    ----------
    rows : sequence of Row
    column : int
        That holds wavelengths.
    file : str
        What an error names.

    Returns
    -------
    list of Table
        None where the rows aren't laid out so.

    Raises
    ------
    InputError
        For a row among them without a wavelength.
    """
    first = next(i for i, row in enumerate(rows) if stands_by(row, column))
    body = [row for row in rows[first:] if stands_by(row, column)]
    texts = [row.at(column) for row in body]
    if not first or rows[first - 1].comment or len(set(texts)) > len(texts) / 2:
        return []
    header = rows[first - 1]
    headings = _headings(header, body, column)
    others = [j for j in range(len(header.cells)) if j != column and j not in headings]
    if not headings or not any(row.at(j) for row in body for j in others):
        return []
    for row in rows[first:]:
        if not row.comment and not stands_by(row, column):
            raise InputError(
                file, row.where, "expected a wavelength in this row", "export the session again"
            )
    lead = [noted(row) for row in (*rows[: first - 1], *(r for r in rows[first:] if r.comment))]
    beside = tuple(header.at(j) for j in others if j < column)
    found = []
    for j, heading in headings.items():
        for axis, samples in _samples(header, body, column, j, others, heading).items():
            fields = [
                w._replace(unit=heading.unit, quantity=heading.quantity)
                for w in map(wavelength, axis)
                if w
            ]
            found.append(Table(header.where, fields, samples, lead, beside))
    return found


def _headings(header: Row, body: Sequence[Row], column: int) -> dict[int, Wavelength]:
    """Columns of values, with what their headings say."""
    return {
        j: found
        for j, name in enumerate(header.cells)
        if j != column
        and name
        and (found := wavelength(f"{name} 555"))
        and any(cells.number(row.at(j).removesuffix("%")) is not None for row in body)
    }


def _samples(
    header: Row,
    body: Sequence[Row],
    column: int,
    values: int,
    others: Sequence[int],
    heading: Wavelength,
) -> dict[tuple[str, ...], list[Sample]]:
    """Samples by their wavelengths; where one comes again in a sample, another reading begins."""
    readings: dict[tuple[str, ...], list[dict[str, Row]]] = {}
    for row in body:
        mine = readings.setdefault(tuple(row.at(k) for k in others), [{}])
        if row.at(column) in mine[-1]:
            mine.append({})
        mine[-1][row.at(column)] = row
    found: dict[tuple[str, ...], list[Sample]] = {}
    for key, many in readings.items():
        texts = {header.at(k) or f"column {k + 1}": t for k, t in zip(others, key, strict=True)}
        for one in many:
            where = next(iter(one.values())).where
            cells_ = [row.at(values) for row in one.values()]
            found.setdefault(tuple(one), []).append(Sample(where, texts, cells_, heading.marks))
    return found
