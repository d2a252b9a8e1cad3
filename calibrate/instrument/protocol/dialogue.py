"""What was sent and what came, in order: kept with a sitting, written to a file, read again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ...errors import InputError

_MOST = 100_000
"""Bytes that are kept between two readings; a stream without end would fill the studio."""


class Piece(NamedTuple):
    """Bytes that went one way.

    Attributes
    ----------
    sent : bool
        Whether they were sent to the instrument; else they came from it.
    """

    sent: bool
    data: bytes

    def __str__(self) -> str:
        text = self.data.decode("latin-1").encode("unicode_escape").decode("ascii")
        return f"{'>' if self.sent else '<'} {text}"


class Dialogue:
    """Collects what goes over a line."""

    def __init__(self) -> None:
        self._pieces: list[Piece] = []
        self._size = 0

    def add(self, sent: bool, data: bytes) -> None:
        """Take note of bytes; those that go the same way one after the other are one piece."""
        if not data or self._size > _MOST:
            return
        self._size += len(data)
        if self._pieces and self._pieces[-1].sent == sent and not sent:
            data = self._pieces.pop().data + data
        self._pieces.append(Piece(sent, data))

    def take(self) -> list[Piece]:
        """Return what was collected since it was last taken."""
        pieces, self._pieces, self._size = self._pieces, [], 0
        return pieces


def written(pieces: Iterable[Piece]) -> str:
    """Return a dialogue as text: ``>`` in front of what was sent, ``<`` of what came.

    What isn't printable is escaped.

    Examples
    --------
    >>> print(written([Piece(True, b"*IDN?"), Piece(False, b"Boatyard,1")]), end="")
    > *IDN?
    < Boatyard,1
    """
    return "".join(f"{piece}\n" for piece in pieces)


def parse_dialogue(text: str, file: str) -> Sequence[Piece]:
    r"""Read a dialogue from text; lines that begin with ``#`` are comments.

    Parameters
    ----------
    text : str
    file : str
        What an error names.

    Returns
    -------
    sequence of Piece

    Raises
    ------
    InputError
        Naming the line that is none.

    Examples
    --------
    >>> parse_dialogue("> M\\r\n", "dialogue.txt")
    [Piece(sent=True, data=b'M\r')]
    """
    pieces = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.startswith("#"):
            continue
        mark, data = line[:1], line[2:]
        try:
            raw = data.encode("ascii").decode("unicode_escape").encode("latin-1")
        except (UnicodeError, ValueError):
            raw = None
        if mark not in "<>" or line[1:2] not in ("", " ") or raw is None:
            raise InputError(
                file,
                f"line {number}",
                "expected > and what was sent, or < and what came",
                r"write bytes that can't be typed as \r, \n or \x02",
            )
        pieces.append(Piece(mark == ">", raw))
    return pieces
