"""The pretend instruments with framed or binary messages. Each has its manual in manuals/."""

from __future__ import annotations

import struct
from functools import reduce

import numpy as np

from .common import Instrument
from .text_instruments import steps

STX, ETX, NAK = 0x02, 0x03, b"\x15"


class Four(Instrument):
    """STX, text, ETX, exclusive-or of text and ETX. Black first."""

    wavelengths = steps(400, 700, 20)
    baud, parity = 9600, "O"

    @staticmethod
    def frame(text: bytes) -> bytes:
        return bytes([STX]) + text + bytes([ETX, reduce(lambda a, b: a ^ b, text, ETX)])

    def next_command(self):
        start = self.buffer.find(STX)
        if start < 0:
            self.buffer = b""
            return None
        end = self.buffer.find(ETX, start)
        if end < 0 or len(self.buffer) < end + 2:
            return None
        whole, self.buffer = self.buffer[start : end + 2], self.buffer[end + 2 :]
        return whole

    def answer(self, command: bytes) -> bytes:
        text = command[1:-2]
        if self.frame(text) != command:
            return NAK
        if text in (b"KD", b"KL"):
            why = self.calibrate("black" if text == b"KD" else "white")
            return self.frame(text + {"done": b"00", "order": b"12", "piece": b"13"}[why])
        if text == b"MS":
            got = self.measure()
            if isinstance(got, str):
                return self.frame(b"MS11")
            return self.frame(b"MS00," + ",".join(f"{v:.4f}" for v in got[0]).encode())
        return self.frame(b"??99")


class Five(Instrument):
    """A length byte, the payload, CRC-16 (low byte first). White first."""

    wavelengths = steps(410, 710, 10)
    baud, order = 115200, "white first"

    @staticmethod
    def crc(data: bytes) -> int:
        value = 0xFFFF
        for byte in data:
            value ^= byte
            for _ in range(8):
                value = (value >> 1) ^ 0xA001 if value & 1 else value >> 1
        return value

    @classmethod
    def frame(cls, payload: bytes) -> bytes:
        body = bytes([len(payload)]) + payload
        return body + struct.pack("<H", cls.crc(body))

    def next_command(self):
        if not self.buffer or len(self.buffer) < self.buffer[0] + 3:
            return None
        n = self.buffer[0] + 3
        whole, self.buffer = self.buffer[:n], self.buffer[n:]
        return whole

    def answer(self, command: bytes) -> bytes:
        payload = command[1:-2]
        if self.frame(payload) != command:
            return self.frame(b"x1")
        if payload in (b"w", b"k"):
            why = self.calibrate("white" if payload == b"w" else "black")
            return self.frame(payload + {"done": b"0", "order": b"3", "piece": b"4"}[why])
        if payload == b"s":
            got = self.measure()
            if isinstance(got, str):
                return self.frame(b"s2")
            return self.frame(b"s0" + ",".join(f"{v * 100:.2f}" for v in got[0]).encode())
        return self.frame(b"x9")


class Six(Instrument):
    """Little-endian 16-bit integers, 10000 for 1; nothing marks the end. Any order."""

    wavelengths = steps(380, 780, 10)
    baud, order = 38400, "any"

    def next_command(self):
        if not self.buffer:
            return None
        whole, self.buffer = self.buffer[:1], self.buffer[1:]
        return whole

    def answer(self, command: bytes) -> bytes:
        n = self.wavelengths.size
        if command in (b"\x10", b"\x11"):
            why = self.calibrate("black" if command == b"\x10" else "white")
            return b"\x00" if why == "done" else b"\x02"
        if command == b"\x20":
            got = self.measure()
            if isinstance(got, str):
                return b"\x01" + bytes(1 + 2 * n)
            r, full = got
            whole = np.clip(np.round(r * 10000), 0, 65534).astype("<u2")
            whole[full] = 0xFFFF
            return b"\x00" + bytes([self.count % 256]) + whole.tobytes()
        return b"\x09"


class Seven(Instrument):
    """Start byte, big-endian float32, sum of the payload modulo 256. Black first."""

    wavelengths = steps(365, 725, 15)
    baud, stop = 19200, 2
    start = 0xA5

    @classmethod
    def frame(cls, payload: bytes) -> bytes:
        return bytes([cls.start]) + payload + bytes([sum(payload) % 256])

    def next_command(self):
        at = self.buffer.find(self.start)
        if at < 0 or len(self.buffer) < at + 3:
            return None
        whole, self.buffer = self.buffer[at : at + 3], self.buffer[at + 3 :]
        return whole

    def answer(self, command: bytes) -> bytes:
        payload = command[1:2]
        if self.frame(payload) != command:
            return self.frame(b"\x7f")
        if payload in (b"\x01", b"\x02"):
            why = self.calibrate("black" if payload == b"\x01" else "white")
            return self.frame({"done": b"\x00", "order": b"\x21", "piece": b"\x22"}[why])
        if payload == b"\x03":
            got = self.measure()
            if isinstance(got, str):
                return self.frame(b"\x20")
            return self.frame(b"\x00" + got[0].astype(">f4").tobytes())
        return self.frame(b"\x7e")
