"""Serves the page on this machine's loopback address, and nowhere else unless phones are let in."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from typing import TYPE_CHECKING

from ...calibrate.errors import Field, InputError
from ..store.studio import Studio
from .keys import DOOR, Keys, folder, kept_keys, write_own
from .pairing import Pairing

if TYPE_CHECKING:
    import uvicorn

PORT = 8317
"""Where the page is, if it is free: a tab left open finds it again after a restart."""


LOOPBACK = "127.0.0.1"


def on_network() -> str:
    """Return this machine's own address on its network; nothing is sent.

    Raises
    ------
    InputError
        Where it is on none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # Of no machine (RFC 5737): only the way out is asked.
            found = str(probe.getsockname()[0])
        except OSError:
            found = LOOPBACK
    if found.startswith("127."):
        raise InputError(
            Field("phone"), "", "this machine is on no network",
            "join the network that the phone is on, or open the page without it",
        )  # fmt: skip
    return found


def listen(port: int | None, host: str = LOOPBACK) -> socket.socket:
    """Return a socket that listens on an address: on a port, or on `PORT` or any free one.

    Raises
    ------
    InputError
        Where the port is taken.
    """
    for wanted in (PORT, 0) if port is None else (port,):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, wanted))
            made.listen(512)
        except OSError as error:
            made.close()
            why = error.strerror
            continue
        return made
    raise InputError(
        Field("port"), str(port), f"can't be used ({why})",
        "is the page open already? Else give another port, or none and one is found",
    )  # fmt: skip


def server_of(studio: Studio, keys: Keys, pairing: Pairing | None = None) -> uvicorn.Server:
    """Make the server of a studio's page; it serves what it is given to listen on."""
    import uvicorn

    from .app import make_app

    config = uvicorn.Config(
        make_app(studio, keys, pairing), log_level="warning", access_log=False,
        timeout_keep_alive=30, timeout_graceful_shutdown=2, server_header=False,
    )  # fmt: skip
    return uvicorn.Server(config)


def serve(
    studio: Studio,
    port: int | None,
    ready: Callable[[str, str, Pairing | None], None],
    network: str | None = None,
) -> None:
    """Serve the page of a studio until it is stopped.

    Parameters
    ----------
    studio : Studio
    port : int or None
        None: a free one is found.
    ready : callable
        Is told an address that lets one browser in, and another that a browser of this machine can
        be started with: a file of this account alone, since what a program is started with can be
        seen by every account. And what lets phones in, if anything does.
    network : str, optional
        Address of this machine by which phones are let in too; default: none is.
    """
    keys, pairing = kept_keys(), None
    with ExitStack() as open_:
        sockets = [open_.enter_context(closing(listen(port)))]
        if network is not None:
            sockets.append(open_.enter_context(closing(listen(port, network))))
            pairing = Pairing(*sockets[-1].getsockname())
            pairing.begin()
        address, file = open_.enter_context(_door(keys, sockets[0]))
        # A browser that asks now is answered once the rest is loaded.
        ready(address, file, pairing)
        with suppress(KeyboardInterrupt):
            server_of(studio, keys, pairing).run(sockets=sockets)


@contextmanager
def _door(keys: Keys, listening: socket.socket) -> Iterator[tuple[str, str]]:
    """Two addresses that each let one browser in; the latter is a file while this lasts."""
    number = listening.getsockname()[1]
    address, other = (f"http://127.0.0.1:{number}{DOOR}?key={keys.ticket()}" for _ in range(2))
    file = folder() / f"open-{number}.html"
    try:
        file.unlink(missing_ok=True)
        page = f'<meta http-equiv="refresh" content="0; url={other}"><a href="{other}">Go on</a>'
        write_own(file, page.encode())
    except OSError:
        # Nothing of this account's own can be kept here.
        yield address, other
        return
    try:
        yield address, file.as_uri()
    finally:
        file.unlink(missing_ok=True)
