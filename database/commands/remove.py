"""Take something out of use."""

from __future__ import annotations

from typing import Annotated

import typer

from .common import JsonOption, StudioOption, open_store, say

EXAMPLE = "tintladder remove card 3"


def remove(
    kind: Annotated[str, typer.Argument(help="tube, card, recipe, batch, device or paper.")],
    name: Annotated[
        str, typer.Argument(help="Its name; of a card its number too, of a batch its number.")
    ],
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Take a tube, card, recipe, batch, device or paper out of use.

    What was read, fitted or published of it stays in the studio and can be traced, but no list,
    fit or mix takes it. For a day it can be taken back: tintladder undo.
    """
    from ..care.removing import remove as take_out

    with open_store(studio) as store:
        made = take_out(store, kind, name)
    said = {"change": made.id, "done": made.done, "words": made.words}
    say(said, as_json, lambda: typer.echo(f"{made.words}. To take that back: tintladder undo"))
