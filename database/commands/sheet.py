"""Paper for the studio wall: mixing chart, labels."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import JsonOption, StudioOption, open_store, say, worked, working

EXAMPLE = "tintladder sheet chart ANCHOR ROPE LANTERN"
app = typer.Typer()

PageOption = Annotated[str, typer.Option("--page", help="Paper: a4 or letter.")]
OutOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="FILE", help="PDF to write; without it, one in this folder."),
]
PaintsArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[PAINT]...", help="Nicknames, or parts of names; without any, all on hand."
    ),
]
CHART, TUBES, POTS = Path("mixing-chart.pdf"), Path("tube-labels.pdf"), Path("pot-labels.pdf")
ATLAS, TRIANGLE = Path("wall-atlas.pdf"), Path("triangle.pdf")


@app.callback(invoke_without_command=True, epilog=worked("tintladder sheet"))
def sheet(ctx: typer.Context, as_json: JsonOption = False, studio: StudioOption = None) -> None:
    """Print a wall atlas, a mixing chart, or labels.

    Alone, it prints the mixing chart and the labels of all tubes on hand.
    """
    if ctx.invoked_subcommand is not None:
        return
    with open_store(studio) as store, working("Mixing", as_json):
        from ..paper.of_studio import labels_of_tubes, mixing_chart

        printed = {CHART: mixing_chart(store), TUBES: labels_of_tubes(store)}
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
        from ..paper.of_studio import mixing_chart

        printed = {out or CHART: mixing_chart(store, paints or [], page)}
    _keep(printed, as_json)


@app.command("atlas", epilog=worked("tintladder sheet atlas"))
def atlas(
    paints: PaintsArgument = None,
    page: PageOption = "a4",
    out: OutOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Print the wall atlas: ladders, coats, hues, pairs, a triangle and values."""
    with open_store(studio) as store, working("Mixing", as_json):
        from ..paper.of_studio import wall_atlas

        printed = {out or ATLAS: wall_atlas(store, paints or [], page)}
    _keep(printed, as_json)


@app.command("triangle", epilog=worked("tintladder sheet triangle ROPE ANCHOR PENNANT"))
def triangle(
    paints: Annotated[list[str], typer.Argument(metavar="PAINT...", help="Three tubes.")],
    page: PageOption = "a4",
    out: OutOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Print three tubes as a triangle to paint on."""
    with open_store(studio) as store, working("Mixing", as_json):
        from ..paper.of_studio import triangle_of

        printed = {out or TRIANGLE: triangle_of(store, paints, page)}
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
        from ..paper.of_studio import labels_of_tubes

        printed = {out or TUBES: labels_of_tubes(store, paints or [], page)}
    _keep(printed, as_json)


@app.command("pots", epilog=worked("tintladder sheet pots sea"))
def pots(
    recipes: Annotated[
        list[str] | None,
        typer.Argument(metavar="[RECIPE]...", help="Kept recipes; without any, all of them."),
    ] = None,
    page: PageOption = "a4",
    out: OutOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Print labels for pots of kept batches: parts, tubes and lots, date, dried colour."""
    with open_store(studio) as store, working("Gathering", as_json):
        from ..paper.of_studio import labels_of_pots

        printed = {out or POTS: labels_of_pots(store, recipes or [], page)}
    _keep(printed, as_json)


def _keep(printed: dict[Path, bytes], as_json: bool) -> None:
    from ..common.files import write_whole

    write_whole(printed)
    files = [str(file) for file in printed]
    said = (
        f"Printed to {' and '.join(files)}: as true in colour as your printer, so paint the real "
        "ones beside."
    )
    say({"files": files}, as_json, lambda: typer.echo(said))
