"""Say which tubes to set out for a whole picture."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .common import (
    FinishOption,
    JsonOption,
    LightOption,
    MeasureOption,
    ScaleOption,
    StudioOption,
    check_finish,
    number,
    open_store,
    print_table,
    say,
    usual,
    working,
)
from .photographs import BlackOption, GreyOption, WhiteOption, wanted_colours
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.setting_out import SettingOut
    from ..easel.tubes.cost import Bill
    from ..mixing.made import Made
    from ..mixing.setout import Dab, SetOut

EXAMPLE = "tintladder setout photos/slipway.jpg --grey 82,405 --area 40x50cm"


def setout(
    colours: Annotated[
        list[str],
        typer.Argument(help="A photograph; or several colours, each as for recipe."),
    ],
    within: Annotated[
        float,
        typer.Option(
            parser=number(0.5, 20), metavar="DE", help="How far a mix may be off, CIEDE2000."
        ),
    ] = 2.0,
    tubes: Annotated[int, typer.Option(min=1, max=5, help="Tubes in one mix, at most.")] = 4,
    with_: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="NAME", help="A tube that is set out in any case."),
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="NAME", help="A tube to leave out.")
    ] = None,
    area: Annotated[
        str | None, typer.Option(metavar="SIZE", help="Size of the picture, such as 40x50cm.")
    ] = None,
    coats: Annotated[int, typer.Option(min=1, max=10, help="Coats, with --area.")] = 2,
    make: Annotated[
        float,
        typer.Option(parser=number(1), metavar="ML", help="Paint to make in all, without --area."),
    ] = 60.0,
    finish: FinishOption = None,
    light: LightOption = None,
    scale: ScaleOption = None,
    measure: MeasureOption = None,
    grey: GreyOption = None,
    white: WhiteOption = None,
    black: BlackOption = None,
    paper: Annotated[
        Path | None,
        typer.Option(
            "--print", metavar="FILE", help="Print it too, as a .pdf with a square for each colour."
        ),
    ] = None,
    page: Annotated[str, typer.Option("--page", help="Paper: a4 or letter.")] = "a4",
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Find the fewest tubes that mix a whole picture.

    It finds the picture's main colours, and says how to mix each of them from the tubes on hand.
    """
    with open_store(studio) as store, working("Looking at the picture", as_json) as told:
        from ..easel.setting_out import SetOutRequest, setout_question
        from ..easel.tubes.cost import bill, stocks
        from ..paper.for_colours import setout_paper
        from .recipe import split

        gloss = check_finish(finish)
        habits = usual(store, scale, measure, finish, light)
        request = SetOutRequest(
            wanted_colours(store, colours, grey, white, black), tuple(split(with_)),
            tuple(split(without)), gloss, within, tubes, make, area, coats, habits.measuring,
        )  # fmt: skip
        told("comparing every set of tubes")
        answer = setout_question(store, request).answer()
        costs = bill(stocks(store), answer.ml)
        if paper is not None:
            from ..common.files import write_whole

            write_whole({paper: setout_paper(answer, page)})
    result = as_dict(answer) | {"cost": costs.said} | ({"file": str(paper)} if paper else {})
    say(result, as_json, lambda: _show(answer, costs))
    if paper is not None and not as_json:
        typer.echo(f"Printed to {paper}.")


def as_dict(answer: SettingOut) -> dict[str, Any]:
    """Everything said, for machines."""
    from .drying import wet_as_dict
    from .recipe_shown import beforehand_as_dict, made_as_dict

    found = answer.found
    return {
        "tubes": list(found.tubes),
        "ml": answer.ml,
        "made_ml": answer.made_ml,
        "within_de00": found.within,
        "searched": found.searched,
        "proven_fewest": found.proven,
        "remark": answer.wanted.remark,
        "reference_cards": [list(card.at) for card in answer.wanted.cards],
        "colours": [
            {
                "said": dab.target.said,
                "words": dab.target.words,
                "lab": [float(x) for x in dab.target.lab],
                "share": dab.share,
                "at": dab.at,
                "parts": dab.recipe.parts,
                "made": dab.recipe.words,
                "made_lab": [float(x) for x in heap.lab],
                "difference_de00": heap.difference,
                "band_de00": heap.band(dab.recipe.band),
                "reached": dab.reached,
                "scan_made": dab.recipe.scan_made,
                "ml": dab.ml,
                "made_of": made_as_dict(heap, dab.recipe.band),
                "wet": wet_as_dict(answer.wet(dab)),
                "order": [
                    {"paint": s.paint, "hold_back": s.hold_back, "words": s.words}
                    for s in dab.order.steps
                ],
            }
            for dab, heap in zip(found.dabs, answer.heaps, strict=True)
        ],
        "beforehand": [beforehand_as_dict(step) for step in answer.beforehand],
        "one_fewer": None
        if found.fewer is None
        else {
            "tubes": list(found.fewer.tubes),
            "left_out": list(found.fewer.left_out),
            "taken_in": list(found.fewer.taken_in),
            "lab": found.fewer.lab.tolist(),
            "difference_de00": found.fewer.difference.tolist(),
        },
        "calculated": answer.basis.calculated,
    } | answer.basis.said  # fmt: skip


