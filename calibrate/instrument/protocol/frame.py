"""Frames: what stands around the payload of a message, so that its end and its faults are seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from ..faults import Garbled
from .checksum import Checksum

PARTS = ("start", "length", "payload", "end", "checksum")
_LENGTHS = {"uint8": 1, "uint16": 2, "uint32": 4}
LENGTHS = tuple(_LENGTHS)


class Taken(NamedTuple):
    """A whole message at the front of what came in."""

    payload: bytes
    used: int


Take = Callable[[bytes], "Taken | None"]
"""Takes a message from the front of what came in; None while it isn't whole."""


@dataclass(frozen=True)
class Frame:
    """What stands around a payload, in order.

    Attributes
    ----------
    parts : tuple of str
        Of `PARTS`, in the order in which they are sent.
    length : str
        Form of the number of bytes, one of `LENGTHS`; empty where none is sent.
    order : {"big", "little"}
        Of its bytes.
    checksum_of : tuple of str
        The parts that it is calculated over.
    """

    parts: tuple[str, ...]
    start: bytes = b""
    end: bytes = b""
    length: str = ""
    order: Literal["big", "little"] = "big"
    checksum: Checksum | None = None
    checksum_of: tuple[str, ...] = ("payload",)

    def write(self, payload: bytes) -> bytes:
        """Return a message of a payload."""
        held = self._held(payload)
        return b"".join(held[part] for part in self.parts)

    def _held(self, payload: bytes) -> dict[str, bytes]:
        size = _LENGTHS.get(self.length, 0)
        held = {
            "start": self.start,
            "length": len(payload).to_bytes(size, self.order) if size else b"",
            "payload": payload,
            "end": self.end,
        }
        if self.checksum is not None:
            held["checksum"] = self.checksum.of(b"".join(held[p] for p in self.checksum_of))
        return held

    def take(self, data: bytes, sizes: Callable[[bytes], int | None]) -> Taken | None:
        """Take a message from the front of what came in.

        Parameters
        ----------
        data : bytes
        sizes : callable
            How long the payload at the front of some bytes is, where no length or end tells; None
            while that can't be said.

        Returns
        -------
        Taken or None
            None while it isn't whole.

        Raises
        ------
        Garbled
            Where its checksum is wrong.
        """
        first = data.find(self.start) if self.start else 0
        if first < 0:
            return None
        before = self._width(self.parts[: self.parts.index("payload")])
        at = first + before
        size = self._size(data, first, at, sizes)
        if size is None:
            return None
        behind = self.parts[self.parts.index("payload") + 1 :]
        used = at + size + self._width(behind)
        if len(data) < used:
            return None
        payload = data[at : at + size]
        message = data[first:used]
        if message != self.write(payload):
            if self.checksum is None:
                raise Garbled("its frame isn't as the profile has it")
            right = self._held(payload)["checksum"]
            raise Garbled(f"its checksum is wrong, expected {right.hex(' ').upper()}")
        return Taken(payload, used)

    def _width(self, parts: Sequence[str]) -> int:
        sizes = {
            "start": len(self.start),
            "length": _LENGTHS.get(self.length, 0),
            "end": len(self.end),
            "checksum": self.checksum.length if self.checksum else 0,
        }
        return sum(sizes[part] for part in parts)

    def _size(
        self, data: bytes, first: int, at: int, sizes: Callable[[bytes], int | None]
    ) -> int | None:
        """Bytes of the payload, as far as it can be said yet."""
        if self.length:
            place = first + self._width(self.parts[: self.parts.index("length")])
            said = data[place : place + _LENGTHS[self.length]]
            return int.from_bytes(said, self.order) if len(said) == _LENGTHS[self.length] else None
        if self.end:
            found = data.find(self.end, at)
            inner = self.parts[self.parts.index("payload") + 1 : self.parts.index("end")]
            return found - at - self._width(inner) if found >= 0 else None
        return sizes(data[at:])
