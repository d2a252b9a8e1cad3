"""Serves the page on this machine's loopback address, and nowhere else."""

from __future__ import annotations

import socket
from collections.abc import Callable
from contextlib import closing, suppress
from typing import TYPE_CHECKING

from ...calibrate.errors import Field, InputError
from ..store.studio import Studio

if TYPE_CHECKING:
    import uvicorn

PORT = 8317
"""Where the page is, if it is free: a tab left open finds it again after a restart."""


def listen(port: int | None) -> socket.socket:
    """Return a socket that listens on loopback: on a port, or on `PORT` or any free one.

    Raises
    ------
    InputError
        Where the port is taken.
    """
    for wanted in (PORT, 0) if port is None else (port,):
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind(("127.0.0.1", wanted))
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


def server_of(studio: Studio) -> uvicorn.Server:
    """Make the server of a studio's page; it serves what it is given to listen on."""
    import uvicorn

    from .app import make_app

    config = uvicorn.Config(
        make_app(studio), log_level="warning", access_log=False,
        timeout_keep_alive=30, timeout_graceful_shutdown=2, server_header=False,
    )  # fmt: skip
    return uvicorn.Server(config)


def serve(studio: Studio, port: int | None, ready: Callable[[str], None]) -> None:
    """Serve the page of a studio until it is stopped; `ready` is told its address."""
    with closing(listen(port)) as listening:
        # A browser that asks now is answered once the rest is loaded.
        ready(f"http://127.0.0.1:{listening.getsockname()[1]}/")
        with suppress(KeyboardInterrupt):
            server_of(studio).run(sockets=[listening])
