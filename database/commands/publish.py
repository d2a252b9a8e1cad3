"""Publish a release."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .common import JsonOption, StudioOption, open_store, say, working
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..releases.changes import Changes
    from ..releases.gates import Gate

EXAMPLE = 'tintladder publish --note "two new blues"'


def publish(
    version: Annotated[
        str | None,
        typer.Option(help="Version such as 1.2.0; without it, what follows from the changes."),
    ] = None,
    note: Annotated[str, typer.Option(help="A line for the changelog.")] = "",
    exclude: Annotated[
        list[str] | None, typer.Option(metavar="PAINT", help="Leave a paint out; may be repeated.")
    ] = None,
    measured_only: Annotated[
        bool,
        typer.Option("--measured-only", help="Leave out paints whose numbers come from scans."),
    ] = False,
    force: Annotated[
        str,
        typer.Option(
            metavar="REASON", help="Publish although a check says not to; the release says why."
        ),
    ] = "",
    preview: Annotated[
        bool, typer.Option("--preview", help="Say what would change, and publish nothing.")
    ] = False,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Publish your fitted paints as a release that never changes.

    A release is a numbered folder of plain tables, and the same as a zip file with its hash.
    """
    with working("Publishing", as_json), open_store(studio) as store:
        from ..releases.publish import plan
        from ..releases.publish import publish as make

        if preview:
            planned = plan(store, version, exclude or (), measured_only)
            would = _as_dict(planned.version, planned.changes, planned.gates)
            would |= {"stopped": planned.stopped}
        else:
            made = make(
                store,
                version,
                note,
                exclude=exclude or (),
                force=force,
                measured_only=measured_only,
            )

    def show_preview() -> None:
        typer.echo(f"Would publish {planned.version}; nothing was published.")
        _show(planned.changes, planned.gates)
        if planned.stopped:
            typer.echo('What stops it needs mending, --exclude PAINT, or --force "the reason".')

    def show_made() -> None:
        typer.echo(f"Published {made.version} (a release is a numbered copy that never changes).")
        _show(made.changes, made.gates)
        typer.echo(f"Folder: {made.folder}\nTo share: {made.archive}\nDigest: {made.digest}")

    if preview:
        say(would, as_json, show_preview)
        return
    result = _as_dict(made.version, made.changes, made.gates) | {
        "folder": str(made.folder),
        "zip": str(made.archive),
        "digest": made.digest,
    }
    say(result, as_json, show_made)


def _as_dict(version: str, changes: Changes, gates: tuple[Gate, ...]) -> dict[str, object]:
    from dataclasses import asdict

    return {
        "version": version,
        **asdict(changes),
        "gates": [gate.as_dict(in_terminal) for gate in gates],
    }


def _show(changes: Changes, gates: tuple[Gate, ...]) -> None:
    for line in changes.lines:
        typer.echo(line)
    for gate in gates:
        typer.echo(f"{'Stops it' if gate.stops else 'To know'}: {in_terminal(gate.line)}.")