def _show(answer: SettingOut, costs: Bill) -> None:
    from ...calibrate.optics.colour import in_words
    from ..easel.made_words import beforehand_words, surplus_words
    from .drying import wet_words

    found, basis, names = answer.found, answer.basis, answer.basis.names
    for remark in filter(None, (answer.wanted.remark, answer.wanted.cards_words)):
        typer.echo(f"{remark[:1].upper()}{remark[1:]}.")
    many = f"{len(found.tubes)} tubes mix" if len(found.tubes) > 1 else "One tube makes"
    those = f"{len(found.dabs)} colours"
    if found.unreached:
        those = f"{len(found.dabs) - len(found.unreached)} of {those}"
    typer.echo(
        f"{many} {those} within CIEDE2000 {found.within:g} ({in_words(found.within - 1e-9)} at the "
        "most)" + (", and the others as near as these tubes can." if found.unreached else ".")
    )
    typer.echo(f"Matched {basis.manner.viewing.words}. {in_terminal(basis.calculated)}")
    typer.echo(
        "Set out: " + ", ".join(f"{v:.1f} ml {names.get(p, p)}" for p, v in answer.ml.items())
    )
    stirred = beforehand_words(answer.beforehand, answer.measure, names)
    for line in (*(f"{line[:1].upper()}{line[1:]}." for line in stirred), *costs.words(names)):
        typer.echo(line)
    for nth, (dab, heap) in enumerate(zip(found.dabs, answer.heaps, strict=True), 1):
        place = f", as at {dab.at[0]:g},{dab.at[1]:g}" if dab.at else ""
        typer.echo(
            f"\n{nth}. {dab.target.words}, {_hex(dab.target.lab)} ({dab.target.said}{place})"
        )
        typer.echo(f"   {dab.ml:.1f} ml: {_order(dab, heap, names)}.")
        typer.echo(f"   {match_line(dab, heap)}.")
        if surplus_words(heap):
            over = surplus_words(heap)
            typer.echo(f"   {over[:1].upper()}{over[1:]}.")
        if wet := answer.wet(dab):
            typer.echo(f"   Wet on the plate it looks {wet_words(wet)}, and dries to that.")
    look = "look" if all(map(answer.wet, found.dabs)) else "dry a dab and look"
    typer.echo(f"\nHalves: put in the first half, {look}, then the rest: colours are of dry paint.")
    shown = [*(dab.target.lab for dab in found.dabs), *(found.fewer.lab if found.fewer else ())]
    if any(_hex(lab).endswith("!") for lab in shown):
        typer.echo("A ! marks a colour that a screen can't show: the nearest is given.")
    if any(dab.recipe.scan_made for dab in found.dabs):
        typer.echo("Some of these paints were read by a scanner, not an instrument.")
    _show_fewer(found, names)
    if not found.proven:
        typer.echo("There are more tubes than can all be compared: a smaller set may exist.")


def match_line(dab: Dab, heap: Made) -> str:
    """Say how near a colour comes."""
    from ..mixing.recipes import near_words

    said = near_words(heap.difference, heap.band(dab.recipe.band))
    if not dab.reached:
        return f"Out of reach of the tubes on hand: {said}"
    return f"{said[:1].upper()}{said[1:]}"


def _order(dab: Dab, heap: Made, names: Mapping[str, str]) -> str:
    from ..easel.made_words import held_back, portion_words

    return ", ".join(
        portion_words(heap, step.paint, names, held=True)
        + (" in halves" if held_back(heap, step) else "")
        for step in dab.order.steps
    )


def _show_fewer(found: SetOut, names: Mapping[str, str]) -> None:
    if found.fewer is None:
        return
    from ...calibrate.optics.colour import in_words
    from ..common.words import colour_words

    fewer = found.fewer
    left = " and ".join(names.get(p, p) for p in fewer.left_out)
    instead = " and ".join(names.get(p, p) for p in fewer.taken_in)
    swap = f" but with {instead}" if instead else ""
    typer.echo(f"\nOne tube fewer, without {left}{swap}, would cost:")
    rows = [
        (
            f"{nth}",
            dab.target.words,
            _hex(dab.target.lab),
            colour_words(fewer.lab[nth - 1]),
            _hex(fewer.lab[nth - 1]),
            f"{off:.1f} ({in_words(off)})",
        )
        for nth, (dab, off) in enumerate(zip(found.dabs, fewer.difference, strict=True), 1)
        if fewer.lost[nth - 1]
    ]
    print_table(["", "wanted", "shown", "would be", "shown", "off"], rows)


def _hex(colour: Any) -> str:
    from ...calibrate.optics.display import hex_code, lab_to_srgb

    rgb, cut = lab_to_srgb(colour)
    return hex_code(rgb[0]) + ("!" if cut[0] else "")
