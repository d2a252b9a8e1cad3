"""Take back what was removed, renamed or edited."""

from __future__ import annotations

from typing import Annotated

import typer

from .common import JsonOption, StudioOption, open_store, print_table, say

EXAMPLE = "tintladder undo 4"


def undo(
    number: Annotated[
        int | None, typer.Argument(help="Number of the change; without it, they are listed.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Take back what was removed, renamed or edited within a day.

    Files of readings are taken back with tintladder read --undo.
    """
    from ..care.removing import undo as take_back

    with open_store(studio) as store:
        if number is None:
            rows = [
                {"change": row.id, "done": row.done, "words": row.words}
                for row in store.changes.recent()
            ]
            say(rows, as_json, lambda: _show(rows))
            return
        made = take_back(store, number)
    said = {"change": made.id, "undone": made.undone, "words": made.words}
    say(said, as_json, lambda: typer.echo(f"Taken back: {made.words}."))


def _show(rows: list[dict[str, object]]) -> None:
    if not rows:
        typer.echo("Nothing was removed, renamed or edited within a day.")
        return
    print_table(
        ("Number", "Done (UTC)", "What"),
        [
            (str(row["change"]), str(row["done"])[:16].replace("T", " "), str(row["words"]))
            for row in rows
        ],
    )
    typer.echo("To take one back: tintladder undo NUMBER")
