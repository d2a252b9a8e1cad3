"""The tubes of a studio: list, add, on hand or out."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ...calibrate.errors import InputError
from .common import JsonOption, StudioOption, number, open_store, print_table, say, worked
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..store.schema import Paint

EXAMPLE = "tintladder tubes"

app = typer.Typer(no_args_is_help=False)


@app.callback(invoke_without_command=True, epilog=worked(EXAMPLE))
def tubes(ctx: typer.Context, as_json: JsonOption = False, studio: StudioOption = None) -> None:
    """List your tubes; add some, or say which are used up."""
    ctx.obj = studio
    if ctx.invoked_subcommand is not None:
        return
    with open_store(studio) as store:
        paints, fitted = store.paints.all(), store.fits.current()
    rows = [_described(paint) | {"fitted": paint.nickname in fitted} for paint in paints]

    def show() -> None:
        if not rows:
            typer.echo("No tubes yet. Add one: tintladder tubes add")
            return
        print_table(
            ("Nickname", "Name", "Maker", "Pigments", "Lots", "On hand", "Fitted"),
            [
                (
                    row["nickname"],
                    row["name"],
                    row["maker"],
                    " ".join(row["pigments"]),
                    _lots_words(row["lots"]),
                    "yes" if row["on_hand"] else "out",
                    "yes" if row["fitted"] else "not yet",
                )
                for row in rows
            ],
        )

    say(rows, as_json, show)


@app.command(
    epilog=worked('tintladder tubes add "Anchor Blue PB29" "Rope Earth PY42 PBr7" "Hull White PW6"')
)
def add(
    ctx: typer.Context,
    labels: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[LABEL]...",
            help='Tubes as on their labels, name and pigments: "Anchor Blue PB29". Without any, '
            "they are asked for.",
        ),
    ] = None,
    name: Annotated[
        str | None, typer.Option(help="One tube's name, as on the label; then nothing is asked.")
    ] = None,
    maker: Annotated[str | None, typer.Option(help="As on the label.")] = None,
    pigments: Annotated[
        str | None, typer.Option(help='Colour Index names on the label, such as "PB29 PW6".')
    ] = None,
    nickname: Annotated[
        str | None, typer.Option(help="One word of your own to call it by.")
    ] = None,
    size: Annotated[str | None, typer.Option(metavar="ML", help="Size of the tube, ml.")] = None,
    range_: Annotated[str, typer.Option("--range", help="The maker's product range.")] = "",
    binder: Annotated[
        str, typer.Option(help="What the paint is bound with, such as oil; else an acrylic.")
    ] = "",
    finish: Annotated[
        str, typer.Option(help="ordinary, metallic, interference or fluorescent.")
    ] = "ordinary",
    lot: Annotated[str, typer.Option(help="Lot number on this tube.")] = "",
    price: Annotated[
        float | None, typer.Option(parser=number(), metavar="MONEY", help="Price of this tube.")
    ] = None,
    density: Annotated[
        float | None,
        typer.Option(parser=number(), metavar="G/ML", help="Density of the paint, if known."),
    ] = None,
    volume_solids: Annotated[
        float | None,
        typer.Option(
            parser=number(),
            metavar="PART",
            help="Dry over wet volume of the paint, 0 to 1, if known.",
        ),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Add tubes by their labels, several at once, or one tube by options.

    Pigments are Colour Index names such as PB29; the ladder that is planned, the cautions that are
    printed, and which tube is a white rest on them.
    """
    from ..cards.new_tube import (
        add_labels,
        add_lot,
        add_tube,
        check_tellable,
        known_paint,
        label_as_typed,
        suggested_nickname,
    )
    from ..store.paint_names import check_nickname
    from ..store.paints_file import check_finish

    check_finish(finish)
    of_one = (pigments, nickname, size, lot, price, density, volume_solids)
    with open_store(studio or ctx.obj, create=True) as store:
        if name is None:
            if any(of_one) or range_ or finish != "ordinary":
                raise InputError(
                    None, "tubes add", "an option of one tube is given without --name",
                    'name the tube: --name "Anchor Blue"',
                )  # fmt: skip
            typed = [label_as_typed(label) for label in labels or ()] or _asked_labels()
            added = add_labels(store, typed, maker or "", binder.strip())
            say([_described(paint) for paint in added], as_json, lambda: _show_added(added))
            return
        if labels:
            raise InputError(None, "--name", "it doesn't go with labels", "leave one of them out")
        if not (name := name.strip()):
            raise InputError(None, "tubes add", "a tube needs a name", "give it as on the label")
        maker = (maker or "").strip()
        figures = {"price": price, "density": density, "volume_solids": volume_solids}
        if lot and (known := known_paint(store, name, maker)) is not None:
            result = _described(add_lot(store, known, lot, size or "", **figures))
            words = f"Added lot {lot} of {known.name} ({known.nickname}), in use from today."
            say(result, as_json, lambda: typer.echo(words))
            return
        suggested = suggested_nickname(store, name, maker)
        if nickname is None:
            check_tellable(store, name, suggested)
        paint = add_tube(
            store,
            name,
            maker,
            pigments or "",
            check_nickname(nickname or suggested),
            size or "",
            range=range_,
            binder=binder.strip(),
            finish=finish,
            lot=lot,
            **figures,
        )
        result = _described(paint)
    say(result, as_json, lambda: _show_added([paint]))


