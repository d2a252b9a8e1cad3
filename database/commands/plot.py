"""Plot how a paint tints toward white."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import JsonOption, StudioOption, open_store, say

EXAMPLE = "tintladder plot ANCHOR"


def plot(
    paint: Annotated[str, typer.Argument(help="Nickname, or a part of the name.")],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A .png or .svg; else both, as plots/NICKNAME-tint in the current folder.",
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Show how a paint tints toward white: its ladder, its path, its spectra, its K and S."""
    from ..plot_style import SUFFIXES, check_suffix, save
    from ..plots import tint_figure
    from ..tinting import in_a_sentence, ladder, tint_path

    wanted = [check_suffix(out)] if out else []
    with open_store(studio) as store:
        found, fit, cards = store.find_paint(paint), store.fit_of(paint), store.cards()
    stem = Path("plots") / f"{found.nickname}-tint"
    figure = tint_figure(fit, found.name, cards)
    files = [
        save(figure, path) for path in wanted or [stem.with_suffix(suffix) for suffix in SUFFIXES]
    ]
    sentence = in_a_sentence(ladder(fit, cards), tint_path(fit))
    result = {
        "paint": fit.paint,
        "sentence": sentence,
        "verdict": fit.verdict,
        "files": [str(file) for file in files],
    }

    def show() -> None:
        typer.echo(sentence)
        for file in files:
            typer.echo(f"Picture: {file}")

    say(result, as_json, show)
