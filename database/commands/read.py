"""Read files into the studio."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .common import JsonOption, StudioOption, open_store, say, working

if TYPE_CHECKING:
    from ..reading_in import TakenIn

EXAMPLE = "tintladder read keel.toml keel.txt"
_SHOWN = 5


def read(
    files: Annotated[
        list[Path], typer.Argument(help="Cards, readings or lists of paints, in any order.")
    ],
    card: Annotated[
        str | None,
        typer.Option(help="Card that was read, by name or file; else the one named like the file."),
    ] = None,
    unit: Annotated[
        str | None, typer.Option(help="percent or fraction, where the file doesn't say.")
    ] = None,
    geometry: Annotated[
        str | None, typer.Option(help="di:8, 8:di or 45:0, where the file doesn't say.")
    ] = None,
    specular: Annotated[
        str | None, typer.Option(help="included or excluded, where the file doesn't say.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Read any file into the studio, and say what it was taken for. All of them, or none."""
    from dataclasses import asdict

    with working("Reading", as_json), open_store(studio, create=True) as store:
        from ..reading_in import take_in

        taken = take_in(store, files, card, unit, geometry, specular)
    say([asdict(item) for item in taken], as_json, lambda: _show(taken))


def _show(taken: list[TakenIn]) -> None:
    for item in taken:
        typer.echo(f"{item.file}: {item.words}")
        for patch, wavelength, words in item.flags[:_SHOWN]:
            typer.echo(f"  flagged: {patch} at {wavelength:g} nm is {words} (kept as read)")
        if len(item.flags) > _SHOWN:
            typer.echo(f"  and {len(item.flags) - _SHOWN} more values flagged; --json lists them")
