"""Plan and print a card, fill in what was weighed, list the cards, check a layout."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from ...calibrate.errors import InputError
from .card_list import list_cards
from .common import JsonOption, StudioOption, number, open_store, print_table, say, working
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..cards.filling import Filling
    from ..cards.printing import Printed
    from ..store.store import Store

EXAMPLE = "tintladder card ANCHOR --scale 0.1    (afterwards: tintladder card fill 1)"
_FILL = "fill"
T = TypeVar("T")
_LADDERS = ("weak", "ordinary", "strong")


def card(
    tubes: Annotated[
        list[str] | None,
        typer.Argument(
            help="Tubes to paint a ladder of, or to mix; or: fill, then a card's name or number. "
            "Without any, your cards are listed."
        ),
    ] = None,
    scale: Annotated[
        str | None,
        typer.Option(
            help="What you measure with: 0.01 or 0.1 (grams), syringe or spoons; without it, "
            "the same as for the card before."
        ),
    ] = None,
    layout: Annotated[
        str | None,
        typer.Option(
            help="quick, six-tube, drawdown, or a layout file of your own (.toml); without it, "
            "quick for one tube and six-tube for several."
        ),
    ] = None,
    page: Annotated[str | None, typer.Option(help="a4, a5, letter or half-letter.")] = None,
    white: Annotated[str | None, typer.Option(help="The white of the tints.")] = None,
    ladder: Annotated[
        str | None,
        typer.Option(
            help="weak, ordinary or strong, or tints of your own, white to colour: 2,4,16; without "
            "it, what the label suggests."
        ),
    ] = None,
    shade: Annotated[
        str | None,
        typer.Option(
            metavar="BLACK",
            help="Paint a shade too, let down with this black: PITCH, or PITCH=1 for 1 %. A tint "
            "gives way to it.",
        ),
    ] = None,
    mixtures: Annotated[
        bool,
        typer.Option(
            "--mixtures",
            help="Print mixtures that prove a fit instead, from all tubes or the named ones.",
        ),
    ] = False,
    mix: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PARTS", help="One such mixture by weight: ANCHOR=2,HULL=7. May be repeated."
        ),
    ] = None,
    gap: Annotated[
        float,
        typer.Option(
            parser=number(), metavar="UM", help="Gap of the applicator or height of the tape, µm."
        ),
    ] = 300.0,
    name: Annotated[
        str | None, typer.Option(help="Name of the card; without it, one is chosen.")
    ] = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Print mixtures that no device of yours can judge.")
    ] = False,
    check: Annotated[
        str | None, typer.Option(metavar="LAYOUT", help="Only check a layout, by name or file.")
    ] = None,
    settings: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="NUMBER=G",
            help="With fill: an amount that differs, by its number on the sheet. Asks nothing.",
        ),
    ] = None,
    as_printed: Annotated[
        bool,
        typer.Option(
            "--as-printed", help="With fill: everything else was as printed. Asks nothing."
        ),
    ] = False,
    painted: Annotated[
        str | None,
        typer.Option(metavar="DATE", help="With fill: when it was painted; without it, today."),
    ] = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Print a card with its weighing sheet; fill it in; list your cards.

    `card fill N` says what was weighed, by the numbers on the weighing sheet.
    """
    words = tubes or []
    filling_in = bool(words) and words[0] == _FILL
    proving = mixtures or bool(mix)
    others = {_FILL: filling_in, "--ladder": ladder, "--shade": shade, "--check": check}
    other = next((name for name, given in others.items() if given), None)
    if proving and other is not None:
        raise _slip("--mixtures", f"it doesn't go with {other}", "leave one of them out")
    if not filling_in:
        _no_filling(settings, as_printed, painted)
    if check is not None:
        if words:
            raise _slip("--check", "it takes a layout alone", "leave the tubes out")
        _check(check, as_json)
    elif filling_in:
        if len(words) != 2:
            raise _slip(_FILL, "expected one card", "name it, or give its number")
        _fill(words[1], settings or [], as_printed, painted, as_json, studio)
    elif not (words or proving):
        if any((scale, layout, page, white, ladder, shade, name)):
            raise _slip("card", "expected the tubes to paint", "name one: tintladder card ANCHOR")
        list_cards(as_json, studio)
    else:
        ratios = () if ladder is None or ladder in _LADDERS else _ratios(ladder)
        if not 10 <= gap <= 2000:
            raise _slip("--gap", f"expected 10 to 2000 µm, got {gap:g}", "measure it, or ask 300")
        wanted: dict[str, Any] = {"layout": layout, "page": page, "white": white, "name": name}
        wanted |= {"ratios": ratios} if ratios else {"ladder": ladder}
        wanted |= {"shade": shade, "anyway": anyway}
        _print(tuple(words), scale, gap, wanted, tuple(mix or ()), proving, as_json, studio)


