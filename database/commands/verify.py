"""Check the studio, or a release."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, say, working
from .studio_check import check_own

if TYPE_CHECKING:
    from ..care.refit import Refit

EXAMPLE = "tintladder verify releases/paints-1.0.0.zip    (the studio itself: tintladder verify)"


def verify(
    release: Annotated[
        Path | None,
        typer.Argument(help="Folder or zip of a release; without one, the studio is checked."),
    ] = None,
    digest: Annotated[
        str | None,
        typer.Option(help="SHA-256 of its SHA256SUMS; without it, the one that your studio keeps."),
    ] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="Do not fit it again from the readings that it holds.")
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Check that the studio is whole, or a release.

    A release has to be as published and to follow from its readings; a studio, up to date too.
    """
    if release is None:
        if digest or quick:
            raise InputError(
                None, "verify", "expected a release to check", "name its folder or zip"
            )
        check_own(as_json, studio)
        return
    from ..releases.verify import verify_release

    with working("Checking", as_json) as progress:
        known = digest or _kept_digest(release, studio)
        problems = verify_release(release, known)
        refits = [] if quick or problems else _refits(release, progress)
    problems += [f"coefficients.csv: {refit.line}" for refit in refits if _other(refit)]
    result = {
        "release": str(release),
        "digest": known,
        "problems": problems,
        "refits": [asdict(refit) | {"holds": refit.holds} for refit in refits],
    }

    def show() -> None:
        for problem in problems:
            typer.echo(problem)
        if not problems:
            against = "its maker's digest" if known else "its own hashes (no digest at hand)"
            typer.echo(f"{release}: as it was published, by {against}.")
        for refit in refits:
            if not _other(refit):
                typer.echo(refit.line[:1].upper() + refit.line[1:] + ".")

    say(result, as_json, show)
    if problems:
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        raise InputError(
            release, None, f"{problems[0]}{more}", "don't mix by it; fetch the release again"
        )


def _refits(release: Path, progress: Callable[[str], None]) -> list[Refit]:
    from ..care.refit import refit_release
    from ..releases.load import load_release

    return refit_release(load_release(release), progress)


def _other(refit: Refit) -> bool:
    """Whether it gave other numbers than those published."""
    return not refit.holds and not refit.why_not


def _kept_digest(release: Path, studio: str | None) -> str | None:
    """Return the digest of a release of this name that this studio published."""
    from ..releases.publish import releases
    from ..store.store import Store
    from ..store.studio import Studio

    place = Studio.at(studio)
    if place.database is not None and not place.database.exists():
        return None
    name = release.name.removesuffix(".zip")
    with Store.open(place, create=False) as store:
        return next((row.digest for row in releases(store) if row.name == name), None)
