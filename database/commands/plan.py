"""Plan a ladder before painting, or the one more drawdown that helps most."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError, Sentence
from .common import JsonOption, StudioOption, number, open_store, print_table, say, working
from .remedies import in_terminal

if TYPE_CHECKING:
    from ...calibrate.cards.card import Drawdown
    from ...calibrate.fit.planning.next_step import OneMore, ShadeStep
    from ..cards.planning import Planned

EXAMPLE = "tintladder plan ANCHOR --scale 0.1    (once it is fitted: tintladder plan ANCHOR --next)"
_SHOWN = 6
"""Drawdowns that are worth showing."""
_NAMES = {"ratio": "white_to_colour", "grams": "grams_of_colour", "de00": "then_de00"}


def plan(
    paint: Annotated[str, typer.Argument(help="The tube to paint a ladder of.")],
    more: Annotated[
        bool, typer.Option("--next", help="For a fitted paint: which one more drawdown helps most.")
    ] = False,
    wanted: Annotated[
        float | None,
        typer.Option(
            parser=number(0.05),
            metavar="DE",
            help="How well its tints are to be predicted (CIEDE2000), with the least paint.",
        ),
    ] = None,
    steps: Annotated[
        int | None, typer.Option(help="How many drawdowns to plan; without it, six.")
    ] = None,
    scale: Annotated[
        str, typer.Option(help="Your scale's last digit: 0.01 or 0.1 (grams).")
    ] = "0.1",
    gap: Annotated[
        float,
        typer.Option(parser=number(10, 2000), metavar="UM", help="Gap of the applicator, µm."),
    ] = 300.0,
    brush: Annotated[
        bool, typer.Option("--brush", help="No applicator: paint until the black is hidden.")
    ] = False,
    white: Annotated[str | None, typer.Option(help="The white of the tints.")] = None,
    shade: Annotated[
        str | None,
        typer.Option(
            metavar="BLACK", help="The black of a shade step; without it, the one on hand."
        ),
    ] = None,
    strength: Annotated[
        str | None,
        typer.Option(
            help="weak, ordinary or strong; without it, as fitted, or as its label suggests."
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Plan which tints to paint, so that little paint tells much.

    With --next: which one more drawdown of a fitted paint would help most.
    """
    from ...calibrate.cards.label_strength import STRENGTHS
    from ...calibrate.cards.measure import measure_of
    from ..cards.planning import one_more, planned

    if wanted is not None and steps is not None:
        raise InputError("--steps", None, "it doesn't go with --wanted", "give one of the two")
    if strength is not None and strength not in STRENGTHS:
        raise InputError(
            "--strength", None, f"there is no {strength} paint", f"use {', '.join(STRENGTHS)}"
        )
    with open_store(studio) as store, working("Planning", as_json):
        if more:
            found, why = one_more(store, paint, shade)
            say(_next_as_dict(found, why), as_json, lambda: _show_next(found, why))
            return
        made = planned(
            store,
            paint,
            white=white,
            black=shade,
            strength=strength,
            measure=measure_of(scale),
            gap_um=None if brush else gap,
            steps=steps,
            wanted_de00=wanted,
        )
    say(_as_dict(made), as_json, lambda: _show(made))


def _ratio(ratio: float) -> float | None:
    """White to colour; nothing where there is no colour."""
    return ratio if math.isfinite(ratio) else None


def _drawdown(d: Drawdown) -> dict[str, Any]:
    return {
        "step": d.step,
        "paint": d.paint,
        "from": d.taken_from,
        "taken_g": d.taken_g,
        "masses": dict(d.masses),
        "over": list(d.over),
        "gap_um": d.gap_um,
        "opaque": d.opaque,
    }


