"""A pretend instrument on a line of its own clock, with faults as they are drawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from tintladder.calibrate.instrument.instrument import Instrument
from tintladder.calibrate.instrument.line import Line
from tintladder.calibrate.instrument.profile import LineSettings, Profile

from . import Instrument as Pretend
from . import as_heard

FAULTS = ("silence", "half", "garbage", "flip", "late", "unplug", "off", "deaf")
"""Nothing comes; a part comes; nonsense in front; a bit changed; it comes late; it is unplugged for
a moment; it loses its power, and its calibration with it; the command doesn't arrive."""


class Clock:
    """Time that goes on only where somebody waits."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        """Return the time, s."""
        return self.now

    def wait(self, seconds: float) -> None:
        """Let time go on."""
        self.now += seconds


class _Port:
    """What pyserial would open."""

    def __init__(self, line: PretendLine) -> None:
        self._line = line

    @property
    def in_waiting(self) -> int:
        return len(self._line.arrived())

    def read(self, size: int) -> bytes:
        line = self._line
        if line.unplugged:
            raise OSError("gone")
        came = bytes(line.arrived()[:size])
        if not came:
            line.clock.wait(0.5)
        return line.took(len(came)) if came else b""

    def write(self, data: bytes) -> None:
        if self._line.unplugged:
            raise OSError("gone")
        self._line.told(data)

    def close(self) -> None:
        """Nothing is held."""


class PretendLine(Line):
    """A line on which a pretend instrument answers, with faults at random.

    Parameters
    ----------
    pretend : Instrument
    settings : LineSettings
    shares : mapping of fault to share
        How likely each is at every command.
        After so many commands the line is sound: whoever goes round then would for ever.
    seed : int
    """

    FAULTY = 60

    def __init__(
        self,
        pretend: Pretend,
        settings: LineSettings,
        shares: Mapping[str, float] | None = None,
        seed: int = 0,
    ) -> None:
        self.pretend = pretend
        self.time = Clock()
        self.unplugged = False
        self._shares = dict(shares or {})
        self._rng = np.random.default_rng(seed)
        self._coming: list[tuple[float, bytes]] = []
        self.met: dict[str, int] = {}
        self._drawn_so_far = 0
        super().__init__("pretend", settings, self.time)

    @property
    def clock(self) -> Any:
        """Its own time."""
        return self.time

    @clock.setter
    def clock(self, clock: Callable[[], float]) -> None:
        assert clock is self.time

    def _open(self, name: str) -> Any:
        self.unplugged = False
        return _Port(self)

    def arrived(self) -> bytes:
        """What has come and wasn't taken yet."""
        return b"".join(data for at, data in self._coming if at <= self.time.now)

    def took(self, count: int) -> bytes:
        """Take bytes that have come."""
        due = [(at, data) for at, data in self._coming if at <= self.time.now]
        later = [(at, data) for at, data in self._coming if at > self.time.now]
        data = b"".join(each for _, each in due)
        self._coming = [(0.0, data[count:]), *later] if data[count:] else later
        return data[:count]

    def told(self, data: bytes) -> None:
        """Have the instrument hear bytes, through a line of the settings that the host chose."""
        s, p = self._settings, self.pretend
        mine = (s.baud, s.bits, s.parity, int(s.stop))
        its = (p.baud, p.bits, p.parity, p.stop)
        heard = data if mine == its else as_heard(data, mine, its)[0]
        fault = self._drawn()
        if fault == "deaf":
            return
        if fault == "off":
            self.put(p.power_on(), "")
            return
        reply = p.reply(heard)
        self.put(reply if mine == its else as_heard(reply, its, mine)[0], fault)

    def pressed(self) -> None:
        """Press the instrument's button."""
        fault = self._drawn()
        if fault == "off":
            self.put(self.pretend.power_on(), "")
            return
        self.put(self.pretend.press(), "" if fault == "deaf" else fault)

    def _drawn(self) -> str:
        at = self._rng.random()
        self._drawn_so_far += 1
        if self._drawn_so_far > self.FAULTY:
            return ""
        for name, share in self._shares.items():
            at -= share
            if at < 0:
                self.met[name] = self.met.get(name, 0) + 1
                return name
        return ""

    def put(self, reply: bytes, fault: str) -> None:
        """Have a reply come in, spoilt by a fault."""
        if not reply or fault == "silence":
            return
        place = int(self._rng.integers(0, len(reply)))
        delay = 0.05
        if fault in ("half", "unplug"):
            reply = reply[:place]
        elif fault == "garbage":
            nonsense = self._rng.integers(128, 256, 3, dtype=np.uint8).tobytes()
            reply = nonsense + reply
        elif fault == "flip":
            reply = reply[:place] + bytes([reply[place] ^ 0x40]) + reply[place + 1 :]
        elif fault == "late":
            delay = 1.5 * self._settings.timeout_s
        self._coming.append((self.time.now + delay, reply))
        if fault == "unplug":
            self.unplugged = True
            self._coming.clear()
            self.pretend.power_on()


def at_hand(
    profile: Profile, pretend: Pretend, shares: Mapping[str, float] | None = None, seed: int = 0
) -> tuple[Instrument, PretendLine]:
    """The instrument as the host sees it, and its line."""
    line = PretendLine(pretend, profile.line, shares, seed)
    return Instrument(profile, line, line.time.wait), line
