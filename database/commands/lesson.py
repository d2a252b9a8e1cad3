"""Make a handout for a class."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import (
    FinishOption,
    JsonOption,
    LightOption,
    ScaleOption,
    StudioOption,
    check_finish,
    number,
    open_store,
    say,
    usual,
    working,
)
from .photographs import BlackOption, GreyOption, WhiteOption, wanted_colours

EXAMPLE = 'tintladder lesson photos/slipway.jpg --grey 82,405 --people 12 --title "The slipway"'


def lesson(
    colours: Annotated[
        list[str],
        typer.Argument(help="A photograph; or several colours, each as for recipe."),
    ],
    people: Annotated[int, typer.Option(min=1, max=200, help="How many people will mix.")] = 10,
    each: Annotated[
        float,
        typer.Option(parser=number(2), metavar="ML", help="Paint of each colour a person mixes."),
    ] = 5.0,
    title: Annotated[str, typer.Option(help="Title of the page.")] = "What we mix today",
    note: Annotated[str, typer.Option(help="A line below the title.")] = "",
    whose: Annotated[
        str, typer.Option(help="Whose tubes were measured.")
    ] = "one studio's own tubes",
    with_: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="NAME", help="A tube that is set out in any case."),
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="NAME", help="A tube to leave out.")
    ] = None,
    finish: FinishOption = None,
    light: LightOption = None,
    scale: ScaleOption = None,
    grey: GreyOption = None,
    white: WhiteOption = None,
    black: BlackOption = None,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="File to write.")] = Path(
        "lesson.html"
    ),
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Write a page for a class, which opens on any phone.

    It predicts mixes without a network.
    """
    with open_store(studio) as store, working("Setting out", as_json):
        from ..common.files import write_whole
        from ..easel.setting_out import SetOutRequest
        from ..easel.tubes.cost import bill, stocks
        from ..paper.for_colours import handout
        from .recipe import split

        names = {paint.nickname: paint.name for paint in store.paints.all()}
        gloss = check_finish(finish)
        habits = usual(store, scale, finish=finish, light=light)
        wanted = wanted_colours(store, colours, grey, white, black)
        request = SetOutRequest(
            wanted, tuple(split(with_)), tuple(split(without)), gloss, measuring=habits.measuring
        )
        found, content = handout(store, request, each, people, title, note, whose)
        write_whole({out: content.encode()})
        costs = bill(stocks(store), found.ml, people)
    result = {
        "file": str(out),
        "tubes": list(found.tubes),
        "colours": [dab.target.words for dab in found.dabs],
        "unreached": [dab.target.words for dab in found.unreached],
        "cost": costs.said,
    }

    def tell() -> None:
        tubes = ", ".join(names[p] for p in found.tubes)
        typer.echo(f"{len(found.dabs)} colours from {len(found.tubes)} tubes: {tubes}.")
        for dab in found.unreached:
            typer.echo(f"These tubes don't reach the {dab.target.words}: the page says so.")
        for line in costs.words(names, f"A class of {people}"):
            typer.echo(line)
        typer.echo(f"Written to {out}: send it to their phones, or print it.")

    say(result, as_json, tell)