def _asked_labels() -> list[tuple[str, str]]:
    """Ask for one tube after the other, until there are no more."""
    from ..cards.new_tube import label_as_typed

    typer.echo('Name and pigments as on the label, such as "Anchor Blue PB29".', err=True)
    labels: list[tuple[str, str]] = []
    while answer := _answer(f"Tube {len(labels) + 1} [no more]"):
        name, pigments = label_as_typed(answer)
        labels.append((name, pigments or _answer(f"Pigments of {name} [not known]")))
    if not labels:
        raise InputError(None, "tubes add", "no tube was named", "name one as on its label")
    return labels


def _answer(question: str) -> str:
    typer.echo(f"{question}: ", nl=False, err=True)
    answer = sys.stdin.readline()
    if not answer:
        typer.echo(err=True)
        raise InputError(
            None, "tubes add", f"stopped at the question: {question}",
            'answer it, or name the tubes: tintladder tubes add "Anchor Blue PB29"',
        )  # fmt: skip
    return answer.strip()


def _show_added(paints: list[Paint]) -> None:
    from ..cards.new_tube import pigment_hint

    for paint in paints:
        typer.echo(f"Added {paint.name} as {paint.nickname}, on hand.")
        hint = (
            pigment_hint(paint.pigments)
            if paint.pigments
            else (
                "Its pigments aren't known: its ladder will be an ordinary one, it isn't taken for "
                "a white, and its cautions are those of an unknown pigment."
            )
        )
        if hint:
            typer.echo(f"  {in_terminal(hint)}")


@app.command("on", epilog=worked("tintladder tubes on HULL"))
def on(
    ctx: typer.Context,
    nick: Annotated[str, typer.Argument(help="Nickname, or a part of the name.")],
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Say that a tube is on hand."""
    _set(ctx, nick, True, as_json, studio)


@app.command("out", epilog=worked("tintladder tubes out HULL"))
def out(
    ctx: typer.Context,
    nick: Annotated[str, typer.Argument(help="Nickname, or a part of the name.")],
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Say that a tube is used up."""
    _set(ctx, nick, False, as_json, studio)


@app.command("load", epilog=worked("tintladder tubes load paints.toml"))
def load(
    ctx: typer.Context,
    file: Annotated[Path, typer.Argument(help="A file of paints, TOML.")],
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Add every tube of a file, all or none."""
    from ..common.files import read_text

    text = read_text(file)
    with open_store(studio or ctx.obj, create=True) as store:
        result = [_described(paint) for paint in store.paints.add_file(text, str(file))]
    names = ", ".join(row["nickname"] for row in result)
    say(result, as_json, lambda: typer.echo(f"{file}: {len(result)} paints: {names}."))


@app.command("weigh", epilog=worked("tintladder tubes weigh ANCHOR --ml 2 --grams 2.72"))
def weigh(
    ctx: typer.Context,
    nick: Annotated[str, typer.Argument(help="Nickname, or a part of the name.")],
    grams: Annotated[
        float, typer.Option(parser=number(0.01), metavar="G", help="What the scale shows.")
    ],
    ml: Annotated[
        float, typer.Option(parser=number(0.1), metavar="ML", help="Paint in the syringe.")
    ] = 2.0,
    empty: Annotated[
        float, typer.Option(parser=number(0.0), metavar="G", help="What the empty syringe weighs.")
    ] = 0.0,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Find a tube's density in a minute, from a syringe of its paint on a scale."""
    if grams <= empty:
        raise InputError(
            "--grams", f"{grams:g}", f"expected more than the empty syringe, {empty:g} g",
            "weigh the full syringe, or leave --empty out if the scale was set to zero with it",
        )  # fmt: skip
    with open_store(studio or ctx.obj) as store:
        paint = store.paints.set_density(nick, (grams - empty) / ml)
        result = _described(paint)
        density = (grams - empty) / ml
    say(
        result,
        as_json,
        lambda: typer.echo(
            f"{paint.name}: {density:.2f} g/ml. Amounts of it by volume rest on that from now on."
        ),
    )


def _set(ctx: typer.Context, nick: str, on_hand: bool, as_json: bool, studio: str | None) -> None:
    with open_store(studio or ctx.obj) as store:
        paint = store.paints.set_on_hand(nick, on_hand)
        result = _described(paint)
    words = "on hand" if on_hand else "out"
    say(result, as_json, lambda: typer.echo(f"{paint.nickname} ({paint.name}) is {words}."))


def _described(paint: Paint) -> dict[str, Any]:
    return {
        "nickname": paint.nickname,
        "name": paint.name,
        "maker": paint.maker,
        "range": paint.range,
        "pigments": paint.pigments,
        "finish": paint.finish,
        "on_hand": paint.on_hand,
        "lots": [
            {
                "lot": lot.lot,
                "size_ml": lot.size_ml,
                "price": lot.price,
                "density": lot.density,
                "volume_solids": lot.volume_solids,
                "opened": lot.opened.isoformat() if lot.opened else None,
                "on_hand": lot.on_hand,
                "in_use": lot is paint.current_lot,
            }
            for lot in paint.lots
        ],
    }


def _lots_words(lots: list[dict[str, Any]]) -> str:
    """Name the lots of a paint, the one in use first where there are several."""
    if len(lots) == 1:
        return str(lots[0]["lot"])
    used = [f"{lot['lot'] or '(unnamed)'} in use" for lot in lots if lot["in_use"]]
    return ", ".join(used + [lot["lot"] or "(unnamed)" for lot in lots if not lot["in_use"]])
