"""Spectra as a table: text of any separator, or a sheet; samples in rows or in columns."""

from __future__ import annotations

from collections.abc import Sequence

from .gathered import Said, session_of
from .rows import Table, has_axis, rows_of_cells, rows_of_text
from .session import Session
from .tables import tables_of

_SAYS_NOTHING = Said()


def parse_cells(
    table: Sequence[Sequence[str]],
    file: str,
    sha256: str,
    said: Said = _SAYS_NOTHING,
    *,
    taken_for: str = "table",
) -> Session:
    """Read spectra from the cells of a sheet.

    Parameters
    ----------
    table : sequence of rows of str
        Empty text where a cell is empty.
    file, sha256, taken_for : str
        As the session is to name them.
    said : Said
        What the user says of it.

    Returns
    -------
    Session

    Raises
    ------
    InputError
        For anything that can't be read without guessing, and for impossible reflectances.
    """
    tables, orientation = tables_of_cells(table, file)
    return session_of(tables, file, sha256, f"{taken_for}, {orientation}", said)


def tables_of_cells(table: Sequence[Sequence[str]], file: str) -> tuple[list[Table], str]:
    """Return the tables of a sheet, and how its samples stand.

    Raises
    ------
    InputError
        As `parse_cells`.
    """
    return tables_of(rows_of_cells(table), file)


def has_spectra(table: Sequence[Sequence[str]]) -> bool:
    """Whether a sheet has a row or a column of wavelengths."""
    return has_axis(rows_of_cells(table))


def parse_table(text: str, file: str, sha256: str, said: Said = _SAYS_NOTHING) -> Session:
    """Read spectra from text separated by commas, semicolons, tabs, bars or spaces.

    The parameters and errors are those of `parse_cells`. Lines that start with # are comments;
    ``# unit: percent`` is one that states something.

    Parameters
    ----------
    text : str
    file : str
        What an error names.
    sha256 : str
        Of the file.
    said : Said
        What the user says of it.

    Returns
    -------
    Session
    """
    rows, separator = rows_of_text(text, file)
    kind = {"": "table", "tabs": "TSV table"}.get(separator, f"CSV table ({separator})")
    if separator in ("columns", "spaces"):
        kind = "text table"
    tables, orientation = tables_of(rows, file)
    return session_of(tables, file, sha256, f"{kind}, {orientation}", said)