def _no_filling(settings: list[str] | None, as_printed: bool, painted: str | None) -> None:
    """Refuse what only goes with filling in."""
    given = {"--set": settings, "--as-printed": as_printed, "--painted": painted}
    for option in (option for option, value in given.items() if value):
        raise _slip(option, "it goes with card fill", "write tintladder card fill N first")


def _ratios(text: str) -> tuple[float, ...]:
    """White to colour of the tints as planned."""
    try:
        found = sorted({float(part) for part in text.split(",")})
    except ValueError:
        found = []
    if not found or not all(0.1 <= ratio <= 500 for ratio in found):
        raise _slip(
            "--ladder",
            f"there is no {text} ladder",
            f"use {', '.join(_LADDERS)}, or white to colour of each tint: 2,4,16",
        )
    return tuple(found)


def _slip(where: str, expected: str, do: str) -> InputError:
    return InputError(None, where, expected, do)


def _ask(question: str, enter: str) -> str:
    """Ask, on the stream of messages, saying what Enter means; empty for Enter."""
    typer.echo(f"{question} [{enter}]: ", nl=False, err=True)
    answer = sys.stdin.readline()
    if not answer:
        typer.echo(err=True)
        raise InputError(
            None, "card", f"stopped at the question: {question}", "answer it, or give the option"
        )
    return answer.strip()


def _asked(question: str, enter: str, parse: Callable[[str], T]) -> T | None:
    """Ask until the answer can be read; None for Enter."""
    while answer := _ask(question, enter):
        try:
            return parse(answer)
        except InputError as error:
            typer.echo(f"  {in_terminal(error)}", err=True)
    return None


def _print(
    tubes: tuple[str, ...],
    scale: str | None,
    gap: float,
    wanted: dict[str, Any],
    mixes: tuple[str, ...],
    proving: bool,
    as_json: bool,
    studio: str | None,
) -> None:
    from ...calibrate.cards.measure import measure_of

    with open_store(studio) as store:
        for tube in tubes:
            store.paints.find(tube)
        if proving and not wanted["anyway"]:
            wanted["anyway"] = _confirmed(store)
        from ..cards.mixtures import print_mixtures
        from ..cards.printing import WantedCard, print_new_card
        from ..cards.progress import measure_before
        from ..easel.habits import weighed_with

        before = None if scale else measure_before(store)
        question = "What do you measure with: 0.01, 0.1 (grams), syringe or spoons"
        measure = before or measure_of(scale or _ask(question, "0.1") or "0.1")
        with working("Printing", as_json):
            asked = WantedCard(tubes, measure, gap_um=gap, face=in_terminal, **wanted)
            done = print_mixtures(store, asked, mixes) if proving else print_new_card(store, asked)
        weighed_with(store, measure)
    say(_as_dict(done), as_json, lambda: _show(done, before is not None))


def _confirmed(store: Store) -> bool:
    """Whether to print mixtures that no device can judge; asks only where none can."""
    from ..cards.mixtures import why_unread

    if (why := why_unread(store)) is None or not sys.stdin.isatty():
        return False
    typer.echo(f"{why[0].upper()}{why[1:]}.", err=True)
    return _ask("Print it all the same, yes or no", "no").casefold() in ("y", "yes")


def _as_dict(done: Printed) -> dict[str, Any]:
    from ...calibrate.cards.weighing_out import weighed

    return {
        "card": done.plan.card.name,
        "number": done.number,
        "purpose": done.plan.card.purpose,
        "layout": done.layout.name,
        "page_mm": list(done.layout.page_mm),
        "steps": [
            {
                "step": d.step,
                "paint": d.paint,
                "from": d.taken_from,
                "taken_g": d.taken_g,
                "masses": dict(d.masses),
                "relative_error": done.plan.errors[d.step],
                "painted": bool(d.over),
            }
            for d in done.plan.card.drawdowns
        ],
        "grams": weighed(done.plan.card.drawdowns),
        "unpainted": list(done.waiting),
        "unknown_black": done.unknown_black,
        "black_to_ask_for": done.black_to_ask_for,
        "more": [_as_dict(sheet) for sheet in done.more],
        "files": [str(file) for file in (done.card_file, done.sheet_file, done.text_file)],
    }


