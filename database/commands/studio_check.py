"""Checks the studio itself."""

from __future__ import annotations

import typer

from ...calibrate.errors import InputError
from .common import open_store, say, working


def check_own(as_json: bool, studio: str | None) -> None:
    """Check that the studio is whole and up to date."""
    with working("Checking", as_json) as progress, open_store(studio) as store:
        from ..care.integrity import check_studio

        found = check_studio(store, progress)
        place = store.studio.folder
    broken = [finding for finding in found if finding.broken]

    def show() -> None:
        for finding in found:
            typer.echo(f"{'Broken' if finding.broken else 'To know'}: {finding.words}.")
            typer.echo(f"  To do: {finding.do}.")
        if not found:
            typer.echo("The studio is whole; nothing hangs loose or is out of date.")

    say([finding.as_dict() for finding in found], as_json, show)
    if broken:
        raise InputError(place, None, broken[0].words, broken[0].do)
