"""Tables as CSV text: every figure whole, in pieces that need little room."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import orjson

from ....calibrate.plain_text import escaped
from .columns import Column, Table

_ODD = re.compile(r'[",\r\n]')


def figures(values: np.ndarray) -> list[str]:
    """Numbers as the shortest text that reads back to the last bit, NaN as nothing.

    Of a table, (N, W), each row as the text of W cells.
    """
    if not len(values):
        return []
    whole = np.ascontiguousarray(values, dtype=float)
    text = orjson.dumps(whole, option=orjson.OPT_SERIALIZE_NUMPY).decode()
    if np.isnan(whole).any():
        text = text.replace("null", "")
    return text[2:-2].split("],[") if whole.ndim == 2 else text[1:-1].split(",")


def words(values: Iterable[object]) -> list[str]:
    """Text, counts and truths as cells; None as nothing."""
    return [_cell("" if value is None else str(value)) for value in values]


def as_json(value: object) -> str:
    """A value of a column of objects or arrays, before it is made a cell."""
    return json.dumps(value, ensure_ascii=False)


def lines(*columns: Sequence[str]) -> str:
    """Columns of cells as CSV lines."""
    return "".join(f"{','.join(row)}\n" for row in zip(*columns, strict=True))


def heading(table: Table) -> str:
    """Return the first line of a table."""
    return ",".join(column.name for column in table.columns) + "\n"


def rows(table: Table, records: Iterable[Mapping[str, Any]], piece: int = 2000) -> Iterator[str]:
    """Records by column name as CSV, a piece at a time."""
    held: list[Mapping[str, Any]] = []
    for record in records:
        held.append(record)
        if len(held) == piece:
            yield _rows(table, held)
            held = []
    if held:
        yield _rows(table, held)


def _rows(table: Table, records: Sequence[Mapping[str, Any]]) -> str:
    return lines(*(_column(c, [record[c.name] for record in records]) for c in table.columns))


def _column(column: Column, values: list[Any]) -> list[str]:
    if column.kind == "number":
        return figures(np.array([np.nan if value is None else value for value in values], float))
    return words(values)


def _cell(text: str) -> str:
    text = escaped(text)
    if not _ODD.search(text):
        return text
    doubled = text.replace('"', '""')
    return f'"{doubled}"'