def _show(done: Printed, as_before: bool) -> None:
    from ...calibrate.cards.weighing_sheet import MIXED_ONLY, amounts, time_words

    print_table(
        ("Step", "Weigh", "Sure to"),
        [
            (
                d.step,
                " + ".join(f"{amount} {what}" for amount, what in amounts(done.plan, d))
                + ("" if d.over else f" ({MIXED_ONLY})"),
                f"{100 * done.plan.errors[d.step]:.1f} %" if done.plan.errors[d.step] else "",
            )
            for d in done.plan.card.drawdowns
        ],
    )
    proves = done.plan.card.purpose == "check"
    typer.echo(f"{'' if proves else '(ratios are white to colour) '}It takes {done.used}")
    typer.echo(time_words(done.plan))
    if as_before:
        typer.echo(f"Measured with {done.plan.measure.name}, as before; --scale says otherwise.")
    width, height = done.layout.page_mm
    typer.echo(f"Card {done.plan.card.name}, no. {done.number}: {done.card_file}")
    typer.echo(f"  print it at 100 % on card, {width:g} x {height:g} mm, and check its rulers")
    typer.echo(f"Weighing sheet: {done.sheet_file}")
    typer.echo(f"When it is painted: tintladder card fill {done.number}")
    if done.black_to_ask_for is not None:
        typer.echo(
            f"It has no shade step, which would show how {done.black_to_ask_for} acts on its "
            f"colour: --shade {done.black_to_ask_for} adds one."
        )
    if done.unknown_black is not None:
        typer.echo(
            f"{done.unknown_black} has no fit yet: a shade tells something only once its own "
            f"ladder is read too: tintladder card {done.unknown_black}"
        )
    if done.waiting:
        typer.echo(
            f"Of the same tubes {_listed(done.waiting)} printed already and not painted yet: "
            "one is enough, unless you mean to paint more."
        )
    for sheet in done.more:
        typer.echo("\nA further sheet of the same card; a white alone is painted on the first:")
        _show(sheet, False)


def _listed(cards: tuple[str, ...]) -> str:
    return f"card {cards[0]} is" if len(cards) == 1 else f"cards {', '.join(cards)} are"


def _check(layout: str, as_json: bool) -> None:
    from ...calibrate.cards.layout import read_layout
    from ...calibrate.cards.strokes import opening_mm
    from ..cards.layout_choice import faults_to_print

    faults = faults_to_print(layout)
    if not faults:
        found = read_layout(layout)
        opening = opening_mm(found)
        result = {"layout": found.name, "steps": found.steps, "opening_mm": opening, "faults": []}
        words = (
            f"{found.name}: {found.steps} steps, every patch can be painted and read: by picture, "
            f"or by an instrument with an opening of up to {opening:.0f} mm."
        )
        say(result, as_json, lambda: typer.echo(words))
        return
    if as_json:
        say(
            {"layout": layout, "faults": [in_terminal(fault) for fault in faults]},
            True,
            lambda: None,
        )
    else:
        for fault in faults[:-1]:
            typer.echo(in_terminal(fault), err=True)
    # The last one ends the command as any bad input does.
    raise faults[-1]


def _fill(
    name: str,
    settings: list[str],
    as_printed: bool,
    painted: str | None,
    as_json: bool,
    studio: str | None,
) -> None:
    from ..cards.filling import fill, filling, parse_day, parse_differences, parse_settings, slips
    from ..cards.progress import dry_enough

    with open_store(studio) as store:
        begun = filling(store, name)
        changed = parse_settings(begun, settings)
        asking = not (settings or as_printed)
        if asking:
            _explain(begun)
            question = "What differs from that: number and grams, such as 3=1.5 8=3.4"
            changed = _asked(question, "nothing", partial(parse_differences, begun)) or {}
        if asking and painted is None:
            parse = partial(parse_day, printed=begun.printed)
            day = _asked("Painted on", str(parse_day(None)), parse) or parse_day(None)
        else:
            day = parse_day(painted, printed=begun.printed)
        done = fill(store, begun, changed, day)
    dry = dry_enough(done)
    result = {
        "card": done.name,
        "number": begun.number,
        "changed": changed,
        "painted": done.date,
        "dry_from": str(dry),
    }

    def show() -> None:
        differing = f"{len(changed)} of {len(begun.amounts)} amounts differ from the print"
        typer.echo(f"Card {done.name}: painted on {done.date}; {differing}.")
        for words in slips(begun, changed):
            typer.echo(f"{words} If that is a slip, fill it in again: tintladder card fill {name}")
        typer.echo(
            f"Dry enough to read from about {dry}; if a fingertip drags, don't scan or measure it."
        )

    say(result, as_json, show)


def _explain(begun: Filling) -> None:
    typer.echo(f"Card {begun.card.name}, no. {begun.number}, as it stands:", err=True)
    for n, amount in enumerate(begun.amounts, 1):
        typer.echo(f"{n:4d}  {amount.step}: {amount.words}", err=True)
    typer.echo("An amount may have a unit: 3=3.5ml or 3=2spoons.", err=True)
