"""List the releases."""

from __future__ import annotations

import typer

from .common import JsonOption, StudioOption, open_store, print_table, say

EXAMPLE = "tintladder releases"


def releases(as_json: JsonOption = False, studio: StudioOption = None) -> None:
    """List your releases."""
    from ..releases.publish import releases as published

    with open_store(studio) as store:
        rows = [
            {
                "version": row.version,
                "created": row.created,
                "paints": list(row.contents),
                "note": row.note,
                "folder": str(store.studio.releases / row.name),
                "digest": row.digest,
            }
            for row in published(store)
        ]

    def show() -> None:
        if not rows:
            typer.echo("Nothing published yet. Publish your fits: tintladder publish")
            return
        print_table(
            ("Version", "Published", "Paints", "Note", "Folder"),
            [
                (
                    str(row["version"]),
                    str(row["created"])[:10],
                    str(len(row["paints"])),
                    str(row["note"]),
                    str(row["folder"]),
                )
                for row in rows
            ],
        )

    say(rows, as_json, show)
