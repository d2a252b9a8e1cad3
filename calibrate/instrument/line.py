"""A serial line, or what pyserial opens like one: bytes out, bytes up to an end mark in."""

from __future__ import annotations

import errno
import time
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import serial
from serial.tools import list_ports

from ..errors import CalibrateDo, InputError
from .faults import Garbled, Lost, Silent
from .profile import LineSettings
from .reply import escaped

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

    Raises
    ------
    InputError
        Where it can't be opened.
    """

    def __init__(self, name: str, settings: LineSettings) -> None:
        self.name = name
        self._settings = settings
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

    def receive(self, end: bytes, timeout_s: float) -> bytes:
        """Return what comes in before an end mark.

        Parameters
        ----------
        end : bytes
            The mark.
        timeout_s : float
            How long to wait, s.

        Returns
        -------
        bytes

        Raises
        ------
        Silent
            Where nothing comes.
        Garbled
            Where the end mark doesn't.
        Lost
        """
        until = time.monotonic() + timeout_s
        searched = 0
        while (found := self._rest.find(end, max(0, searched - len(end)))) < 0:
            searched = len(self._rest)
            if searched > LONGEST:
                raise Garbled(f"expected a reply, got {searched} bytes without an end")
            if not self._read(waiting=True) and time.monotonic() > until:
                if not self._rest:
                    raise Silent(f"nothing came back within {timeout_s:g} s")
                half = bytes(self._rest)
                self._rest.clear()
                raise Garbled(f"half a reply came: {escaped(half)}")
        reply = bytes(self._rest[:found])
        del self._rest[: found + len(end)]
        return reply

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
        self._rest += came
        return len(came)

    def _lost(self) -> Lost:
        return Lost(f"{self.name} is gone: unplugged, or switched off")


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
