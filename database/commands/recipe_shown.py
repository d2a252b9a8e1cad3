"""Says the ways to a colour, for machines and for people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from .common import print_table

if TYPE_CHECKING:
    from ..mixing.measures import Snapped
    from ..mixing.order import Order
    from ..mixing.palette import Palette
    from ..mixing.recipes import Answer, Recipe


def prepared(
    palette: Palette, answer: Answer, scale: float, grams: float | None
) -> tuple[list[Order], list[list[Snapped]]]:
    """How to begin each way, and its amounts by every measure, the scale first.

    With `grams` to be made the scale and the syringe measure so much; else a handy batch.
    """
    from ..mixing.batch import density
    from ..mixing.measures import MEASURES, SYRINGE, of_size, snap
    from ..mixing.measures import scale as by_scale
    from ..mixing.order import order_of

    measures = [by_scale(scale), *MEASURES[2:]]
    if grams is not None:
        ml = grams / density(palette.coefficients, answer.recipes[0].parts)
        measures = [of_size(by_scale(scale), grams), of_size(SYRINGE, ml), *MEASURES[3:]]
    orders = [order_of(palette, r.parts) for r in answer.recipes]
    snapped = [
        [snap(palette, r.parts, answer.target.lab, m) for m in measures] for r in answer.recipes
    ]
    return orders, snapped


def as_dict(answer: Answer, orders: list[Order], snapped: list[list[Snapped]]) -> dict[str, Any]:
    """Everything said, for machines."""
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
            {
                "parts": r.parts,
                "words": r.words,
                "lab": [float(x) for x in r.lab],
                "difference_de00": r.difference,
                "band_de00": r.band,
                "clumsy_de00": r.clumsy,
                "metamerism_de00": r.lights,
                "too_small": list(r.too_small),
                "scan_made": r.scan_made,
                "why": r.why,
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
                        "amounts": a.amounts,
                        "tint": None
                        if a.tint is None
                        else {"paint": a.tint.paint, "into": a.tint.into, "parts": a.tint.parts},
                        "moved_de00": a.moved,
                        "difference_de00": a.difference,
                    }
                    for a in amounts
                ],
            }
            for r, order, amounts in zip(answer.recipes, orders, snapped, strict=True)
        ],
    }


def show(
    answer: Answer,
    orders: list[Order],
    snapped: list[list[Snapped]],
    names: dict[str, str],
    palette: Palette,
    last: str,
) -> None:
    """Say it to people; `last` is said at the end."""
    from ..mixing.film import FilmPalette

    target = answer.target
    typer.echo(f"Wanted: {target.words} ({target.said}).")
    for note in target.notes:
        typer.echo(f"{note[:1].upper()}{note[1:]}.")
    if isinstance(palette, FilmPalette) and palette.film:
        film = palette.film
        typer.echo(f"As a dry film of {film.thickness_um:g} µm over {film.over}.")
    if not answer.reachable and answer.missing:
        typer.echo(
            f"No mix of these tubes reaches it: the nearest stays CIEDE2000 "
            f"{answer.nearest:.1f} away; {answer.missing}."
        )
    for number, recipe in enumerate(answer.recipes, 1):
        order, amounts = orders[number - 1], snapped[number - 1]
        typer.echo(f"\n{number}. {_amounts(amounts[0], order, names)}: {recipe.words}.")
        for line in _lines(recipe, amounts[0], names, palette):
            typer.echo(f"   {line[:1].upper()}{line[1:]}.")
        if number == 1:
            _show_order(order, names)
            _show_amounts(amounts[1:], order, names)
    if answer.searched > 1:
        typer.echo(f"\nSearched every one of {answer.searched} sets of tubes.")
    typer.echo(last)


def _lines(recipe: Recipe, weighed: Snapped, names: dict[str, str], palette: Palette) -> list[str]:
    """What is to be known of one way."""
    from ..mixing.measures import tint_words
    from ..mixing.recipes import match_words

    lines = [match_words(recipe)]
    if recipe.why:
        lines.append(recipe.why)
    if recipe.lights:
        lines.append(_light_words(*max(recipe.lights.items(), key=lambda item: item[1])))
    lines.append(f"a hand that errs by a tenth in each part lands {recipe.clumsy:.1f} off")
    if weighed.tint is not None:
        lines.append(f"mix beforehand: {tint_words(weighed.tint, names)}")
    else:
        bulky = names.get(next(iter(recipe.parts)), "")
        lines += [
            f"very little {names.get(small, small)}: stir 1 part of it into 9 of the {bulky} "
            "beforehand, and weigh ten times as much of that"
            for small in recipe.too_small
        ]
    c = palette.coefficients
    scanned = [names.get(p, p) for p in recipe.parts if c.scan_made[c.index(p)]]
    if scanned:
        lines.append(f"{' and '.join(scanned)}: read by a scanner, not an instrument, so less sure")
    return lines


def _amounts(snapped: Snapped, order: Order, names: dict[str, str]) -> str:
    from ..mixing.measures import amount_words

    tinted = snapped.tint.paint if snapped.tint else None
    return ", ".join(
        f"{amount_words(snapped.amounts[s.paint], snapped.measure)} {names.get(s.paint, s.paint)}"
        + (" tint" if s.paint == tinted else "")
        for s in order.steps
    )


def _show_order(order: Order, names: dict[str, str]) -> None:
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


def _show_amounts(amounts: list[Snapped], order: Order, names: dict[str, str]) -> None:
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
