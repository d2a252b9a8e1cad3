"""Say what the tubes on hand can make."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ...calibrate.errors import InputError
from .common import (
    FinishOption,
    JsonOption,
    LightOption,
    StudioOption,
    check_finish,
    number,
    open_store,
    print_table,
    say,
    usual,
    working,
)
from .photographs import wanted_of_all
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.reach import Reach
    from ..mixing.recipes import Answer

EXAMPLE = 'tintladder reach "55,70,40"'


def reach(
    colours: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[COLOUR]...",
            help="A colour to come near to, written as for recipe. With --keep also several, "
            "kept recipes and photographs.",
        ),
    ] = None,
    keep: Annotated[
        int | None,
        typer.Option(
            min=1,
            metavar="N",
            help="Which N tubes to keep: for the colours, or for all that your tubes make.",
        ),
    ] = None,
    within: Annotated[
        float | None,
        typer.Option(
            parser=number(0.5, 20), metavar="DE", help="With --keep: how far a mix may be off."
        ),
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
    left out, is tried as the one further tube. With --keep: the best set of each number of tubes,
    and what each further tube buys.
    """
    with open_store(studio) as store, working("Searching", as_json):
        from ..easel.asked_colour import parse_target
        from ..easel.reach import ReachRequest, reach_question
        from ..easel.tubes.keep import WITHIN, KeepRequest, keep_question
        from .reach_keep import keep_as_dict, show_keep
        from .recipe import split

        gloss = check_finish(finish)
        usual(store, finish=finish, light=light)
        left_out = tuple(store.paints.find(text).nickname for text in split(without))
        if keep is not None:
            wanted = wanted_of_all(store, colours) if colours else None
            best = keep_question(store, KeepRequest(
                keep, wanted, within or WITHIN, left_out, finish=gloss, most=tubes
            )).answer()  # fmt: skip
            say(keep_as_dict(best), as_json, lambda: show_keep(best))
            return
        target = _one(colours, within)
        request = ReachRequest(
            parse_target(target, store) if target else None,
            left_out,
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
            "parts": answer.closest.parts,
            "difference_de00": answer.closest.difference,
            "least_de00": answer.nearest,
            "missing": answer.missing,
            "band_de00": answer.closest.band,
        },
        "one_more": [
            {"paint": w.paint, "difference_de00": w.difference, "volume": w.volume}
            for w in found.further
        ],
        "calculated": basis.calculated,
        "scan_made": bool(basis.scanned(basis.read.paints)),
    } | basis.said  # fmt: skip
    say(result, as_json, lambda: _show(found))


def _one(colours: list[str] | None, within: float | None) -> str | None:
    """Return the one colour that is asked for, if any."""
    if within is not None:
        raise InputError("--within", f"{within:g}", "goes with --keep alone", "say --keep 6 too")
    if colours and len(colours) > 1:
        raise InputError(
            "colour", ", ".join(colours), "expected one colour", "name one, or say --keep 6 too"
        )
    return colours[0] if colours else None


def _show(found: Reach) -> None:
    if found.nearest is None:
        _show_all(found)
    else:
        _show_nearest(found, found.nearest)
    typer.echo(in_terminal(found.basis.calculated))


def _show_all(found: Reach) -> None:
    from ..common.words import hue_name

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
    best_way = answer.closest
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
