"""Back the studio up."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import JsonOption, StudioOption, say, working

EXAMPLE = "tintladder backup /media/stick/studio-2026-03.zip"


def backup(
    file: Annotated[Path, typer.Argument(help="The one file to write, a zip.")],
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Write the whole studio to one file, also while it is in use."""
    from ..care.backup import back_up
    from ..store.studio import Studio

    with working("Backing up", as_json):
        made = back_up(Studio.at(studio), file)
    releases = f"{len(made.releases)} release{'' if len(made.releases) == 1 else 's'}"
    result = {
        "file": str(made.file),
        "made": made.made,
        "bytes": made.size,
        "releases": list(made.releases),
    }
    say(
        result,
        as_json,
        lambda: typer.echo(
            f"Backed up to {made.file} ({made.size / 1e6:.1f} MB, {releases}). "
            f"Bring it back with: tintladder restore {made.file}"
        ),
    )
