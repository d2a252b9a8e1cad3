"""Open the studio's page in a browser."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .common import JsonOption, StudioOption, say

if TYPE_CHECKING:
    from ..page.pairing import Pairing

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
    phone: Annotated[
        bool,
        typer.Option(
            "--phone",
            help="Also let phones and tablets of the same network mix with it, each by a code.",
        ),
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Do the whole job on a page in your browser.

    The page is served to this machine and your account alone: the address lets in one browser,
    once, which is known from then on. Ctrl-C stops it.

    With --phone, phones and tablets of the same network are let in too, each by a code that works
    once; they mix, and change nothing else. What they send isn't encrypted.
    """
    import webbrowser
    from threading import Thread

    from ..page.server import on_network, serve
    from ..store.studio import Studio

    def ready(address: str, file: str, pairing: Pairing | None) -> None:
        said = {"address": address}
        lines = [
            f"The studio's page: {address} (lets in one browser of this machine; Ctrl-C stops it)"
        ]
        if pairing is not None:
            from ..page.square import in_terminal

            code = pairing.code or ""
            said |= {"phone_address": pairing.address, "phone_code": code}
            lines += [
                in_terminal(pairing),
                f"A phone or tablet of this network: point its camera at the square, or open "
                f"{pairing.address} and type {code[:3]} {code[3:]} (lets one in, within ten "
                "minutes; the page has further codes).",
                "What goes between them isn't encrypted: whoever is on this network can read it.",
            ]
        say(said, as_json, lambda: typer.echo("\n".join(lines)))
        if not no_browser:
            Thread(target=webbrowser.open, args=(file,), daemon=True).start()

    serve(Studio.at(studio), port, ready, on_network() if phone else None)
