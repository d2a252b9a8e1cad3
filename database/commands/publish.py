"""Publish a release."""

from __future__ import annotations

from typing import Annotated

import typer

from .common import JsonOption, StudioOption, open_store, say, working

EXAMPLE = 'tintladder publish --note "two new blues"'


def publish(
    version: Annotated[
        str | None, typer.Option(help="Such as 1.2.0; else what follows from the changes.")
    ] = None,
    note: Annotated[str, typer.Option(help="A line for the changelog.")] = "",
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Publish your fitted paints as a release: numbered, hashed, never changed after."""
    with working("Publishing", as_json), open_store(studio) as store:
        from ..release import publish as make

        made = make(store, version, note)
    result = {
        "version": made.version,
        "folder": str(made.folder),
        "zip": str(made.archive),
        "digest": made.digest,
        "added": made.changes.added,
        "refitted": made.changes.refitted,
        "left_out": made.changes.left_out,
        "reworded": made.changes.reworded,
    }

    def show() -> None:
        typer.echo(f"Published {made.version} (a release is a numbered copy that never changes).")
        for line in made.changes.lines:
            typer.echo(line)
        typer.echo(f"Folder: {made.folder}\nTo share: {made.archive}\nDigest: {made.digest}")

    say(result, as_json, show)
