"""Say what to add to a plate."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
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
)
from .photographs import BlackOption, GreyOption, WhiteOption, is_picture, no_photo, target_in_photo
from .recipe import split
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.additions import Additions
    from ..easel.plate import KeptDab, OnPlate
    from ..mixing.drying import Wet
    from ..mixing.heap_guess import Likely
    from ..mixing.measures import Measure
    from ..mixing.target import Target
    from ..store.store import Store

EXAMPLE = 'tintladder next "62,-18,-9" --add "HULL=8,STARBOARD=1"'


def next(
    target: Annotated[str, typer.Argument(help="The colour wanted, as for recipe.")],
    add: Annotated[
        list[str] | None,
        typer.Option(
            metavar="MIX", help="NAME=GRAMS that just went on the plate, with commas between."
        ),
    ] = None,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take the last step back, up to a day later.")
    ] = False,
    clear: Annotated[bool, typer.Option("--clear", help="Begin with an empty plate.")] = False,
    wanted: Annotated[
        float | None,
        typer.Option(parser=number(0.01), metavar="G", help="Grams needed in the end."),
    ] = None,
    based_on: Annotated[
        int | None,
        typer.Option(
            "--based-on",
            metavar="NUMBER",
            help="Add only if the plate is as the answer of this number showed it.",
        ),
    ] = None,
    finish: FinishOption = None,
    light: LightOption = None,
    scale: ScaleOption = None,
    dab: Annotated[
        str | None,
        typer.Option(
            metavar="PHOTO",
            help="For a heap of unknown parts: a photograph of a dried dab beside a bare white "
            "and black, or the colour that was read of it.",
        ),
    ] = None,
    wet: Annotated[
        bool,
        typer.Option("--wet", help="That dab is wet; how your paint dries has to be taught."),
    ] = False,
    at: Annotated[str | None, typer.Option(metavar="X,Y", help="Where the dab is seen.")] = None,
    grey: GreyOption = None,
    white: WhiteOption = None,
    black: BlackOption = None,
    heap: Annotated[
        float | None,
        typer.Option(parser=number(0.01), metavar="G", help="Grams in the heap, with --dab."),
    ] = None,
    of: Annotated[
        list[str] | None,
        typer.Option(
            "--of", metavar="NAME", help="A tube that is in the heap; name all, if known."
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Say what to add to the paint on the plate.

    Each colour, and each kept recipe, has a plate of its own. Paint is only added, never taken
    away, and the heap grows as little as possible.
    """
    with open_store(studio) as store:
        from ..easel.additions import AdditionRequest, addition_question
        from ..easel.asked_colour import parse_target
        from ..easel.basis import nickname
        from ..easel.densities import added_grams
        from ..easel.heap import dab_of, heap_question
        from ..easel.plate import OnPlate, on_plate, plate_of, set_plate

        gloss = check_finish(finish)
        habits = usual(store, scale, finish=finish, light=light)
        goal = parse_target(target, store)
        plate_for, likely = _plate_for(store, target, goal), None
        if dab is None:
            no_photo(at=at, grey=grey, white=white, black=black)
        fresh = None
        if dab is not None:
            seen = _dab(store, dab, at, grey, white, black, heap)
            told = on_plate(plate_of(store, plate_for).additions)
            fresh = dab_of(store, seen, heap or 0.0, split(of), wet, {} if clear else told)
        if fresh is not None:
            likely = heap_question(store, fresh).answer()
        added = [added_grams(store, text, lambda name: nickname(store, name)) for text in add or []]
        # The database's lock keeps two from writing the plate at once.
        with store.transaction():
            if undo:
                plate = _undone(store, plate_for)
            elif clear or fresh is not None:
                plate = OnPlate([])
            else:
                plate = plate_of(store, plate_for)
            _check_based_on(based_on, plate_of(store, plate_for).number)
            additions, kept = plate.additions, plate.dab
            if fresh is not None and likely is not None:
                kept = fresh
                additions = [{p: fresh.grams * share for p, share in likely.mixes[0].items()}]
            if added or fresh is not None or clear:
                additions = [*additions, *added]
                plate = set_plate(store, plate_for, additions, kept, clear)
            if not on_plate(additions):
                if undo or clear:
                    said = {"plate": {}, "number": plate.number}
                    say(said, as_json, lambda: typer.echo("The plate is empty."))
                    return
                raise InputError(
                    "--add", None, "the plate is empty",
                    'say what is on it: --add "HULL=8,STARBOARD=1", in grams',
                )  # fmt: skip
            asked = AdditionRequest(
                goal, tuple(additions), gloss, kept, wanted, habits.measuring.scale
            )
            question = addition_question(store, asked)
    answer = question.answer(likely)
    from .drying import wet_as_dict

    found, first, basis = answer.found, answer.first, answer.basis
    result = {
        "plate": answer.plate,
        "number": plate.number,
        "target": {
            "said": answer.target.said,
            "words": answer.target.words,
            "lab": [float(x) for x in answer.target.lab],
        },
        "now_lab": [float(x) for x in found.now],
        "off_de00": found.off,
        "additions": first.additions,
        "then_de00": first.then,
        "band_de00": found.band,
        "step": asked.scale.step,
        "growth": first.growth,
        "whole": {
            "additions": found.additions,
            "then_de00": found.then,
            "growth": found.growth,
        },
        "start_over": found.start_over,
        "fresh": {"grams": found.fresh, "off_de00": found.fresh_off} if found.fresh else None,
        "unsure_de00": answer.unsure,
        "dab_first": answer.dab_first,
        "wet_now": wet_as_dict(answer.wet and answer.wet[0]),
        "wet_aim": wet_as_dict(answer.wet and answer.wet[1]),
        "calculated": basis.calculated,
        "scan_made": bool(basis.scanned(answer.plate)),
        "dab": kept and _dab_as_dict(kept, answer.likely),
    } | basis.said  # fmt: skip
    say(result, as_json, lambda: _show(answer, asked.scale))


