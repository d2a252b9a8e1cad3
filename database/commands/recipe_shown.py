"""Says the ways to a colour, for machines and for people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import typer

from .common import print_table
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.basis import Basis
    from ..easel.recipe import Amounts, Ways
    from ..mixing.made import Made
    from ..mixing.measures import Beforehand
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
        "passed_over": answer.passed_over,
        "gap_de00": answer.gap,
        "reachable": answer.reachable,
        "nearest_de00": answer.nearest,
        "missing": answer.missing,
        "recipes": [
            _way(ways, recipe, amounts)
            for recipe, amounts in zip(answer.recipes, measured, strict=True)
        ],
        "calculated": basis.calculated,
        "density_assumed": list(first.assumed),
        "by_volume_de00": first.slip,
    } | basis.said  # fmt: skip


def _way(ways: Ways, recipe: Recipe, amounts: Amounts) -> dict[str, Any]:
    from .drying import wet_as_dict

    order = amounts.order
    return {
        "parts": recipe.parts,
        "words": recipe.words,
        "lab": [float(x) for x in recipe.lab],
        "difference_de00": recipe.difference,
        "band_de00": recipe.band,
        "wet": wet_as_dict(ways.wet(recipe)),
        "band_times": ways.basis.widening(recipe.parts).times,
        "clumsy_de00": recipe.clumsy,
        "weighing_de00": amounts.first.weighing,
        "metamerism_de00": recipe.lights,
        "lights_band_de00": recipe.light_bands,
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
        "amounts": [made_as_dict(made, recipe.band) for made in amounts.measured],
    }


def made_as_dict(made: Made, band: float) -> dict[str, Any]:
    """A mix as it is made, for machines: a tint has a name of its own among its amounts."""

    def name(paint: str) -> str:
        tint = made.tint(paint)
        return paint if tint is None else tint.name

    return {
        "measure": made.measure.name,
        "unit": made.measure.unit,
        "step": made.measure.step,
        "amounts": {name(paint): amount for paint, amount in made.amounts.items()},
        "tints": [
            {"name": t.name, "paint": t.paint, "into": t.into, "parts": t.parts}
            for t in made.tints
        ],
        "beforehand": [beforehand_as_dict(step) for step in made.beforehand],
        "total": made.total,
        "asked": made.asked,
        "surplus": made.surplus,
        "grams": made.grams if made.measure.size else None,
        "lab": [float(x) for x in made.lab],
        "moved_de00": made.moved,
        "difference_de00": made.difference,
        "weighing_de00": made.weighing,
        "band_de00": made.band(band),
    }  # fmt: skip


def beforehand_as_dict(step: Beforehand) -> dict[str, Any]:
    """One mixing of a tint, for machines."""
    return {
        "name": step.tint.name,
        "of": step.tint.paint,
        "times": step.tint.times,
        "amount": step.strong,
        "into": step.tint.into,
        "into_amount": step.into,
        "left": step.left,
    }


def show(ways: Ways, measured: Sequence[Amounts], last: Sequence[str]) -> None:
    """Say it to people; `last` is said at the end."""
    from ..mixing.measures import amount_words

    answer, names = ways.answer, ways.basis.names
    _show_wanted(answer, ways.basis)
    for number, (recipe, amounts) in enumerate(zip(answer.recipes, measured, strict=True), 1):
        order = amounts.order
        said = _amounts(amounts.first, order, names)
        if amounts.first.surplus:
            over = amount_words(amounts.first.surplus, amounts.first.measure)
            said += f" ({over} more than asked)"
        typer.echo(f"\n{number}. {said}: {recipe.words}.")
        for line in _lines(ways, recipe, amounts):
            typer.echo(f"   {line[:1].upper()}{line[1:]}.")
        if number == 1:
            _show_order(amounts.first, order, names)
            _show_amounts(amounts.others, order, names)
    if answer.searched > 1:
        typer.echo(f"\n{answer.searched_words}")
    first = measured[0]
    if first.by_ratio:
        typer.echo(f"{by_ratio_words(first)} in the same ratio.")
    if first.assumed:
        typical = " and ".join(names[p] for p in first.assumed)
        typer.echo(
            f"The density of {typical} is only typical: measured by volume, the first way may be "
            f"{first.slip:.1f} off. Weigh 2 ml once: tintladder tubes weigh {first.assumed[0]}"
        )
    if ways.wet(answer.recipes[0]) is None and ways.basis.manner.viewing.finish:
        typer.echo("How this changes as it dries was never taught: see tintladder drying.")
    for line in (in_terminal(ways.basis.calculated), *last):
        typer.echo(line)


def _show_wanted(answer: Answer, basis: Basis) -> None:
    """Say what was wanted, and where nothing comes near it."""
    target, film = answer.target, basis.manner.film
    typer.echo(f"Wanted: {target.words} ({target.said}), matched {basis.manner.viewing.words}.")
    for note in target.notes:
        typer.echo(f"{note[:1].upper()}{note[1:]}.")
    if film:
        typer.echo(f"As {film.words}.")
    if not answer.reachable and answer.missing:
        typer.echo(
            f"No mix of these tubes reaches it: the nearest stays CIEDE2000 "
            f"{answer.nearest:.1f} away; {answer.missing}."
        )


def _lines(ways: Ways, recipe: Recipe, amounts: Amounts) -> list[str]:
    """What is to be known of one way."""
    from ..easel.made_words import beforehand_words, surplus_words
    from ..mixing.recipes import match_words
    from .drying import wet_words

    basis = ways.basis
    first, names = amounts.first, basis.names
    # What weighing costs stands beside what the exact mix would be off, not further down.
    lines = [match_words(recipe), made_words(first, recipe.band)]
    lines += filter(None, [basis.widening(recipe.parts).words])
    if recipe.why:
        lines.append(recipe.why)
    if recipe.lights:
        worst = max(recipe.lights, key=lambda light: recipe.lights[light])
        lines.append(_light_words(worst, recipe.lights[worst], recipe.light_bands[worst]))
    lines.append(f"a hand that errs by a tenth in each part lands {recipe.clumsy:.1f} off")
    wet = ways.wet(recipe)
    lines += [f"wet on the plate it looks {wet_words(wet)}, and dries to that"] if wet else []
    lines += beforehand_words(first.beforehand, first.measure, names)
    lines += filter(None, [surplus_words(first)])
    scanned = [names.get(p, p) for p in basis.scanned(recipe.parts)]
    if scanned:
        lines.append(f"{' and '.join(scanned)}: read by a scanner, not an instrument, so less sure")
    return lines


def made_words(made: Made, band: float) -> str:
    """Say what measuring costs; `band` is that of the exact mix."""
    said = f"{made.measure.name} it comes to {made.difference:.1f} off the target"
    if made.measure.read_off:
        step = f"{made.measure.step:g} {made.measure.unit}"
        said += f"; a step of {step} may move it by {made.weighing:.2f}"
        said += f", so it is sure to within {made.band(band):.1f}"
    return said


def by_ratio_words(amounts: Amounts) -> str:
    """Say which amounts are a handy batch, whatever was asked for."""
    named = " and ".join(made.measure.name for made in amounts.by_ratio)
    return f"{named[:1].upper()}{named[1:]} it is a handy batch"


def _amounts(made: Made, order: Order, names: Mapping[str, str]) -> str:
    from ..easel.made_words import portion_words

    return ", ".join(portion_words(made, step.paint, names) for step in order.steps)


def _show_order(made: Made, order: Order, names: Mapping[str, str]) -> None:
    from ..easel.made_words import of_what

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
                of_what(made, s.paint, names),
                held,
                s.words,
                shows + touchy,
            )
        )
    typer.echo("")
    print_table(
        ["", "lay out", "to begin with", "once in and dry, it looks", "too much shows at"], rows
    )


def _show_amounts(amounts: Sequence[Made], order: Order, names: Mapping[str, str]) -> None:
    from ...calibrate.optics.colour import in_words
    from ..easel.made_words import tint_words

    rows = [
        (
            made.measure.name,
            _amounts(made, order, names),
            f"{in_words(made.moved)} ({made.moved:.1f})",
            "; ".join(tint_words(tint, names) for tint in made.tints),
        )
        for made in amounts
    ]
    beforehand = ["mixed beforehand"] if any(row[3] for row in rows) else []
    typer.echo("")
    columns = ["measured", "amounts", "costs in colour", *beforehand]
    print_table(columns, [row[: len(columns)] for row in rows])


def _light_words(light: str, index: float, band: float) -> str:
    from ...calibrate.optics.colour import in_words
    from ..mixing.viewing import LIGHTS

    lit = f"{LIGHTS[light]} ({light})"
    return (
        f"Under {lit} it parts from the target by {index:.1f} ({in_words(index)}), the worst of "
        f"the other lights; sure to within {band:.1f} there"
    )
