"""Adopt another studio's release."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, open_store, say, working
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..releases.adopt import Adoption

EXAMPLE = "tintladder adopt paints-1.0.0.zip --preview"


def adopt(
    release: Annotated[Path, typer.Argument(help="Folder or zip of a release.")],
    rename: Annotated[
        list[str] | None,
        typer.Option(metavar="THEIRS=HERE", help="Give a paint another nickname; may be repeated."),
    ] = None,
    take: Annotated[
        list[str] | None,
        typer.Option(metavar="PAINT", help="Use their numbers of a paint that you fitted too."),
    ] = None,
    skip: Annotated[
        list[str] | None, typer.Option(metavar="PAINT", help="Do not take this paint of theirs.")
    ] = None,
    digest: Annotated[
        str | None, typer.Option(help="SHA-256 of its SHA256SUMS, as its maker gave it.")
    ] = None,
    unproven: Annotated[
        bool,
        typer.Option(
            "--unproven",
            help="Adopt it also where its numbers can't be checked, or another key signs it than "
            "its studio had before.",
        ),
    ] = False,
    preview: Annotated[
        bool, typer.Option("--preview", help="Say what would be adopted, and do nothing.")
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Take another studio's release into yours.

    Its paints, their numbers and where these come from are taken, once its readings were fitted
    anew and gave these numbers. Conflicts are shown first.
    """
    renamed = dict(_pair(text) for text in rename or ())
    with working("Adopting", as_json) as progress, open_store(studio, create=True) as store:
        from ..releases.adopt import adopt as merge
        from ..releases.trust import judge

        trust = judge(release, digest, store.keys, progress=progress)
        made = merge(
            store, release, renamed, take or (), skip or (), digest, preview, unproven, trust
        )
    say(_as_dict(made), as_json, lambda: _show(made))


def _pair(text: str) -> tuple[str, str]:
    theirs, equals, here = text.partition("=")
    if not (theirs and equals and here):
        raise InputError(None, f"--rename {text!r}", "expected THEIRS=HERE", "write it so")
    return theirs, here


def _as_dict(made: Adoption) -> dict[str, object]:
    from dataclasses import asdict

    return asdict(made)


def _show(made: Adoption) -> None:
    for line in made.verdicts:
        typer.echo(line)
    for conflict in made.conflicts:
        typer.echo(f"In the way: {conflict.paint}: {in_terminal(conflict.words)}.")
    names = ", ".join(
        here if here == theirs else f"{here} (there {theirs})"
        for theirs, here in made.paints.items()
    )
    done = "Adopted" if made.fit is not None else "Would adopt"
    typer.echo(f"{done} from {made.release}: {names}.")
    if made.taken:
        typer.echo(f"Theirs from now on: {', '.join(made.taken)}.")
    if made.skipped:
        typer.echo(f"Left: {', '.join(made.skipped)}.")
    if made.fit is None:
        typer.echo("Nothing was changed.")
    else:
        typer.echo(f"Kept as fit {made.fit}; its SHA256SUMS has the digest {made.digest}.")
