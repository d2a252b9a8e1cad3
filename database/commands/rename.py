"""Give something another name."""

from __future__ import annotations

from typing import Annotated

import typer

from .common import JsonOption, StudioOption, open_store, say

EXAMPLE = "tintladder rename recipe hull-blue transom-blue"


def rename(
    kind: Annotated[str, typer.Argument(help="tube, recipe, device or paper.")],
    name: Annotated[str, typer.Argument(help="Its name; of a tube its nickname.")],
    to: Annotated[str, typer.Argument(help="What it is called from now on.")],
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Give a tube, recipe, device or paper another name.

    A tube's nickname can be changed until a card, a recipe or a fit knows it by that. What its
    label says is changed on its page. For a day a change can be taken back: tintladder undo.
    """
    from ..care.renaming import rename as give_name

    with open_store(studio) as store:
        made = give_name(store, kind, name, to)
    said = {"change": made.id, "done": made.done, "words": made.words}
    say(said, as_json, lambda: typer.echo(f"{made.words}. To take that back: tintladder undo"))
