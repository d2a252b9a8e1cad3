"""What an instrument replies: a pattern of fields, read from its bytes or, standing in, written.

A pattern is the reply with its fields in braces, such as ``{status},{values}*{checksum}``; all else
stands in the reply as it stands in the pattern.
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

from .faults import Garbled

FIELDS = {
    "maker": r"[^\r\n,;]*?",
    "model": r"[^\r\n,;]*?",
    "serial": r"[^\r\n,;]*?",
    "firmware": r"[^\r\n,;]*?",
    "message": r"[^\r\n]*?",
    "status": r"[A-Za-z0-9+.\-]+",
    "hours": r"[0-9.eE+\-]+",
    "values": r"[0-9A-Za-z.,;+\-\s]+?",
    "checksum": r"[0-9A-Fa-f]+",
}
"""Every field that a pattern may hold, and what it looks like. Who an instrument is stands between
commas (IEEE 488.2), so no row of numbers passes for it."""

_FIELD = re.compile(r"\{(\w*)\}")


def _sum(data: bytes) -> int:
    return sum(data) % 256


def _xor(data: bytes) -> int:
    return reduce(int.__xor__, data, 0)


def _crc16(data: bytes) -> int:
    return binascii.crc_hqx(data, 0)


CHECKSUMS: Mapping[str, tuple[Callable[[bytes], int], int]] = {
    "sum": (_sum, 2),
    "xor": (_xor, 2),
    "crc16": (_crc16, 4),
}
"""How each kind is calculated over the bytes before it, and its hexadecimal digits. ``crc16`` has
the polynomial 0x1021 and starts from 0 (ITU-T V.41)."""


def escaped(data: bytes, most: int = 60) -> str:
    """Show bytes on one line, whatever they are; of many, those about the first odd one.

    Parameters
    ----------
    data : bytes
    most : int
        Bytes shown at most.

    Returns
    -------
    str
    """
    if len(data) > most:
        odd = next((i for i, byte in enumerate(data) if not 32 <= byte < 127), 0)
        start = max(0, min(odd - most // 2, len(data) - most))
        before, after = "... " if start else "", " ..." if start + most < len(data) else ""
        return f"{before}{escaped(data[start : start + most], most)}{after}"
    return data.decode("latin-1").encode("unicode_escape").decode("ascii")


def fields_of(pattern: str) -> tuple[str, ...]:
    """Return the names in braces, in order, known or not."""
    return tuple(_FIELD.findall(pattern))


@dataclass(frozen=True)
class Grammar:
    """A pattern of a reply.

    Attributes
    ----------
    pattern : str
    checksum : str or None
        One of `CHECKSUMS`, where the pattern holds one.
    """

    pattern: str
    checksum: str | None = None

    @property
    def fields(self) -> tuple[str, ...]:
        """Names of its fields."""
        return fields_of(self.pattern)

    def _regex(self, pattern: str) -> str:
        parts = _FIELD.split(pattern)
        # Text and names take turns.
        return "".join(
            f"(?P<{part}>{FIELDS[part]})" if i % 2 else re.escape(part)
            for i, part in enumerate(parts)
        )

    @property
    def short(self) -> str:
        """The pattern of a failure: it may end after its status."""
        head, status, tail = self.pattern.partition("{status}")
        if not status:
            return self.pattern
        before = tail.rpartition("{checksum}")[0]
        between = before[before.rfind("}") + 1 :] if "{checksum}" in tail else ""
        return head + status + (between + "{checksum}" if "{checksum}" in tail else "")

    def read(self, data: bytes) -> dict[str, str]:
        """Read the fields of a reply, its end taken off.

        Raises
        ------
        Garbled
            Where it isn't one, or its checksum is wrong.
        """
        text = data.decode("latin-1")
        match = None
        for pattern in dict.fromkeys((self.pattern, self.short)):
            match = match or re.fullmatch(self._regex(pattern), text)
        if match is None:
            raise Garbled(f"expected {self.pattern}, got {escaped(data)}")
        found = match.groupdict()
        if self.checksum is not None and "checksum" in found:
            right = self._checked(data[: match.start("checksum")])
            if found["checksum"].upper() != right:
                raise Garbled(f"its checksum is {found['checksum']}, expected {right}")
        return found

    def write(self, fields: Mapping[str, str]) -> bytes:
        """Write a reply of fields; one that has a status alone is written short."""
        given = set(fields) | {"checksum"}
        pattern = self.pattern if given.issuperset(self.fields) else self.short
        head = pattern.partition("{checksum}")[0]
        data = _FIELD.sub(lambda m: fields[m[1]], head).encode("latin-1")
        if "{checksum}" not in pattern:
            return data
        return data + self._checked(data).encode()

    def _checked(self, data: bytes) -> str:
        calculate, digits = CHECKSUMS[self.checksum or "sum"]
        return f"{calculate(data):0{digits}X}"


_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


def numbers(text: str, separator: str, missing: Sequence[str] = ()) -> list[float]:
    """Read numbers in the forms of IEEE 488.2 (NR1, NR2, NR3); a missing one is NaN.

    Parameters
    ----------
    text : str
    separator : str
        A space stands for any white space.
    missing : sequence of str
        What is sent in place of a value that there isn't.

    Returns
    -------
    list of float

    Raises
    ------
    Garbled
        Naming what is no number.
    """
    cells = text.split() if not separator.strip() else text.split(separator)
    found = []
    for cell in (cell.strip() for cell in cells):
        if cell in missing:
            found.append(float("nan"))
        elif _NUMBER.fullmatch(cell):
            found.append(float(cell))
        else:
            raise Garbled(f"expected a number, got {escaped(cell.encode('latin-1'), 24)}")
    return found
