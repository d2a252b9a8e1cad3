"""What an instrument replies: a pattern of fields, read from its bytes or, standing in, written.

A pattern is the reply with its fields in braces, such as ``{status},{values}*{checksum}``; all else
stands in the reply as it stands in the pattern. ``{status:2}`` is a field of two characters,
``{status:byte}`` one byte, read as two hexadecimal digits.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from ..faults import Garbled
from .checksum import Checksum
from .numbers import Values

_ANY_VALUES = r"[0-9A-Za-z.,;+\-\s]+?"
FIELDS = {
    "maker": r"[^\r\n,;]*?",
    "model": r"[^\r\n,;]*?",
    "serial": r"[^\r\n,;]*?",
    "firmware": r"[^\r\n,;]*?",
    "message": r"[^\r\n]*?",
    "status": r"[A-Za-z0-9+.\-]+",
    "flags": r"[0-9]+",
    "hours": r"[0-9.eE+\-]+",
    "values": _ANY_VALUES,
    "checksum": r"[0-9A-Fa-f]+",
    "ignored": r"[^\r\n]*?",
}
"""Every field that a pattern may hold, and what it looks like. Who an instrument is stands between
commas (IEEE 488.2), so no row of numbers passes for it."""

_FIELD = re.compile(r"\{(\w*)(?::(\w+))?\}")


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
    return tuple(name for name, _ in _FIELD.findall(pattern))


def touching(pattern: str, values: Values | None = None) -> bool:
    """Whether two fields touch of which neither has a width: nothing tells where one ends."""
    found = list(_FIELD.finditer(pattern))
    return any(
        one.end() == other.start() and not _is_fixed(one, values) and not _is_fixed(other, values)
        for one, other in pairwise(found)
    )


def _is_fixed(field: re.Match[str], values: Values | None) -> bool:
    of_values = field[1] == "values" and values is not None and values.length is not None
    return field[2] is not None or of_values


@dataclass(frozen=True)
class Grammar:
    """A pattern of a reply.

    Attributes
    ----------
    checksum : Checksum or None
        Where the pattern holds one.
    values : Values or None
        What the numbers of a reading look like.
    failures : tuple of str
        Patterns of what comes in its place where something is wrong.
    alone : bool
        Whether a failure may end after its status.
    """

    pattern: str
    checksum: Checksum | None = None
    values: Values | None = None
    failures: tuple[str, ...] = ()
    alone: bool = True

    @property
    def fields(self) -> tuple[str, ...]:
        """Names of its fields."""
        return tuple(name for name in fields_of(self.pattern) if name != "ignored")

    def _regex(self, pattern: str) -> str:
        parts, at = [], 0
        for field in _FIELD.finditer(pattern):
            parts.append(re.escape(pattern[at : field.start()]))
            name, width = field[1], field[2]
            looks = FIELDS[name]
            if name == "values" and self.values is not None:
                looks = self.values.pattern
            if width is not None:
                looks = rf"[\s\S]{{{1 if width == 'byte' else width}}}"
            parts.append(f"({looks})" if name == "ignored" else f"(?P<{name}>{looks})")
            at = field.end()
        return "".join(parts) + re.escape(pattern[at:])

    @property
    def short(self) -> str:
        """The pattern of a failure: it may end after its status."""
        found = re.search(r"\{status(?::\w+)?\}", self.pattern)
        if found is None or not self.alone:
            return self.pattern
        head, tail = self.pattern[: found.end()], self.pattern[found.end() :]
        if "{checksum}" not in tail:
            return head
        before = tail.rpartition("{checksum}")[0]
        return head + before[before.rfind("}") + 1 :] + "{checksum}"

    def size(self, pattern: str) -> int | None:
        """Bytes of a pattern; None where they aren't fixed."""
        total = len(_FIELD.sub("", pattern))
        for field in _FIELD.finditer(pattern):
            if field[2] is not None:
                total += 1 if field[2] == "byte" else int(field[2])
            elif field[1] == "values" and self.values is not None and self.values.length:
                total += self.values.length
            elif field[1] == "checksum" and self.checksum is not None:
                total += self.checksum.length
            else:
                return None
        return total

    def read(self, data: bytes) -> dict[str, str]:
        """Read the fields of a reply, its end taken off.

        Raises
        ------
        Garbled
            Where it isn't one, or its checksum is wrong.
        """
        text = data.decode("latin-1")
        # Failures first: values may look like anything.
        for pattern in dict.fromkeys((*self.failures, self.pattern, self.short)):
            match = re.fullmatch(self._regex(pattern), text)
            if match is not None:
                break
        else:
            raise Garbled(f"expected {_shown(self.pattern)}, got {escaped(data)}")
        found = match.groupdict()
        for name, width in _FIELD.findall(pattern):
            if width == "byte" and name in found:
                found[name] = found[name].encode("latin-1").hex().upper()
        if self.checksum is not None and "checksum" in found:
            right = self.checksum.of(data[: match.start("checksum")]).decode("latin-1")
            if found["checksum"].upper() != right.upper():
                raise Garbled(f"its checksum is {found['checksum']}, expected {right}")
        return found

    def fits(self, data: bytes) -> bool:
        """Whether it can be read."""
        try:
            self.read(data)
        except Garbled:
            return False
        return True

    def fails(self, data: bytes) -> bool:
        """Whether a reply is one of its failures, of a form of its own."""
        text = data.decode("latin-1")
        return any(re.fullmatch(self._regex(pattern), text) for pattern in self.failures)

    def write(self, fields: Mapping[str, str]) -> bytes:
        """Write a reply of fields; one that has a status alone is written short."""
        given = {*fields, "checksum", "ignored"}
        pattern = self.pattern if given.issuperset(self.fields) else self.short
        head = pattern.partition("{checksum}")[0]
        data = _FIELD.sub(lambda field: self._field(field, fields), head).encode("latin-1")
        if "{checksum}" not in pattern or self.checksum is None:
            return data
        return data + self.checksum.of(data)

    def _field(self, field: re.Match[str], fields: Mapping[str, str]) -> str:
        name, width = field[1], field[2]
        text = fields.get(name, "0")
        if width == "byte":
            return bytes.fromhex(text.rjust(2, "0")).decode("latin-1")
        return text.rjust(int(width), "0")[-int(width) :] if width else text


def _shown(pattern: str) -> str:
    return pattern.encode("unicode_escape").decode("ascii")
