"""A serial line, or what pyserial opens like one: bytes out, bytes up to an end mark in."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import serial
from serial.tools import list_ports

from ..errors import CalibrateDo, InputError
from .faults import Garbled, Lost, Silent
from .profile import LineSettings
from .protocol.dialogue import Dialogue
from .protocol.frame import Take, Taken
from .protocol.reply import escaped

LONGEST = 1_000_000
"""Bytes of a reply; a spectrum is far shorter."""
_STEP = 0.1  # s, how often a wait looks at the clock


@dataclass(frozen=True)
class Port:
    """A serial port of this computer."""

    name: str
    words: str


def ports() -> list[Port]:
    """Return the serial ports there are, by name."""
    found = sorted(list_ports.comports(), key=lambda port: port.device)
    return [Port(port.device, "" if port.description == "n/a" else port.description)
            for port in found]  # fmt: skip


def _plug(name: str) -> tuple[int, int, str | None] | None:
    """What tells a USB plug from others; it keeps that where its port gets another name."""
    for port in list_ports.comports():
        if port.device == name and port.vid is not None:
            return port.vid, port.pid or 0, port.serial_number
    return None


class Line:
    """An open line.

    Parameters
    ----------
    name : str
        A port such as ``/dev/ttyUSB0`` or ``COM3``, or a URL such as ``socket://HOST:PORT``.
    settings : LineSettings
    clock : callable, optional
        Time, s.

    Raises
    ------
    InputError
        Where it can't be opened.
    """

    def __init__(
        self, name: str, settings: LineSettings, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.name = name
        self.clock = clock
        self._settings = settings
        self.dialogue = Dialogue()
        """All that went over it, retries included, since it was last taken."""
        self._rest = bytearray()
        self._plug = _plug(name)
        try:
            self._port: Any = self._open(name)
        except (OSError, ValueError) as error:
            raise unusable(name, error) from None

    def _open(self, name: str) -> Any:
        s = self._settings
        return serial.serial_for_url(
            name,
            baudrate=s.baud,
            bytesize=s.bits,
            parity=s.parity,
            stopbits=s.stop,
            xonxoff=s.flow == "software",
            rtscts=s.flow == "hardware",
            timeout=min(_STEP, s.timeout_s),
            write_timeout=s.timeout_s,
            exclusive=None if "://" in name else True,
        )

    def close(self) -> None:
        """Let go of the port."""
        with suppress(OSError):  # the port may have gone first
            self._port.close()

    def reopen(self) -> bool:
        """Open it anew after it was lost, by its new name if it got one; False where it is away."""
        self.close()
        self._rest.clear()
        name = self.name
        if self._plug is not None:
            name = next((p.device for p in list_ports.comports() if _plug(p.device) == self._plug),
                        name)  # fmt: skip
        try:
            self._port = self._open(name)
        except (OSError, ValueError):
            return False
        self.name = name
        return True

    def send(self, data: bytes) -> None:
        """Send bytes.

        Raises
        ------
        Lost
        """
        self.dialogue.add(True, data)
        try:
            self._port.write(data)
        except (OSError, TypeError) as error:
            raise self._lost() from error

    def drain(self) -> bytes:
        """Take what came in unasked, and return it.

        Raises
        ------
        Lost
        """
        while self._read(waiting=False):
            pass
        came, self._rest = bytes(self._rest), bytearray()
        return came

    def receive(self, end: bytes | Take, timeout_s: float) -> bytes:
        """Return the next message.

        Parameters
        ----------
        end : bytes or Take
            The mark that ends it, or what takes it from the front of what came in.
        timeout_s : float
            How long to wait, s.

        Returns
        -------
        bytes
            What it holds.

        Raises
        ------
        Silent
            Where nothing comes.
        Garbled
            Where it doesn't become whole, or is none.
        Lost
        """
        take = _to_mark(end) if isinstance(end, bytes) else end
        until = self.clock() + timeout_s
        while (taken := self._taken(take)) is None:
            if len(self._rest) > LONGEST:
                self._rest.clear()
                raise Garbled(f"expected a reply, got {LONGEST} bytes without an end")
            if not self._read(waiting=True) and self.clock() > until:
                if not self._rest:
                    raise Silent(f"nothing came back within {timeout_s:g} s")
                half = bytes(self._rest)
                self._rest.clear()
                raise Garbled(f"half a reply came: {escaped(half)}")
        del self._rest[: taken.used]
        return taken.payload

    def _taken(self, take: Take) -> Taken | None:
        if not self._rest:
            return None
        try:
            return take(bytes(self._rest))
        except Garbled:
            self._rest.clear()
            raise

    def _read(self, waiting: bool) -> int:
        """Take in what has come, or wait for a first byte; return how many came."""
        try:
            there = self._port.in_waiting
            if not there and not waiting:
                return 0
            came = self._port.read(max(1, there))
        # A port closed under a read leaves pyserial with nothing to read from.
        except (OSError, TypeError) as error:
            raise self._lost() from error
        self.dialogue.add(False, came)
        self._rest += came
        return len(came)

    def _lost(self) -> Lost:
        return Lost(f"{self.name} is gone: unplugged, or switched off")


def _to_mark(end: bytes) -> Take:
    def take(data: bytes) -> Taken | None:
        at = data.find(end)
        return None if at < 0 else Taken(data[:at], at + len(end))

    return take


def unusable(name: str, error: Exception) -> InputError:
    """Say in one line why a port can't be opened.

    Parameters
    ----------
    name : str
        Of the port.
    error : Exception
        What opening it met.

    Returns
    -------
    InputError
    """
    number = getattr(error, "errno", None)
    words = str(error)
    if number == errno.EACCES or "PermissionError" in words:
        return InputError(
            name, None, "you may not open this port, or another program holds it",
            "close the other program; on Linux join the group that owns the port (ls -l shows it)",
        )  # fmt: skip
    if number in (errno.EBUSY, errno.EAGAIN) or "exclusively lock" in words:
        return InputError(
            name, None, "this port is in use by another program", "close that program first"
        )
    if "://" in name:
        return InputError(
            name, None, f"nothing can be opened there ({words.rpartition(': ')[2]})",
            "check the address, as in socket://HOST:PORT, and that the instrument is on",
        )  # fmt: skip
    there = ", ".join(port.name for port in ports()) or "none"
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFoundError" in words:
        return InputError(
            name, None, f"there is no such port (ports: {there})",
            CalibrateDo.PLUG_IN(),
        )  # fmt: skip
    return InputError(
        name, None, f"this port can't be opened ({words})", f"give a serial port (ports: {there})"
    )
