"""Bring a backup back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import JsonOption, StudioOption, say, working

EXAMPLE = "tintladder restore studio-2026-03.zip --studio studio-again"


def restore(
    file: Annotated[Path, typer.Argument(help="A file made by tintladder backup.")],
    over: Annotated[
        bool,
        typer.Option(
            "--over", help="Replace the studio there; its old database is kept beside it."
        ),
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Bring a studio back from a backup, whole or not at all."""
    from ..care.restore import restore as bring_back
    from ..store.studio import Studio

    place = Studio.at(studio)
    with working("Restoring", as_json):
        made = bring_back(file, place, over)
    result = {
        "file": str(made.file),
        "made": made.made,
        "studio": str(place.folder),
        "releases": list(made.releases),
        "files": made.files,
    }
    say(
        result,
        as_json,
        lambda: typer.echo(
            f"Restored the studio of {made.made} to {place.folder} "
            f"({len(made.releases)} releases, {made.files} files). See what it says: "
            "tintladder verify"
        ),
    )
