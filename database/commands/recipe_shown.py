"""Says the ways to a colour, for machines and for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import typer

from .common import print_table

if TYPE_CHECKING:
    from ..easel.basis import Basis
    from ..easel.recipe import Amounts, Ways
    from ..mixing.measures import Snapped
    from ..mixing.order import Order
    from ..mixing.recipes import Answer, Recipe


def as_dict(ways: Ways, measured: Sequence[Amounts]) -> dict[str, Any]:
    """Everything said, for machines."""
    answer, basis, first = ways.answer, ways.basis, measured[0]
    return {
        "target": {
            "said": answer.target.said,
            "words": answer.target.words,
            "lab": [float(x) for x in answer.target.lab],
            "estimate": answer.target.estimate,
            "band_de00": answer.target.band,
            "notes": list(answer.target.notes),
        },
        "searched": answer.searched,
        "reachable": answer.reachable,
        "nearest_de00": answer.nearest,
        "missing": answer.missing,
        "recipes": [
            _way(recipe, amounts)
            for recipe, amounts in zip(answer.recipes, measured, strict=True)
        ],
        "calculated": basis.model_words,
        "density_assumed": list(first.assumed),
        "by_volume_de00": first.slip,
    } | basis.said  # fmt: skip


def _way(recipe: Recipe, amounts: Amounts) -> dict[str, Any]:
    order = amounts.order
    return {
        "parts": recipe.parts,
        "words": recipe.words,
        "lab": [float(x) for x in recipe.lab],
        "difference_de00": recipe.difference,
        "band_de00": recipe.band,
        "clumsy_de00": recipe.clumsy,
        "weighing_de00": amounts.weighing,
        "metamerism_de00": recipe.lights,
        "too_small": list(recipe.too_small),
        "scan_made": recipe.scan_made,
        "why": recipe.why,
        "order": [
            {
                "paint": s.paint,
                "hold_back": s.hold_back,
                "too_much": s.too_much if s.too_much < float("inf") else None,
                "lab": [float(x) for x in s.lab],
                "words": s.words,
            }
            for s in order.steps
        ],
        "touchiest": order.touchiest,
        "amounts": [
            {
                "measure": a.measure.name,
                "unit": a.measure.unit,
                "step": a.measure.step,
                "amounts": a.amounts,
                "tint": None
                if a.tint is None
                else {"paint": a.tint.paint, "into": a.tint.into, "parts": a.tint.parts},
                "moved_de00": a.moved,
                "difference_de00": a.difference,
            }
            for a in amounts.measured
        ],
    }


def show(ways: Ways, measured: Sequence[Amounts], last: Sequence[str]) -> None:
    """Say it to people; `last` is said at the end."""
    answer, names = ways.answer, ways.basis.names
    _show_wanted(answer, ways.basis)
    for number, (recipe, amounts) in enumerate(zip(answer.recipes, measured, strict=True), 1):
        weighed, order = amounts.weighed, amounts.order
        typer.echo(f"\n{number}. {_amounts(weighed, order, names)}: {recipe.words}.")
        for line in _lines(recipe, amounts, ways.basis):
            typer.echo(f"   {line[:1].upper()}{line[1:]}.")
        if number == 1:
            _show_order(order, names)
            _show_amounts(amounts.others, order, names)
    if answer.searched > 1:
        typer.echo(f"\nSearched every one of {answer.searched} sets of tubes.")
    first = measured[0]
    if first.grams is not None:
        typer.echo("Spoons, lengths and whole parts are a handy batch in the same ratio.")
    if first.assumed:
        typical = " and ".join(names[p] for p in first.assumed)
        typer.echo(
            f"The density of {typical} is only typical: measured by volume, the first way may be "
            f"{first.slip:.1f} off. Weigh 2 ml once: tintladder tubes weigh {first.assumed[0]}"
        )
    for line in (ways.basis.model_words, *last):
        typer.echo(line)


def _show_wanted(answer: Answer, basis: Basis) -> None:
    """Say what was wanted, and where nothing comes near it."""
    target, film = answer.target, basis.manner.film
    typer.echo(f"Wanted: {target.words} ({target.said}), matched {basis.manner.viewing.words}.")
    for note in target.notes:
        typer.echo(f"{note[:1].upper()}{note[1:]}.")
    if film:
        typer.echo(f"As a dry film of {film.thickness_um:g} µm over {film.over}.")
    if not answer.reachable and answer.missing:
        typer.echo(
            f"No mix of these tubes reaches it: the nearest stays CIEDE2000 "
            f"{answer.nearest:.1f} away; {answer.missing}."
        )


def _lines(recipe: Recipe, amounts: Amounts, basis: Basis) -> list[str]:
    """What is to be known of one way."""
    from ..mixing.measures import tint_words
    from ..mixing.recipes import match_words

    weighed, names = amounts.weighed, basis.names
    lines = [match_words(recipe)]
    if recipe.why:
        lines.append(recipe.why)
    if recipe.lights:
        lines.append(_light_words(*max(recipe.lights.items(), key=lambda item: item[1])))
    lines.append(
        f"a hand that errs by a tenth in each part lands {recipe.clumsy:.1f} off; a scale that "
        f"shows {weighed.measure.step:g} g may move it by {amounts.weighing:.2f}"
    )
    if weighed.tint is not None:
        lines.append(f"mix beforehand: {tint_words(weighed.tint, names)}")
    else:
        bulky = names.get(next(iter(recipe.parts)), "")
        lines += [
            f"very little {names.get(small, small)}: stir 1 part of it into 9 of the {bulky} "
            "beforehand, and weigh ten times as much of that"
            for small in recipe.too_small
        ]
    scanned = [names.get(p, p) for p in basis.scanned(recipe.parts)]
    if scanned:
        lines.append(f"{' and '.join(scanned)}: read by a scanner, not an instrument, so less sure")
    return lines


def _amounts(snapped: Snapped, order: Order, names: Mapping[str, str]) -> str:
    from ..mixing.measures import amount_words

    tinted = snapped.tint.paint if snapped.tint else None
    return ", ".join(
        f"{amount_words(snapped.amounts[s.paint], snapped.measure)} {names.get(s.paint, s.paint)}"
        + (" tint" if s.paint == tinted else "")
        for s in order.steps
    )


def _show_order(order: Order, names: Mapping[str, str]) -> None:
    rows = []
    for i, s in enumerate(order.steps):
        held = (
            "all of it"
            if not s.hold_back
            else f"all but {'half' if s.hold_back > 0.4 else 'a quarter'}"
        )
        shows = "never" if s.too_much > 10 else f"{100 * s.too_much:.0f} % more"
        touchy = "  touchiest" if s.paint == order.touchiest and len(order.steps) > 1 else ""
        rows.append(
            (
                "first" if i == 0 else "then",
                names.get(s.paint, s.paint),
                held,
                s.words,
                shows + touchy,
            )
        )
    typer.echo("")
    print_table(["", "lay out", "to begin with", "once in, it looks", "too much shows at"], rows)


def _show_amounts(amounts: Sequence[Snapped], order: Order, names: Mapping[str, str]) -> None:
    from ...calibrate.optics.colour import in_words
    from ..mixing.measures import tint_words

    rows = [
        (
            a.measure.name,
            _amounts(a, order, names),
            f"{in_words(a.moved)} ({a.moved:.1f})",
            tint_words(a.tint, names) if a.tint else "",
        )
        for a in amounts
    ]
    beforehand = ["mixed beforehand"] if any(row[3] for row in rows) else []
    typer.echo("")
    columns = ["measured", "amounts", "costs in colour", *beforehand]
    print_table(columns, [row[: len(columns)] for row in rows])


def _light_words(light: str, index: float) -> str:
    from ...calibrate.optics.colour import in_words

    lit = {"A": "lamplight (A)", "D65": "daylight (D65)"}[light]
    return f"Under {lit} it parts from the target by {index:.1f} ({in_words(index)})"
