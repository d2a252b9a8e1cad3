"""Find ways to mix a colour from the tubes on hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, open_store, print_table, say, working

if TYPE_CHECKING:
    from ..recipe import Answer, Recipe
    from ..recipe_order import Order
    from ..recipe_palette import Palette
    from ..recipe_parts import Snapped
    from ..store import Store

EXAMPLE = 'tintladder recipe "62,-18,-9" --without PITCH --tubes 3'


def recipe(
    target: Annotated[
        str,
        typer.Argument(
            help="L,a,b; '#5f8ea0'; a file of readings; a tube; 'ANCHOR 4:1' (white to colour); "
            "a kept recipe; CARD/STEP."
        ),
    ],
    with_: Annotated[
        list[str] | None, typer.Option("--with", metavar="NAME", help="A tube that must be in it.")
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="NAME", help="A tube to leave out.")
    ] = None,
    tubes: Annotated[int, typer.Option(min=1, max=6, help="Tubes in a mix, at most.")] = 4,
    ways: Annotated[int, typer.Option(min=1, max=20, help="Different ways to show.")] = 4,
    scale: Annotated[float, typer.Option(min=0.001, max=1.0, help="Step of your scale, g.")] = 0.01,
    make: Annotated[
        str | None, typer.Option(metavar="AMOUNT", help="Make so much: 40ml or 25g.")
    ] = None,
    area: Annotated[
        str | None, typer.Option(metavar="SIZE", help="Make enough for 40x50cm.")
    ] = None,
    coats: Annotated[int, typer.Option(min=1, max=10, help="Coats, with --area.")] = 2,
    keep: Annotated[
        str | None, typer.Option(metavar="NAME", help="Keep the first way under a name.")
    ] = None,
    note: Annotated[str, typer.Option(help="A note to keep with it.")] = "",
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Search every set of tubes on hand for a colour; say how to begin and how sure it is."""
    with open_store(studio) as store, working("Searching", as_json):
        from ..on_hand import usable
        from ..recipe import recipes
        from ..recipe_order import order_of
        from ..recipe_palette import Palette
        from ..recipe_parts import MEASURES, snap
        from ..recipe_parts import scale as by_scale
        from ..recipe_store import kept_recipe
        from ..recipe_target import parse_target

        names = {paint.nickname: paint.name for paint in store.paints()}
        wanted = parse_target(target, store)
        kept = kept_recipe(store, target)
        must = [store.find_paint(text).nickname for text in split(with_)]
        if kept and not must:
            must, tubes, ways = list(kept.parts), len(kept.parts), 1
        coefficients = usable(store, must, [store.find_paint(t).nickname for t in split(without)])
        palette = Palette(coefficients)
        answer = recipes(coefficients, wanted, tubes, must, ways, names)
        first = answer.recipes[0]
        grams = _grams(palette, first, make, area, coats)
        orders = [order_of(palette, r.parts) for r in answer.recipes]
        measures = (by_scale(scale, grams), *MEASURES[2:])
        snapped = [
            [snap(palette, r.parts, wanted.lab, m) for m in measures] for r in answer.recipes
        ]
        result = as_dict(answer, orders, snapped)
        if keep:
            _keep(store, keep, result, note)
    say(result, as_json, lambda: _show(answer, orders, snapped, names, keep))


def split(texts: list[str] | None) -> list[str]:
    """Names of an option given several times, or once with commas."""
    return [name.strip() for text in texts or [] for name in text.split(",") if name.strip()]


def _grams(
    palette: Palette, first: Recipe, make: str | None, area: str | None, coats: int
) -> float:
    from ..recipe_batch import area_grams, batch_grams

    if make and area:
        raise InputError("--area", area, "--make was given too", "give one of them")
    if make:
        return batch_grams(palette.coefficients, first.parts, make)
    if area:
        return area_grams(palette.coefficients, first.parts, area, coats)
    return 10.0


def _keep(store: Store, name: str, result: dict[str, Any], note: str) -> None:
    from ..recipe_store import keep_recipe

    first = result["recipes"][0]
    predicted = {k: first[k] for k in ("lab", "difference_de00", "band_de00")}
    keep_recipe(store, name, first["parts"], result["target"], predicted, note)


def as_dict(answer: Answer, orders: list[Order], snapped: list[list[Snapped]]) -> dict[str, Any]:
    """Everything said, for machines."""
    return {
        "target": {
            "said": answer.target.said,
            "words": answer.target.words,
            "lab": [float(x) for x in answer.target.lab],
            "estimate": answer.target.estimate,
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
                        "moved_de00": a.moved,
                        "difference_de00": a.difference,
                    }
                    for a in amounts
                ],
            }
            for r, order, amounts in zip(answer.recipes, orders, snapped, strict=True)
        ],
    }


def _show(
    answer: Answer,
    orders: list[Order],
    snapped: list[list[Snapped]],
    names: dict[str, str],
    keep: str | None,
) -> None:
    from ..recipe import match_words

    target = answer.target
    typer.echo(f"Wanted: {target.words} ({target.said}).")
    if target.estimate:
        typer.echo("A colour on a screen is an estimate; a reading is surer.")
    if not answer.reachable:
        typer.echo(
            f"No mix of these tubes reaches it: the nearest stays CIEDE2000 "
            f"{answer.nearest:.1f} away; {answer.missing}."
        )
    for number, (r, order, amounts) in enumerate(
        zip(answer.recipes, orders, snapped, strict=True), 1
    ):
        typer.echo(f"\n{number}. {_amounts(amounts[0], order, names)}: {r.words}.")
        typer.echo(f"   {match_words(r)[:1].upper()}{match_words(r)[1:]}.")
        if r.why:
            typer.echo(f"   {r.why[:1].upper()}{r.why[1:]}.")
        if r.lights:
            light, worst = max(r.lights.items(), key=lambda item: item[1])
            typer.echo(f"   {_light_words(light, worst)}.")
        typer.echo(f"   A hand that errs by a tenth in each part lands {r.clumsy:.1f} off.")
        if r.too_small:
            bulky = names.get(next(iter(r.parts)), "")
            for small in (names.get(p, p) for p in r.too_small):
                typer.echo(
                    f"   Very little {small}: stir 1 part of it into 9 of the {bulky} beforehand, "
                    "and weigh ten times as much of that."
                )
        if r.scan_made:
            typer.echo("   One of these paints was read by a scanner, not an instrument.")
        if number == 1:
            _show_order(order, names)
            _show_amounts(amounts[1:], order, names)
    typer.echo(f"\nSearched every one of {answer.searched} sets of tubes.")
    if keep:
        typer.echo(f"The first is kept as {keep}.")


def _amounts(snapped: Snapped, order: Order, names: dict[str, str]) -> str:
    from ..recipe_parts import amount_words

    return ", ".join(
        f"{amount_words(snapped.amounts[s.paint], snapped.measure)} {names.get(s.paint, s.paint)}"
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

    rows = [
        (a.measure.name, _amounts(a, order, names), f"{in_words(a.moved)} ({a.moved:.1f})")
        for a in amounts
    ]
    typer.echo("")
    print_table(["measured", "amounts", "costs in colour"], rows)


def _light_words(light: str, index: float) -> str:
    from ...calibrate.optics.colour import in_words

    lit = {"A": "lamplight (A)", "D65": "daylight (D65)"}[light]
    return f"Under {lit} it parts from the target by {index:.1f} ({in_words(index)})"
