"""Tables with their wavelengths in a column, turned on their side so that each sample is a row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from operator import itemgetter

from ..errors import InputError
from . import cells
from .below import below, check_comment, noted
from .marks import marks_in
from .rows import Row, Table, stands_by, statement_of


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
