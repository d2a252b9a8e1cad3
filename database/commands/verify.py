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
    from ..releases.trust import Trust

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

    Of a release it is said who signed it, whether its numbers follow from its readings, and what
    can't be checked.
    """
    if release is None:
        if digest or quick:
            raise InputError(
                None, "verify", "expected a release to check", "name its folder or zip"
            )
        check_own(as_json, studio)
        return
    with working("Checking", as_json) as progress:
        trust = _judged(release, digest, quick, studio, progress)
    doubts = [*trust.doubts, *([trust.signature.line] if trust.signature.suspect else [])]
    result = {
        "release": str(release),
        "digest": trust.digest,
        "problems": doubts,
        "signature": asdict(trust.signature) | {"line": trust.signature.line},
        "verdicts": trust.lines,
        "refits": [asdict(fit) | {"outcome": fit.outcome} for fit in trust.refits or ()],
    }

    def show() -> None:
        for problem in trust.problems:
            typer.echo(problem)
        if not trust.problems:
            typer.echo(f"{release}: whole, and as it was published.")
        for line in trust.lines:
            typer.echo(line)

    say(result, as_json, show)
    if doubts:
        more = f" (and {len(doubts) - 1} more)" if len(doubts) > 1 else ""
        raise InputError(
            release, None, f"{doubts[0]}{more}", "don't mix by it; fetch the release again"
        )


def _judged(
    release: Path,
    digest: str | None,
    quick: bool,
    studio: str | None,
    progress: Callable[[str], None],
) -> Trust:
    """Judge it by the digest and the keys that this studio has, if there is one."""
    from ..releases.publish import releases
    from ..releases.trust import judge
    from ..store.store import Store
    from ..store.studio import Studio

    place = Studio.at(studio)
    if place.database is not None and not place.database.exists():
        return judge(release, digest, None, quick, progress)
    name = release.name.removesuffix(".zip")
    with Store.open(place, create=False) as store:
        kept = next((row.digest for row in releases(store) if row.name == name), None)
        return judge(release, digest or kept, store.keys, quick, progress)
