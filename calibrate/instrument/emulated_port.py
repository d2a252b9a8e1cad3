"""Plugs an emulated instrument in: on a real pseudo-terminal, or on a TCP port of this computer."""

from __future__ import annotations

import os
import select
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal, Protocol

from .emulator import Emulator
from .faults import Garbled

_LOOK_S = 0.05
AWAY_S = 0.1
"""How long an unplugged instrument stays away, s."""


class _Plug(Protocol):
    name: str

    def plug(self) -> None: ...
    def unplug(self) -> None: ...
    def receive(self) -> bytes: ...
    def send(self, data: bytes) -> None: ...


class _Terminal:
    """A pseudo-terminal under a name that it keeps when it is plugged in again."""

    def __init__(self, folder: Path) -> None:
        self._link = folder / "port"
        self.name = str(self._link)

    def plug(self) -> None:
        import tty

        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        self._link.unlink(missing_ok=True)
        self._link.symlink_to(os.ttyname(self._theirs))

    def unplug(self) -> None:
        self._link.unlink(missing_ok=True)
        os.close(self._ours)
        os.close(self._theirs)

    def receive(self) -> bytes:
        if not select.select([self._ours], [], [], _LOOK_S)[0]:
            return b""
        return os.read(self._ours, 4096)

    def send(self, data: bytes) -> None:
        os.write(self._ours, data)


class _Socket:
    """A TCP port; one caller at a time."""

    def __init__(self) -> None:
        self._at = ("127.0.0.1", 0)
        self._caller: socket.socket | None = None

    def plug(self) -> None:
        self._listener = socket.create_server(self._at)
        self._at = self._listener.getsockname()
        self.name = f"socket://{self._at[0]}:{self._at[1]}"

    def unplug(self) -> None:
        self._hang_up()
        self._listener.close()

    def receive(self) -> bytes:
        watched = self._caller or self._listener
        if not select.select([watched], [], [], _LOOK_S)[0]:
            return b""
        if self._caller is None:
            self._caller = self._listener.accept()[0]
            return b""
        came = self._caller.recv(4096)
        if not came:
            self._hang_up()
        return came

    def send(self, data: bytes) -> None:
        if self._caller is not None:
            self._caller.sendall(data)

    def _hang_up(self) -> None:
        if self._caller is not None:
            self._caller.close()
            self._caller = None


def _serve(emulator: Emulator, plug: _Plug, stop: threading.Event, delay_s: float) -> None:
    heard = b""
    while not stop.is_set():
        try:
            heard += plug.receive()
            while heard and (taken := emulator.heard(heard)) is not None:
                heard = heard[taken.used :]
                if not _reply(emulator, plug, taken.payload, delay_s):
                    heard = b""
        except Garbled:
            heard = b""
        except OSError:
            # The caller hung up in the middle.
            heard = b""
            time.sleep(_LOOK_S)


def _reply(emulator: Emulator, plug: _Plug, line: bytes, delay_s: float) -> bool:
    """Answer one command; False where the plug was pulled."""
    reply, mishap = emulator.answer(line)
    time.sleep(1.5 * emulator.profile.line.timeout_s if mishap == "late" else delay_s)
    if mishap != "unplug":
        plug.send(reply)
        return True
    plug.send(reply)
    plug.unplug()
    time.sleep(AWAY_S)
    plug.plug()
    return False


@contextmanager
def plugged_in(
    emulator: Emulator, kind: Literal["terminal", "socket"] = "terminal", delay_s: float = 0.0
) -> Iterator[str]:
    """Let an emulator answer on a port; yields the port's name or URL.

    Parameters
    ----------
    emulator : Emulator
    kind : {"terminal", "socket"}
        Where the system has no pseudo-terminals, a socket serves.
    delay_s : float
        How long it takes over each command.

    Yields
    ------
    str
    """
    with tempfile.TemporaryDirectory(prefix="tintladder-") as folder:
        terminal = kind == "terminal" and hasattr(os, "openpty")
        plug: _Plug = _Terminal(Path(folder)) if terminal else _Socket()
        plug.plug()
        stop = threading.Event()
        served = threading.Thread(target=_serve, args=(emulator, plug, stop, delay_s), daemon=True)
        served.start()
        try:
            yield plug.name
        finally:
            stop.set()
            served.join()
            plug.unplug()