def _plate_for(store: Store, text: str, goal: Target) -> str:
    from ..easel.plate import goal_of

    kept = store.recipes.find(text)
    return goal_of(goal, "" if kept is None else kept.name)


def _undone(store: Store, plate_for: str) -> OnPlate:
    from ..easel.plate import undo

    plate = undo(store, plate_for)
    if plate is None:
        raise InputError(
            "--undo", None, "there is no step of this plate to take back", "add something first"
        )
    return plate


def _check_based_on(based_on: int | None, number: int) -> None:
    if based_on is not None and based_on != number:
        raise InputError(
            "--based-on", str(based_on), f"the plate was changed since, and is at {number}",
            "look what is on it now, without --add, then add to that",
        )  # fmt: skip


def _dab(
    store: Store,
    text: str,
    at: str | None,
    grey: str | None,
    white: str | None,
    black: str | None,
    heap: float | None,
) -> Target:
    """Read a dab's colour from its photograph, or take it as it is said."""
    from ..easel.asked_colour import parse_target

    if heap is None:
        raise InputError("--dab", text, "expected the grams in the heap too", "weigh it: --heap 8")
    if is_picture(text):
        return target_in_photo(store, Path(text), at, grey, white, black)
    no_photo(at=at, grey=grey, white=white, black=black)
    return parse_target(text, store)


def _dab_as_dict(dab: KeptDab, likely: Likely | None) -> dict[str, Any]:
    assert likely is not None
    return {
        "said": dab.said,
        "lab": list(dab.lab),
        "band_de00": dab.band,
        "grams": dab.grams,
        "likely_parts": likely.mixes[0],
        "between": {name: list(ends) for name, ends in likely.spread.items()},
        "shows_through_de00": likely.shows_through,
    }


def _look_words(wet: tuple[Wet, Wet] | None) -> str:
    """Say how to look at the heap: wet paint is never held against a dry colour."""
    if wet is None:
        return (
            "Stir, dry a dab and look: all of this is told of dry paint, and wet paint isn't yet "
            "its colour. How it changes can be taught: see tintladder drying."
        )
    from .drying import wet_words

    now, aim = (wet_words(each) for each in wet)
    return (
        f"Stir and look. Wet, the plate should look {now} before that, and the aim looks {aim}; "
        "all else is told of dry paint."
    )


def _show(answer: Additions, scale: Measure) -> None:
    from ...calibrate.optics.colour import in_words
    from ..common.words import colour_words
    from ..easel.additions import start_over_words
    from ..easel.heap import guess_words
    from ..mixing.measures import amount_words
    from ..mixing.next_addition import NEAR

    found, goal, basis = answer.found, answer.target, answer.basis
    names = basis.names

    def weighed(amounts: Mapping[str, float]) -> str:
        return ", ".join(f"{amount_words(g, scale)} {names[p]}" for p, g in amounts.items())

    for line in guess_words(answer.likely, names) if answer.likely else []:
        typer.echo(in_terminal(line))
    scanned = basis.scanned(answer.plate)
    if scanned:
        listed = " and ".join(names[paint] for paint in scanned)
        typer.echo(f"{listed}: read by a scanner, so less sure.")
    typer.echo(f"On the plate: {weighed(answer.plate)}: {colour_words(found.now)}.")
    typer.echo(
        f"Wanted: {goal.words}, matched {basis.manner.viewing.words}. "
        f"It is off by {found.off:.1f} ({in_words(found.off)})."
    )
    if answer.dab_first:
        typer.echo(
            f"A dried dab tells more than an addition: the plate is only known to within "
            f"{answer.unsure:.1f}, and paint once added stays. Dry one before you add any, read "
            "it, and weigh the heap: --dab COLOUR --heap GRAMS. As far as is known:"
        )
    told = found if answer.dab_first else answer.first
    if found.off <= NEAR:
        typer.echo("Add nothing.")
    elif not found.additions:
        typer.echo("No addition brings it nearer.")
    else:
        typer.echo(
            f"Add {weighed(told.additions)}: then it is off by {told.then:.1f} "
            f"({in_words(told.then)}), and the heap grows by {100 * told.growth:.0f} %."
        )
        if told is not found:
            typer.echo(
                f"So much is surely not too much. Dry a dab of that, and say --dab COLOUR --heap "
                f"GRAMS; the rest comes then, as far as is known {weighed(answer.rest)}."
            )
        typer.echo(_look_words(answer.wet))
    if found.start_over:
        typer.echo(f"{start_over_words(answer, scale)}: see tintladder recipe.")
    typer.echo(
        f"Sure to within CIEDE2000 {found.band:.1f} (95 of 100 times). "
        f"{in_terminal(basis.calculated)}"
    )
