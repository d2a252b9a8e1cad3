"""The tables and columns that a release of any layout has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache

from .columns import Column, Table
from .schema import TABLES

_GREW = (2, 3)
"""Layouts that grew while they had their number: of one, what came after the first may lack."""


@cache
def tables_of(layout: int) -> tuple[Table, ...]:
    """Tables and columns that a layout has, in order."""
    return tuple(table.in_layout(layout) for table in TABLES if table.since <= layout)


def tables_said(layout: int, said: Mapping[str, Sequence[tuple[str, str]]]) -> tuple[Table, ...]:
    """Tables and columns that a release of a layout has, by its own description.

    Parameters
    ----------
    said : mapping of file to (column, kind), in order

    Raises
    ------
    ValueError
        Where a file isn't as the layout has it; it is named first.
    """
    expected = {table.file: table for table in tables_of(layout)}
    found = []
    for file in said:
        if file not in expected:
            raise ValueError(f"{file} isn't a table of layout {layout}")
    for file, table in expected.items():
        lacks = layout in _GREW and table.since > 1
        if file not in said:
            if lacks:
                continue
            raise ValueError(f"{file} isn't described, though layout {layout} has it")
        names = [name for name, _ in said[file]]
        kept = [c for c in table.columns if c.name in names or not (lacks or _lacks(layout, c))]
        if [(c.name, c.kind) for c in kept] != list(said[file]):
            raise ValueError(f"{file} isn't a table of layout {layout} as described")
        # Before there was that table a release held one model.
        key = tuple(k for k in table.key if k != "model" or "transport.csv" in said)
        found.append(replace(table, columns=tuple(kept), key=key))
    return tuple(found)


def _lacks(layout: int, column: Column) -> bool:
    return layout in _GREW and column.since > 1
