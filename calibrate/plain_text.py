"""Text from outside, without what a terminal, a database or a spreadsheet would obey."""

from __future__ import annotations

import re
from typing import Any

_CONTROLS = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]"
)
_EXECUTED = re.compile(r"'*[=+\-@\t\r]")
_ESCAPED = re.compile(r"'+[=+\-@\t\r]")


def without_controls(text: str) -> str:
    r"""Return text without control characters and marks of direction; lines and tabs stay.

    Examples
    --------
    >>> without_controls("Anchor\x1b[31m Blue\x00")
    'Anchor[31m Blue'
    """
    return _CONTROLS.sub("", text)


def plain_all(said: Any) -> Any:
    """Return what a file says with every text and key in it without control characters."""
    if isinstance(said, str):
        return without_controls(said)
    if isinstance(said, dict):
        return {plain_all(key): plain_all(part) for key, part in said.items()}
    if isinstance(said, (list, tuple)) and said and not isinstance(said[0], (int, float)):
        return [plain_all(part) for part in said]
    return said


def escaped(cell: str) -> str:
    """Return the text of a cell so that no spreadsheet takes it for a formula.

    An apostrophe is put before it, as before one that `unescaped` would take away.

    Examples
    --------
    >>> escaped("=1+1"), unescaped(escaped("=1+1")), escaped("Keel Blue")
    ("'=1+1", '=1+1', 'Keel Blue')
    """
    return f"'{cell}" if _EXECUTED.match(cell) else cell


def unescaped(cell: str) -> str:
    """Return the text that `escaped` made a cell of."""
    return cell[1:] if _ESCAPED.match(cell) else cell