def _as_dict(made: Planned) -> dict[str, Any]:
    ladder = made.ladder
    return {
        "planned_by": made.said,
        "steps": [_drawdown(d) for d in ladder.drawdowns],
        "grams": dict(ladder.grams),
        "expected_de00": ladder.expected.de00,
        "expected_by_ratio": [
            {"white_to_colour": ratio, "de00": de00} for ratio, de00 in ladder.expected.by_target
        ],
        "relative_uncertainty": {"k": ladder.expected.k, "s": ladder.expected.s},
        "shade": None if ladder.shade is None else _shade_as_dict(ladder.shade),
        "no_shade": made.no_shade and in_terminal(made.no_shade),
    }


def _shade_as_dict(shade: ShadeStep) -> dict[str, Any]:
    return {
        "steps": [_drawdown(d) for d in shade.drawdowns],
        "words": shade.words,
        "now_de00": shade.now.de00,
        "then_de00": shade.then.de00,
        "shades_now_de00": shade.now.shades,
        "shades_then_de00": shade.then.shades,
    }


def _show(made: Planned) -> None:
    from ...calibrate.optics.colour import in_words

    ladder = made.ladder
    typer.echo(f"Planned for {made.said}. Ratios are white to colour, by weight.")
    print_table(
        ("Step", "Weigh", "Draw down over"),
        [(d.step, _weigh(d), " and ".join(d.over)) for d in ladder.drawdowns],
    )
    first = ladder.drawdowns[0]
    how = f"at {first.gap_um:g} µm" if first.gap_um else "with a brush, until the black is hidden"
    grams = " and ".join(f"{g:.3g} g {p}" for p, g in ladder.grams.items())
    typer.echo(f"Each is drawn down {how}. It takes {grams}.")
    by_ratio = dict(ladder.expected.by_target)
    worst = max(by_ratio, key=lambda ratio: by_ratio[ratio])
    typer.echo(
        "Its masstone and tints should then be predicted with an error that is "
        f"{in_words(ladder.expected.de00)}: CIEDE2000 {ladder.expected.de00:.1f} on average, most "
        f"at {'the masstone' if worst == 0 else f'{worst:g}:1'} ({by_ratio[worst]:.1f})."
    )
    tints = ",".join(d.step.partition(":")[0] for d in ladder.drawdowns if ":" in d.step)
    option = ""
    if ladder.shade is not None:
        typer.echo(ladder.shade.words)
        down, shade = ladder.shade.drawdowns
        percent = shade.step.removeprefix("shade ").removesuffix("%")
        option = f" --shade {next(iter(down.masses))}={percent}"
    _show_no_shade(made.no_shade)
    layout = " --layout drawdown" if first.gap_um else ""
    typer.echo(
        f"A card of it, printed: tintladder card {first.paint} --ladder {tints}{option}{layout}"
    )


def _show_no_shade(why: Sentence | None) -> None:
    if why is not None:
        typer.echo(f"No shade step (let down with black) is offered: {in_terminal(why)}.")


def _weigh(d: Drawdown) -> str:
    parts = [] if d.taken_from is None else [f"{d.taken_g:g} g of step {d.taken_from}"]
    return " + ".join([*parts, *(f"{grams:g} g {paint}" for paint, grams in d.masses.items())])


def _next_as_dict(found: OneMore, why: Sentence | None) -> dict[str, Any]:
    return {
        "drawdown": _drawdown(found.drawdown),
        "before": [_drawdown(d) for d in found.before],
        "no_shade": why and in_terminal(why),
        "words": found.words,
        "now_de00": found.now.de00,
        "then_de00": found.then.de00,
        "considered": [
            row | {"white_to_colour": _ratio(row["white_to_colour"])}
            for row in found.table.rename(columns=_NAMES).to_dict("records")
        ],
    }


def _show_next(found: OneMore, why: Sentence | None) -> None:
    typer.echo(found.words)
    _show_no_shade(why)
    typer.echo("What each would bring:")
    columns = (found.table[name].head(_SHOWN) for name in ("step", "grams", "de00", "reduction"))
    rows = [
        (step, f"{grams:.2f} g", f"{de00:.2f}", f"{100 * less:.0f} % less")
        for step, grams, de00, less in zip(*columns, strict=True)
    ]
    print_table(("Step", "Of colour", "Then off by", ""), rows)
