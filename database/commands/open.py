"""Open the studio's page in a browser."""

from __future__ import annotations

from typing import Annotated

import typer

from .common import JsonOption, StudioOption, say

EXAMPLE = "tintladder open"


def open(
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only serve the page and say where it is.")
    ] = False,
    port: Annotated[
        int | None,
        typer.Option(
            min=1, max=65535, help="Port to serve the page on; without it, a free one is found."
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Do the whole job on a page in your browser.

    The page is served to this machine and your account alone: the address lets in one browser,
    once, which is known from then on. Ctrl-C stops it.
    """
    import webbrowser
    from threading import Thread

    from ..page.server import serve
    from ..store.studio import Studio

    def ready(address: str, file: str) -> None:
        words = (
            f"The studio's page: {address} (lets in one browser of this machine; Ctrl-C stops it)"
        )
        say({"address": address}, as_json, lambda: typer.echo(words))
        if not no_browser:
            Thread(target=webbrowser.open, args=(file,), daemon=True).start()

    serve(Studio.at(studio), port, ready)
