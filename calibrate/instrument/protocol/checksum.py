"""Checksums of messages, of the kinds that manuals describe."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import reduce
from typing import Literal

CHECK_TEXT = b"123456789"
"""The characters whose CRC manuals give, so that nobody has to guess its kind."""


def _sum(data: bytes) -> int:
    return sum(data)


def _negated_sum(data: bytes) -> int:
    return -sum(data)


def _xor(data: bytes) -> int:
    return reduce(int.__xor__, data, 0)


_SIMPLE: Mapping[str, Callable[[bytes], int]] = {
    "sum": _sum,
    "negated-sum": _negated_sum,
    "xor": _xor,
}
KINDS = (*_SIMPLE, "crc16", "crc")
"""``crc16`` is the one of ITU-T V.41: polynomial 0x1021, from 0; ``crc`` is any other."""


@dataclass(frozen=True)
class Checksum:
    r"""A checksum, and how it is written.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    size : {1, 2, 4}
        Bytes.
    written : {"hexadecimal", "bytes"}
    order : {"big", "little"}
        Of its bytes.
    polynomial, start, final : int
        Of a CRC: without its highest term, and with its highest power first; what it starts from;
        what is added to it at the end (exclusive or).
    reversed : bool
        Whether its bits are worked in reverse.

    Examples
    --------
    >>> Checksum("xor").of(b"MS\x03").decode()
    '1D'
    >>> known = Checksum("crc", 2, "bytes", "little", 0x8005, 0xFFFF, reversed=True)
    >>> hex(known.value(CHECK_TEXT))
    '0x4b37'
    """

    kind: str
    size: int = 1
    written: Literal["hexadecimal", "bytes"] = "hexadecimal"
    order: Literal["big", "little"] = "big"
    polynomial: int = 0x1021
    start: int = 0
    final: int = 0
    reversed: bool = False

    @property
    def length(self) -> int:
        """Characters or bytes that it takes."""
        return self.size if self.written == "bytes" else 2 * self.size

    def value(self, data: bytes) -> int:
        """Return the checksum of bytes as a number."""
        mask = (1 << 8 * self.size) - 1
        if self.kind in _SIMPLE:
            return _SIMPLE[self.kind](data) & mask
        return self._crc(data)

    def of(self, data: bytes) -> bytes:
        """Return the checksum of bytes, as it is written."""
        value = self.value(data).to_bytes(self.size, self.order)
        return value if self.written == "bytes" else value.hex().upper().encode()

    def _crc(self, data: bytes) -> int:
        bits = 8 * self.size
        mask, top = (1 << bits) - 1, 1 << (bits - 1)
        remainder = self.start
        for byte in data:
            remainder ^= (_mirrored(byte, 8) if self.reversed else byte) << (bits - 8)
            for _ in range(8):
                carry = remainder & top
                remainder = (remainder << 1) & mask
                if carry:
                    remainder ^= self.polynomial
        if self.reversed:
            remainder = _mirrored(remainder, bits)
        return remainder ^ self.final


def _mirrored(value: int, bits: int) -> int:
    return int(f"{value:0{bits}b}"[::-1], 2)
