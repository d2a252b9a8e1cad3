"""Finds the tables in rows of cells: samples in rows, in columns, or one value a row."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..errors import InputError
from . import cells
from .below import below, noted
from .one_a_row import one_a_row
from .rows import Row, Table, axis_columns, axis_rows
from .turned import turned

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
