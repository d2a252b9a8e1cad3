"""Say what the tubes on hand can make."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .common import JsonOption, StudioOption, open_store, print_table, say, working

if TYPE_CHECKING:
    from ..mixing.gamut import Gamut, Widening
    from ..mixing.recipes import Answer

EXAMPLE = 'tintladder reach "55,70,40"'


def reach(
    target: Annotated[
        str | None, typer.Argument(help="A colour to come near to, written as for recipe.")
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="NAME", help="A tube to leave out.")
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Show which colours your tubes can mix.

    Of a colour: how near your tubes come, and which tube is missing. A tube that is used up, or
    left out, is tried as the one further tube.
    """
    with open_store(studio) as store, working("Searching", as_json):
        from ..easel.asked_colour import parse_target
        from ..easel.on_hand import usable
        from ..mixing.gamut import gamut, one_more
        from ..mixing.palette import Palette
        from ..mixing.recipes import recipes
        from .recipe import split

        names = {paint.nickname: paint.name for paint in store.paints.all()}
        left_out = [store.paints.find(text).nickname for text in split(without)]
        coefficients = usable(store, [], left_out)
        reckoned = store.fits.model_words(coefficients)
        goal = parse_target(target, store) if target else None
        drawn = gamut(Palette(coefficients))
        answer = recipes(coefficients, goal, ways=1, names=names) if goal else None
        whole = store.fits.coefficients()
        more = one_more(whole, coefficients.paints, goal.lab if goal else None)
    result = {
        "paints": list(coefficients.paints),
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
            "difference_de00": answer.nearest,
            "missing": answer.missing,
            "band_de00": answer.recipes[0].band,
        },
        "one_more": [
            {"paint": w.paint, "difference_de00": w.difference, "volume": w.volume} for w in more
        ],
        "model": coefficients.model,
        "reckoned": reckoned,
        "scan_made": bool(coefficients.scan_made.any()),
    }

    def show() -> None:
        _show(drawn, answer, more, names)
        typer.echo(reckoned)

    say(result, as_json, show)


def _show(drawn: Gamut, answer: Answer | None, more: list[Widening], names: dict[str, str]) -> None:
    from ..mixing.prediction import mix_words

    if answer is None:
        typer.echo(
            f"From L* {drawn.darkest:.0f} to {drawn.lightest:.0f}. Chroma that mixes of up to "
            "three come to, at least:"
        )
        from ..common.colour_words import hue_name

        rows = []
        for c in range(0, len(drawn.hues), 2):
            hue = (drawn.hues[c] + drawn.hues[c + 1]) / 2
            best = drawn.chroma[:, [c, c + 1]].max(axis=1)
            rows.append((f"{hue:.0f}° {hue_name(hue)}", *(f"{x:.0f}" for x in best)))
        print_table(["hue", *(f"L* {x:.0f}" for x in drawn.lightnesses)], rows)
        for w in more[:1]:
            typer.echo(f"{names[w.paint]} would widen it most: {w.volume:.2f} times as large.")
        return
    best_way = answer.recipes[0]
    parts = {n: round(1000 * share) / 100 for n, share in best_way.parts.items()}
    typer.echo(f"Wanted: {answer.target.words} ({answer.target.said}).")
    typer.echo(
        f"Nearest: {mix_words(parts, names)}, by weight: {best_way.words}, CIEDE2000 "
        f"{answer.nearest:.1f} away; sure to within {best_way.band:.1f} (95 of 100 times)."
    )
    if answer.missing:
        typer.echo(f"{answer.missing[:1].upper()}{answer.missing[1:]}.")
    for w in more[:1]:
        if w.difference < answer.nearest - 0.5:
            typer.echo(f"With {names[w.paint]} too it would be {w.difference:.1f} away.")
