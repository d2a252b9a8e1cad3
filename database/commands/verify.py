"""Check a release."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, say

EXAMPLE = "tintladder verify releases/paints-1.0.0.zip"


def verify(
    release: Annotated[Path, typer.Argument(help="Folder or zip of a release.")],
    digest: Annotated[
        str | None,
        typer.Option(help="SHA-256 of its SHA256SUMS; else as your studio keeps it, if it does."),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Check that a release is as it was published, and makes sense."""
    from ..verify import verify_release

    known = digest or _kept_digest(release, studio)
    problems = verify_release(release, known)
    result = {"release": str(release), "digest": known, "problems": problems}

    def show() -> None:
        for problem in problems:
            typer.echo(problem)
        if not problems:
            against = "its maker's digest" if known else "its own hashes (no digest at hand)"
            typer.echo(f"{release}: as it was published, by {against}.")

    say(result, as_json, show)
    if problems:
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        raise InputError(
            release, None, f"{problems[0]}{more}", "don't mix by it; fetch the release again"
        )


def _kept_digest(release: Path, studio: str | None) -> str | None:
    """Return the digest of a release of this name that this studio published."""
    from ..release import releases
    from ..store import Store
    from ..studio import Studio

    place = Studio.at(studio)
    if place.database is not None and not place.database.exists():
        return None
    name = release.name.removesuffix(".zip")
    with Store.open(place, create=False) as store:
        return next((row.digest for row in releases(store) if row.name == name), None)
