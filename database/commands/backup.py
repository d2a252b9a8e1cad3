"""Back the studio up."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import JsonOption, StudioOption, say, working

EXAMPLE = "tintladder backup /media/stick/studio-2026-03.zip"


def backup(
    file: Annotated[Path, typer.Argument(help="The one file to write, a zip.")],
    with_key: Annotated[
        bool,
        typer.Option(
            "--with-key",
            help="Also the key that signs your releases: whoever has it can sign as you.",
        ),
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Write the whole studio to one file, also while it is in use."""
    from ..care.backup import back_up
    from ..store.studio import Studio

    with working("Backing up", as_json):
        made = back_up(Studio.at(studio), file, with_key)
    releases = f"{len(made.releases)} release{'' if len(made.releases) == 1 else 's'}"
    result = {
        "file": str(made.file),
        "made": made.made,
        "bytes": made.size,
        "releases": list(made.releases),
        "files": made.files,
        "left_out": list(made.left_out),
    }

    def show() -> None:
        typer.echo(
            f"Backed up to {made.file} ({made.size / 1e6:.1f} MB: the database, {releases}, "
            f"{made.files} files). Bring it back with: tintladder restore {made.file}"
        )
        if made.left_out:
            typer.echo(f"Left out, as not of the studio: {', '.join(made.left_out)}.")

    say(result, as_json, show)
