"""Plot what paints do: tint, hide, show their undertone, and what a fit leaves over."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from .common import JsonOption, ModelOption, StudioOption, open_store, say

EXAMPLE = "tintladder plot ANCHOR"


class Show(StrEnum):
    """What a picture shows."""

    TINT = "tint"
    FILM = "film"
    HIDING = "hiding"
    STRENGTH = "strength"
    LEFTOVER = "leftover"
    REACH = "reach"
    TRIANGLE = "triangle"


def plot(
    paints: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PAINT]...", help="Nicknames, or parts of names; without any, all fitted."
        ),
    ] = None,
    show: Annotated[
        Show,
        typer.Option(
            help="tint: one paint let down with white, or several side by side. film: from a thin "
            "film to the masstone. hiding: contrast ratio by thickness. strength: which tints "
            "most strongly. leftover: the residuals of one paint's fit. reach: the colours that "
            "these tubes can mix. triangle: three tubes in even steps."
        ),
    ] = Show.TINT,
    against: Annotated[
        str | None, typer.Option(metavar="PAINT", help="The paint that counts as 1 in strength.")
    ] = None,
    model: ModelOption = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A .png, .svg or .pdf; else the first two, as plots/NICKNAME-tint in this folder.",
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Draw how paints tint, hide and cover, or how well they fit."""
    from ...calibrate.errors import InputError
    from ..pictures.of_studio import drawn
    from ..pictures.style import SUFFIXES, check_suffix, save

    wanted = [check_suffix(out)] if out else []
    if against is not None and show is not Show.STRENGTH:
        raise InputError(
            "--against", against, "only strength is said against a paint", "add --show strength"
        )
    with open_store(studio) as store:
        asked = [store.paints.find(text).nickname for text in paints or ()]
        chosen = list(dict.fromkeys(asked or store.fits.current()))
        if not chosen:
            raise InputError(None, None, "no paint has a fit yet", "fit with: tintladder fit")
        figure, result = drawn(store, chosen, str(show), against, model and str(model))
    stem = Path("plots") / f"{chosen[0] if len(chosen) == 1 else 'paints'}-{show}"
    files = [
        save(figure, path)
        for path in wanted or [stem.with_suffix(suffix) for suffix in SUFFIXES[:2]]
    ]
    result |= {"show": str(show), "paints": chosen, "files": [str(file) for file in files]}

    def tell() -> None:
        if result.get("sentence"):
            typer.echo(result["sentence"])
        typer.echo(result["calculated"])
        for file in files:
            typer.echo(f"Picture: {file}")

    say(result, as_json, tell)
