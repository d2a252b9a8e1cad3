"""What the pretend instruments share: optics, calibration state, buffers, a serial line's bits."""

from __future__ import annotations

import numpy as np


class Instrument:
    """A pretend spectrophotometer on a serial line. All invented.

    ``power_on()`` returns what it sends by itself then (mostly nothing); ``place(spectrum)`` lays
    something under the port; ``reply(data)`` takes bytes in any portions and returns what comes
    back; ``press(spectrum)`` (only where ``has_button``) presses the button. A spectrum is a
    callable of wavelengths in nm, a pair (wavelengths, reflectance), or a number. ``white`` and
    ``black`` are the calibration pieces delivered with it.
    """

    wavelengths: np.ndarray
    baud, bits, parity, stop = 9600, 8, "N", 1
    order = "black first"  # or "white first", "any", "white only"
    has_button = False
    limit: int | None = None  # readings between calibrations
    full_scale = 1.2

    def __init__(self, seed: int = 0, noise: float = 0.0001):
        self.rng = np.random.default_rng(seed)
        self.noise = noise
        w = self.wavelengths
        self.zero = 0.011 + 0.004 * np.sin(w / 90)
        self.gain = 0.80 + 0.15 * np.cos(w / 130)
        self.under = None
        self.log: list[tuple[str, bytes]] = []
        self.power_on()

    def white(self, w):
        """The white piece delivered with it; its values are in the instrument's memory."""
        return 0.93 - 0.05 * np.exp(-(np.asarray(w, float) - 340) / 40)

    def black(self, w):
        return np.full(np.shape(w), 0.0)

    def power_on(self) -> bytes:
        self.buffer = b""
        self.dark = self.bright = None
        self.since = 0
        self.count = 0
        return self.started()

    def started(self) -> bytes:
        return b""

    def place(self, spectrum) -> None:
        self.under = spectrum

    def true_reflectance(self) -> np.ndarray:
        """What lies under the port, at its wavelengths; nothing there reads as a dark room."""
        s, w = self.under, self.wavelengths
        if s is None:
            return np.zeros(w.size)
        if callable(s):
            return np.asarray(s(w), float)
        if isinstance(s, tuple):
            return np.interp(w, *s)
        return np.full(w.size, float(s))

    def raw(self) -> np.ndarray:
        return (
            self.zero
            + self.gain * self.true_reflectance()
            + self.rng.normal(0, self.noise, self.wavelengths.size)
        )

    def calibrate(self, piece: str) -> str:
        """``"done"``, or why not: ``"order"``, ``"piece"`` (the wrong thing lies there)."""
        raw, level = self.raw(), float(np.mean(self.true_reflectance()))
        if piece == "black":
            if self.order == "white only" or (self.order == "white first" and self.bright is None):
                return "order"
            if level > 0.05:
                return "piece"
            self.dark = raw
        else:
            if self.order == "black first" and self.dark is None:
                return "order"
            if level < 0.6:
                return "piece"
            self.bright = raw
        self.since = 0
        return "done"

    @property
    def ready(self) -> bool:
        return self.bright is not None and (self.order == "white only" or self.dark is not None)

    def measure(self):
        """``(reflectance, saturated)``, or why not: ``"uncalibrated"``, ``"due"``."""
        if not self.ready:
            return "uncalibrated"
        if self.limit and self.since >= self.limit:
            return "due"
        self.since += 1
        self.count += 1
        dark = self.zero if self.dark is None else self.dark
        r = (self.raw() - dark) / (self.bright - dark) * self.white(self.wavelengths)
        full = self.true_reflectance() > self.full_scale
        return np.where(full, self.full_scale, r), full

    def reply(self, data: bytes) -> bytes:
        self.log.append(("in", data))
        self.buffer += data
        out = b""
        while (command := self.next_command()) is not None:
            out += self.answer(command)
        self.log.append(("out", out))
        return out

    end = b"\r"

    def next_command(self):
        """Take one whole command from the buffer, or None: what stands before ``end``."""
        if self.end not in self.buffer:
            return None
        command, self.buffer = self.buffer.split(self.end, 1)
        return command

    def answer(self, command) -> bytes:
        raise NotImplementedError


def as_heard(data: bytes, sent: tuple, heard: tuple, seed: int = 0) -> tuple[bytes, int]:
    """Bytes sent with one line setting as a receiver with another hears them, and the errors.

    A setting is (baud, data bits, parity "N" "E" "O", stop bits).
    """
    baud, bits, parity, stop = sent
    line: list[int] = []
    for byte in data:
        d = [(byte >> i) & 1 for i in range(bits)]
        p = [] if parity == "N" else [(sum(d) + (parity == "O")) % 2]
        line += [0, *d, *p, *[1] * stop]
    line += [1] * 24
    step = baud / heard[0]

    def at(t):
        return line[int(t)] if int(t) < len(line) else 1

    t, out, errors = 0.0, bytearray(), 0
    while t < len(line) - 12:
        if at(t):
            t += step / 8
            continue
        n = heard[1]
        d = [at(t + step * (1.5 + i)) for i in range(n)]
        k = n + 1
        bad = False
        if heard[2] != "N":
            bad = at(t + step * (k + 0.5)) != (sum(d) + (heard[2] == "O")) % 2
            k += 1
        bad |= at(t + step * (k + 0.5)) != 1
        errors += bool(bad)
        out.append(sum(b << i for i, b in enumerate(d)))
        t += step * (k + 0.5)
        while t < len(line) and not at(t):
            t += step / 8
    return bytes(out), errors
