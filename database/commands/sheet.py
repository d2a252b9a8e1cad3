"""Paper for the studio wall: mixing chart, labels."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, open_store, say, worked, working

if TYPE_CHECKING:
    from ..store import Store

EXAMPLE = "tintladder sheet chart ANCHOR ROPE LANTERN"
app = typer.Typer()

PageOption = Annotated[str, typer.Option("--page", help="Paper: a4 or letter.")]
OutOption = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="The PDF; else in the current folder.")
]
PaintsArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="[PAINT]...", help="Nicknames, or parts of names; else all on hand."),
]
CHART, TUBES, POTS = Path("mixing-chart.pdf"), Path("tube-labels.pdf"), Path("pot-labels.pdf")


@app.callback(invoke_without_command=True, epilog=worked("tintladder sheet"))
def sheet(ctx: typer.Context, as_json: JsonOption = False, studio: StudioOption = None) -> None:
    """Print paper for the studio wall; alone, the mixing chart and the labels of all on hand."""
    if ctx.invoked_subcommand is not None:
        return
    with open_store(studio) as store, working("Mixing", as_json):
        printed = {CHART: _chart(store, [], "a4"), TUBES: _labels(store, [], "a4")}
    _keep(printed, as_json)


@app.command("chart", epilog=worked(EXAMPLE))
def chart(
    paints: PaintsArgument = None,
    page: PageOption = "a4",
    out: OutOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Print every pair of tubes in steps, as they are and let down with white."""
    with open_store(studio) as store, working("Mixing", as_json):
        printed = {out or CHART: _chart(store, paints or [], page)}
    _keep(printed, as_json)


@app.command("tubes", epilog=worked("tintladder sheet tubes"))
def tubes(
    paints: PaintsArgument = None,
    page: PageOption = "a4",
    out: OutOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Print labels for tubes: masstone and tint, how each leans, covers and tints."""
    with open_store(studio) as store, working("Gathering", as_json):
        printed = {out or TUBES: _labels(store, paints or [], page)}
    _keep(printed, as_json)


@app.command("pots", epilog=worked("tintladder sheet pots sea"))
def pots(
    recipes: Annotated[
        list[str] | None,
        typer.Argument(metavar="[RECIPE]...", help="Kept recipes; else all."),
    ] = None,
    page: PageOption = "a4",
    out: OutOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Print labels for pots of kept batches: parts, tubes and lots, date, dried colour."""
    with open_store(studio) as store, working("Gathering", as_json):
        from ..recipe_store import kept_recipes
        from ..sheet_pots import pot_labels, print_pots

        kept = {each.recipe.name: each for each in kept_recipes(store)}
        asked = [text.strip().casefold() for text in recipes or kept]
        for name in asked:
            if name not in kept:
                raise InputError(None, name, "is no kept recipe", "list them: tintladder recipe")
        paints = {paint.nickname: paint for paint in store.paints()}
        content = print_pots(pot_labels([kept[name] for name in asked], paints), page)
    _keep({out or POTS: content}, as_json)


def _chart(store: Store, paints: list[str], page: str) -> bytes:
    from ..on_hand import usable
    from ..recipe_palette import Palette
    from ..sheet_chart import chart as print_chart

    chosen = _chosen(store, paints)
    names = {paint.nickname: paint.name for paint in store.paints()}
    return print_chart(Palette(usable(store, chosen, [])), names, chosen, page)


def _labels(store: Store, paints: list[str], page: str) -> bytes:
    from ..sheet_labels import print_labels, tube_labels

    return print_labels(tube_labels(store, _chosen(store, paints)), page)


def _chosen(store: Store, paints: list[str]) -> list[str]:
    return list(dict.fromkeys(store.find_paint(text).nickname for text in paints))


def _keep(printed: dict[Path, bytes], as_json: bool) -> None:
    from ..whole_files import write_whole

    write_whole(printed)
    files = [str(file) for file in printed]
    said = (
        f"Printed to {' and '.join(files)}: as true in colour as your printer, so paint the real "
        "ones beside."
    )
    say({"files": files}, as_json, lambda: typer.echo(said))
