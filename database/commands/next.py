"""Say what to add to a plate."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, open_store, say

if TYPE_CHECKING:
    from ..next_addition import Next
    from ..recipe_target import Target

EXAMPLE = 'tintladder next "62,-18,-9" --add "HULL=8,STARBOARD=1"'


def next(
    target: Annotated[str, typer.Argument(help="The colour wanted, as for recipe.")],
    add: Annotated[
        list[str] | None,
        typer.Option(metavar="MIX", help="NAME=GRAMS that just went on the plate, comma between."),
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Forget the last addition.")] = False,
    clear: Annotated[bool, typer.Option("--clear", help="Begin with an empty plate.")] = False,
    wanted: Annotated[
        float | None, typer.Option(min=0.01, metavar="G", help="Grams needed in the end.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Say what to add to the plate, and only add, so that the heap grows least."""
    with open_store(studio) as store:
        from ..mixing import parse_mix
        from ..next_addition import next_additions
        from ..on_hand import usable
        from ..plate import on_plate, read_plate, write_plate
        from ..recipe_target import parse_target

        goal = parse_target(target, store)
        folder = store.studio.folder
        additions = [] if clear else read_plate(folder)
        if undo:
            if not additions:
                raise InputError("--undo", None, "the plate is empty", "add something first")
            additions.pop()
        for text in add or []:
            additions.append(parse_mix(text, lambda name: store.find_paint(name).nickname))
        plate = on_plate(additions)
        if not plate:
            raise InputError(
                "--add", None, "the plate is empty",
                'say what is on it: --add "HULL=8,STARBOARD=1", in grams',
            )  # fmt: skip
        coefficients = usable(store, list(plate), [])
        reckoned = store.model_words(coefficients)
        found = next_additions(coefficients, plate, goal.lab, wanted)
        names = {paint.nickname: paint.name for paint in store.paints()}
        write_plate(folder, additions)
    result = {
        "plate": plate,
        "target": {"said": goal.said, "words": goal.words, "lab": [float(x) for x in goal.lab]},
        "off_de00": found.off,
        "additions": found.additions,
        "then_de00": found.then,
        "band_de00": found.band,
        "growth": found.growth,
        "start_over": found.start_over,
        "model": coefficients.model,
        "reckoned": reckoned,
        "scan_made": bool(coefficients.select(list(plate)).scan_made.any()),
    }
    say(result, as_json, lambda: _show(found, plate, goal, names, reckoned))


def _show(
    found: Next, plate: dict[str, float], goal: Target, names: dict[str, str], reckoned: str
) -> None:
    from ...calibrate.optics.colour import in_words
    from ..colour_words import colour_words
    from ..next_addition import NEAR

    heap = ", ".join(f"{grams:g} g {names[name]}" for name, grams in plate.items())
    typer.echo(f"On the plate: {heap}: {colour_words(found.now)}.")
    typer.echo(f"Wanted: {goal.words}. It is off by {found.off:.1f} ({in_words(found.off)}).")
    if found.off <= NEAR:
        typer.echo("Add nothing.")
    elif not found.additions:
        typer.echo("No addition brings it nearer.")
    else:
        more = ", ".join(f"{grams:.2f} g {names[name]}" for name, grams in found.additions.items())
        typer.echo(
            f"Add {more}: then it is off by {found.then:.1f} ({in_words(found.then)}), "
            f"and the heap grows by {100 * found.growth:.0f} %."
        )
        typer.echo("Add three quarters of that, look, then the rest.")
    if found.start_over:
        typer.echo("It is cheaper to start over: see tintladder recipe.")
    typer.echo(f"Sure to within CIEDE2000 {found.band:.1f} (95 of 100 times). {reckoned}")
