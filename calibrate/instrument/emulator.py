"""An instrument that isn't there: it answers in the words of a profile and replays known readings.

Noise, lamp warm-up and drift are of the size that handheld instruments have (common practice, no
source); its white tile and black trap are invented.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..optics.spectra import Array, Spectra
from .mishaps import Mishaps
from .profile import Command, Profile
from .progress import BLACK_TRAP, WHITE_TILE
from .protocol.frame import Taken

MODEL = "Stand-in"
_NOISE = (0.0002, 0.0006)
"""Offset and slope of the standard deviation of a reading."""
_SET_DOWN = 0.001
"""How far setting it down anew changes a reading as a whole (standard deviation)."""
_WARM_UP, _WARM_UP_S = 0.008, 240.0
_DRIFT = 0.005 / 3600.0


def tile_values(wavelengths: Array) -> Array:
    """Reflectance of the invented white tile: a glazed white, a little yellow."""
    values: Array = 0.93 - 0.08 * np.exp(-(wavelengths - 360.0) / 45.0)
    return values


@dataclass(frozen=True)
class Sent:
    """A spectrum that was sent.

    Attributes
    ----------
    under : str
        What lay under the instrument.
    values : (W,) array
        Reflectance as a fraction, as sent.
    """

    under: str
    values: Array


@dataclass
class Emulator:
    """An instrument that isn't there.

    Attributes
    ----------
    readings : Spectra
        What lies where: rows of one label are averaged.
    clock : callable
        Time, s.
    under : str or None
        Label of what lies under it; None: at every reading the next place of its script.
    script : sequence of str
        Places in the order in which they are read where nobody says what lies under it; over again
        from its end. Empty: every label of the readings.
    serial : str
        Its serial number.
    sent : list of Sent
        Every spectrum that left it whole, in order, also where a mishap befell it on its way.
    """

    profile: Profile
    readings: Spectra
    mishaps: Mishaps = field(default_factory=lambda: Mishaps({}))
    seed: int = 0
    clock: Callable[[], float] = time.monotonic
    under: str | None = None
    script: Sequence[str] = ()
    serial: str = "0001"
    sent: list[Sent] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng(self.seed)
        self._on = self.clock()
        self._zero_gain = 1.0
        self._next = 0
        self._queue: list[tuple[str, str]] = []
        self._scene = self._laid_out()
        self._words = {command.send: name for name, command in self.profile.commands.items()}
        self._waiting: Array | None = None
        """A reading that was started, and is still to be fetched."""

    def _laid_out(self) -> Mapping[str, Array]:
        labels = np.array(self.readings.labels)
        tiles = {
            WHITE_TILE: tile_values(self.profile.wavelengths),
            BLACK_TRAP: np.full(self.profile.wavelengths.size, 0.0004),
        }
        return tiles | {
            label: np.interp(
                self.profile.wavelengths,
                self.readings.wavelengths,
                self.readings.values[labels == label].mean(axis=0),
            )
            for label in dict.fromkeys(self.readings.labels)
        }

    def _gain(self) -> float:
        on = self.clock() - self._on
        return 1.0 - _WARM_UP * float(np.exp(-on / _WARM_UP_S)) + _DRIFT * on

    def _read(self, spoiled: bool) -> Array:
        place = self.under
        if place is None:
            script = self.script or list(dict.fromkeys(self.readings.labels))
            place = script[self._next % len(script)]
            # Whoever reads again after a mishap has not moved it.
            self._next += not spoiled
        true = self._scene[place]
        noise = self._rng.normal(scale=_NOISE[0] + _NOISE[1] * np.abs(true))
        gain = self._rng.normal(1.0, _SET_DOWN) * self._gain() / self._zero_gain
        values: Array = np.round(true * gain + noise, 6)
        self.sent.append(Sent(place, values))
        return values

    def answer(self, line: bytes) -> tuple[bytes, str]:
        """Answer a command.

        Returns
        -------
        reply : bytes
            With its end mark, spoiled where a mishap befell it; empty for silence.
        mishap : str
            Its name, or empty.
        """
        name = self._words.get(line) or self._words.get(line.strip(b"\r\n"))
        if name is None:
            self._queue.append(("-113", "Undefined header"))  # as SCPI-99 has it
            return b"", ""
        mishap = self.mishaps.draw()
        if mishap == "busy":
            code = next(iter(self.profile.status.busy), "")
            return self._refuse(code, "busy", name), mishap
        fields = self._fields(name, mishap)
        command = self.profile.commands[name]
        if command.reply is None:
            return b"", ""
        return self.mishaps.spoil(mishap, self._said(command, command.reply.write(fields))), mishap

    def heard(self, data: bytes) -> Taken | None:
        """Take a command from the front of what came in; None while none is whole."""
        frame, end = self.profile.frame, self.profile.line.end
        if frame is not None:
            return frame.take(data, self._size)
        if end:
            at = data.find(end)
            return None if at < 0 else Taken(data[:at], at + len(end))
        size = self._size(data)
        return None if size is None else Taken(data[:size], size)

    def _size(self, data: bytes) -> int | None:
        return next((len(send) for send in self._words if send and data.startswith(send)), None)

    def _said(self, command: Command, payload: bytes) -> bytes:
        """A reply as it goes over the line."""
        line = self.profile.line
        if self.profile.frame is not None:
            return self.profile.frame.write(payload)
        echo = command.send + b"\r\n" if line.echo else b""
        return echo + payload + command.reply_end + line.prompt

    def _refuse(self, code: str, words: str, name: str) -> bytes:
        command = self.profile.commands[name]
        if command.reply is None or "status" not in command.reply.fields:
            self._queue.append((code, words))
            return b""
        return self._said(command, command.reply.write({"status": code, "message": words}))

    def _fields(self, name: str, mishap: str) -> dict[str, str]:
        well = next(iter(self.profile.status.ok), "0")
        fields = {"status": well, "message": "No error"}
        if name == "identify":
            who = {"maker": "tintladder", "model": MODEL, "serial": self.serial, "firmware": "1"}
            fields |= who
        elif name == "white":
            self._zero_gain = self._gain()
        elif name == "lamp":
            fields["hours"] = f"{(self.clock() - self._on) / 3600.0:.3f}"
        elif name == "error" and self._queue:
            fields["status"], fields["message"] = self._queue.pop(0)
        elif name == "begin":
            self._queue.clear()
        elif name == "measure":
            self._waiting = self._read(bool(mishap))[: -1 if mishap == "length" else None]
        if "values" in self._fields_of(name) and self._waiting is not None:
            fields["values"] = self.profile.values.write(self._waiting, self.profile.wavelengths)
        return fields

    def _fields_of(self, name: str) -> tuple[str, ...]:
        reply = self.profile.commands[name].reply
        return () if reply is None else reply.fields
