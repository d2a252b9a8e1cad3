"""Tables of one value a row: sample, wavelength, value."""

from __future__ import annotations

from collections.abc import Sequence

from ..errors import InputError
from . import cells
from .below import noted
from .headings import Wavelength, wavelength
from .rows import Row, Sample, Table, stands_by


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
