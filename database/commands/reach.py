"""Say what the tubes on hand can make."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .common import (
    FinishOption,
    JsonOption,
    LightOption,
    StudioOption,
    check_finish,
    open_store,
    print_table,
    say,
    usual,
    working,
)

if TYPE_CHECKING:
    from ..easel.reach import Reach
    from ..mixing.recipes import Answer

EXAMPLE = 'tintladder reach "55,70,40"'


def reach(
    target: Annotated[
        str | None, typer.Argument(help="A colour to come near to, written as for recipe.")
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="NAME", help="A tube to leave out.")
    ] = None,
    tubes: Annotated[int, typer.Option(min=1, max=6, help="Tubes in a mix, at most.")] = 4,
    finish: FinishOption = None,
    light: LightOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Show which colours your tubes can mix.

    Of a colour: how near your tubes come, and which tube is missing. A tube that is used up, or
    left out, is tried as the one further tube.
    """
    with open_store(studio) as store, working("Searching", as_json):
        from ..easel.asked_colour import parse_target
        from ..easel.reach import ReachRequest, reach_question
        from .recipe import split

        gloss = check_finish(finish)
        usual(store, finish=finish, light=light)
        request = ReachRequest(
            parse_target(target, store) if target else None,
            tuple(store.paints.find(text).nickname for text in split(without)),
            finish=gloss,
            most=tubes,
        )
        found = reach_question(store, request).answer()
    basis, drawn, answer = found.basis, found.gamut, found.nearest
    result = {
        "paints": list(basis.read.paints),
        "hues": drawn.hues.tolist(),
        "lightnesses": drawn.lightnesses.tolist(),
        "chroma": drawn.chroma.tolist(),
        "lightest": drawn.lightest,
        "darkest": drawn.darkest,
        "volume": drawn.volume,
        "nearest": None
        if answer is None
        else {
            "parts": answer.recipes[0].parts,
            "difference_de00": answer.recipes[0].difference,
            "least_de00": answer.nearest,
            "missing": answer.missing,
            "band_de00": answer.recipes[0].band,
        },
        "one_more": [
            {"paint": w.paint, "difference_de00": w.difference, "volume": w.volume}
            for w in found.further
        ],
        "calculated": basis.model_words,
        "scan_made": bool(basis.scanned(basis.read.paints)),
    } | basis.said  # fmt: skip
    say(result, as_json, lambda: _show(found))


def _show(found: Reach) -> None:
    if found.nearest is None:
        _show_all(found)
    else:
        _show_nearest(found, found.nearest)
    typer.echo(found.basis.model_words)


def _show_all(found: Reach) -> None:
    from ..common.colour_words import hue_name

    basis, drawn = found.basis, found.gamut
    typer.echo(
        f"From L* {drawn.darkest:.0f} to {drawn.lightest:.0f}. Chroma that mixes of up to "
        "three come to, at least:"
    )
    rows = []
    for c in range(0, len(drawn.hues), 2):
        hue = (drawn.hues[c] + drawn.hues[c + 1]) / 2
        best = drawn.chroma[:, [c, c + 1]].max(axis=1)
        rows.append((f"{hue:.0f}° {hue_name(hue)}", *(f"{x:.0f}" for x in best)))
    print_table(["hue", *(f"L* {x:.0f}" for x in drawn.lightnesses)], rows)
    for w in found.further[:1]:
        typer.echo(f"{basis.names[w.paint]} would widen it most: {w.volume:.2f} times as large.")


def _show_nearest(found: Reach, answer: Answer) -> None:
    from ..mixing.prediction import mix_words

    basis = found.basis
    best_way = answer.recipes[0]
    parts = {n: round(1000 * share) / 100 for n, share in best_way.parts.items()}
    typer.echo(
        f"Wanted: {answer.target.words} ({answer.target.said}), "
        f"matched {basis.manner.viewing.words}."
    )
    typer.echo(
        f"Nearest: {mix_words(parts, basis.names)}, by weight: {best_way.words}, CIEDE2000 "
        f"{best_way.difference:.1f} away; sure to within {best_way.band:.1f} (95 of 100 times)."
    )
    if answer.missing:
        typer.echo(
            f"No mix of these tubes comes nearer than {answer.nearest:.1f}: {answer.missing}."
        )
    for w in found.further[:1]:
        if w.difference < answer.nearest - 0.5:
            typer.echo(f"With {basis.names[w.paint]} too it would be {w.difference:.1f} away.")
