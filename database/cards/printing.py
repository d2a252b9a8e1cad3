"""Plans a card for tubes of a studio, prints it and its weighing sheet, and keeps it as printed."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ...calibrate.cards.card import Card
from ...calibrate.cards.card_file import parse_card
from ...calibrate.cards.card_plan import CardPlan, LadderToPaint, plan_card
from ...calibrate.cards.card_text import card_text
from ...calibrate.cards.label_strength import Strength, is_black, is_white, strength_of
from ...calibrate.cards.layout import Layout
from ...calibrate.cards.measure import CardMeasure
from ...calibrate.cards.printed_card import print_card
from ...calibrate.cards.shade import LEAST_BLACK, MOST_BLACK, USUAL, Shade
from ...calibrate.cards.weighing_sheet import TubeWords, print_sheet, used_words
from ...calibrate.errors import Face, Field, InputError
from ...calibrate.fit.problem.tube import TYPICAL_DENSITY
from ..common.files import write_whole
from ..common.remedies import StudioDo
from ..common.words import caution, either
from ..store.schema import Paint
from ..store.store import Store
from .layout_choice import layout_to_print
from .progress import BY_VOLUME, PRINTED, card_number, waiting

FOLDER = "cards"
"""In the studio's folder."""


@dataclass(frozen=True)
class WantedCard:
    """What a user asks of a card.

    Attributes
    ----------
    tubes : tuple of str
        Nicknames or parts of names.
    layout : str or None
        A layout, a path, or what layouts of one kind begin with (``quick``); None: by the tubes.
    page : str or None
        One of `layout_choice.PAGES`.
    ladder : {"weak", "ordinary", "strong"} or None
        Of every tube; None: as their labels suggest.
    ratios : tuple of float
        Or: white to colour of every tube's tints.
    shade : str or None
        The black of a shade step of every tube, or with its share in percent: ``SOOT=1``.
    anyway : bool
        Print a card of mixtures even if no device at hand could judge it.
    face : callable
        Words what to do once it is painted, for the weighing sheet.
    """

    tubes: tuple[str, ...]
    measure: CardMeasure
    layout: str | None = None
    page: str | None = None
    white: str | None = None
    ladder: Strength | None = None
    ratios: tuple[float, ...] = ()
    shade: str | None = None
    gap_um: float = 300.0
    name: str | None = None
    anyway: bool = False
    face: Face = str


@dataclass(frozen=True)
class Printed:
    """A card as printed.

    Attributes
    ----------
    used : str
        Words on the paint it takes.
    waiting : tuple of str
        Cards of the same tubes that were printed before and aren't painted yet.
    unknown_black : str or None
        The black of its shades, where that has no fit yet.
    black_to_ask_for : str or None
        The black that its ladders could have a shade of, and have none.
    more : tuple of Printed
        Further sheets, where one has no room for all tints of its ladders, or all its mixtures; the
        white alone is painted on the first.
    """

    number: int
    plan: CardPlan
    layout: Layout
    card_file: Path
    sheet_file: Path
    text_file: Path
    used: str
    waiting: tuple[str, ...]
    unknown_black: str | None = None
    black_to_ask_for: str | None = None
    more: tuple[Printed, ...] = ()


def print_new_card(store: Store, wanted: WantedCard) -> Printed:
    """Plan a card, print it and its weighing sheet, and keep it as printed: all, or nothing.

    Raises
    ------
    InputError
        For a tube, white or layout that can't be had, or files that can't be written.
    """
    tubes = [store.paints.find(text) for text in wanted.tubes]
    check_tubes(store, tubes)
    white = white_for(store, wanted.white, tubes)
    ladders = {
        tube.nickname: wanted.ladder or strength_of(tube.pigments)
        for tube in tubes
        if tube.nickname != white.nickname
    }
    name_of_layout, layout = layout_to_print(wanted.layout, wanted.page, len(ladders))
    black, shade = None, None
    if wanted.shade is not None:
        black, shade = _shade(store, wanted.shade, list(ladders))
    known = {tube.paint: tube for tube in store.paints.tubes().values()}
    names = list(ladders) or [white.nickname]
    name = name_for(store, wanted.name, names[0].casefold() if len(names) == 1 else "tubes")
    with_white = len(ladders) < len(tubes) or not _is_known(store, white.nickname)
    plans = [
        plan_card(
            f"{name}-sheet-{sheet}" if sheet > 1 else name,
            layout,
            [LadderToPaint(paint, strength, ratios) for paint, strength in ladders.items()],
            white.nickname,
            wanted.measure,
            densities={p: t.density for p, t in known.items() if t.density is not None},
            lots={p: t.lot for p, t in known.items() if t.lot},
            shade=shade if sheet == 1 else None,
            with_white=with_white and sheet == 1,
            gap_um=wanted.gap_um,
            layout_name=name_of_layout,
        )
        for sheet, ratios in enumerate(_sheets(wanted.ratios, layout, shade is not None), 1)
    ]
    words = [
        _words(paint, ladders.get(paint.nickname), wanted)
        for paint in (*(tube for tube in tubes if tube.nickname in ladders), white)
    ]
    if black is not None and black.nickname not in ladders:
        words.insert(-1, tube_words(black, ": the black of the shades"))
    with store.transaction():
        first, *more = [keep_printed(store, plan, layout, words, wanted.face) for plan in plans]
    done, fitted = replace(first, more=tuple(more)), store.fits.current()
    if black is not None:
        unknown = None if black.nickname in fitted else black.nickname
        return replace(done, unknown_black=unknown)
    known_blacks = [each.nickname for each in blacks_on_hand(store) if each.nickname in fitted]
    if len(known_blacks) == 1 and set(ladders) - set(known_blacks):
        return replace(done, black_to_ask_for=known_blacks[0])
    return done


def _sheets(ratios: Sequence[float], layout: Layout, shaded: bool) -> list[tuple[float, ...]]:
    """Tints of each sheet, the strongest first; the first sheet has the shade too."""
    room = layout.steps_each - 1
    first = room - shaded
    if not layout.tubes or first < 1:
        return [tuple(ratios)]
    rest = range(first, len(ratios), room)
    return [tuple(ratios[:first]), *(tuple(ratios[at : at + room]) for at in rest)]


def _shade(store: Store, text: str, ladders: Sequence[str]) -> tuple[Paint, Shade]:
    """The black that a shade is let down with, and how much of it there is to be.

    Raises
    ------
    InputError
        For a card of the white alone, a paint that can't be its black, or a share that is none.
    """
    if not ladders:
        raise InputError(None, Field("shade"), "the white alone has no shades", "leave it out")
    name, _, percent = text.partition("=")
    black = black_named(store, name.strip(), ladders if len(ladders) == 1 else ())
    share = USUAL
    if percent:
        try:
            share = float(percent.strip().removesuffix("%").replace(",", ".")) / 100
        except ValueError:
            share = math.nan
    if not LEAST_BLACK <= share <= MOST_BLACK:
        raise InputError(
            None,
            Field("shade", text),
            f"expected {100 * LEAST_BLACK:g} to {100 * MOST_BLACK:g} percent of black",
            f"leave the percent out, or say {black.nickname}=1",
        )
    return black, Shade(black.nickname, share)


def blacks_on_hand(store: Store) -> list[Paint]:
    """Tubes on hand that are black by their labels."""
    return [paint for paint in store.paints.all() if paint.on_hand and is_black(paint.pigments)]


def black_named(store: Store, name: str, others: Sequence[str]) -> Paint:
    """The tube that shades are to be let down with.

    Raises
    ------
    InputError
        For a white, a paint that no theory here holds for, or the very paint that is let down.
    """
    black = store.paints.find(name)
    check_tubes(store, [black])
    if is_white(black.pigments):
        raise InputError(None, black.nickname, "a white makes no shades", "name a black")
    if black.nickname in others:
        raise InputError(None, black.nickname, "it makes no shades of itself", "name another black")
    return black


def keep_printed(
    store: Store, plan: CardPlan, layout: Layout, words: Sequence[TubeWords], face: Face = str
) -> Printed:
    """Print a card as planned and its weighing sheet, and keep it: all, or nothing.

    Raises
    ------
    InputError
        Where a card of its name is there already, or files can't be written.
    """
    if plan.measure.unit_ml is not None:
        note = f"{BY_VOLUME}: {plan.measure.name}"
        plan = replace(plan, card=replace(plan.card, note=note))
    name = plan.card.name
    text_file = store.studio.folder / FOLDER / f"{name}.toml"
    text = card_text(plan.card, [PRINTED])
    card = parse_card(text, str(text_file), [paint.nickname for paint in store.paints.all()])
    card_file, sheet_file = (text_file.with_name(f"{name}{end}.pdf") for end in ("", "-weighing"))
    with store.transaction():
        _check_new(store, card, text_file)
        store.cards.add(card, text)
        number = card_number(store, name)
        write_whole(
            {
                card_file: print_card(layout, card, number),
                sheet_file: print_sheet(plan, layout, words, number, face),
                text_file: text.encode(),
            }
        )
    used = used_words(plan, words)
    before = waiting(store, card)
    return Printed(number, plan, layout, card_file, sheet_file, text_file, used, before)


def check_tubes(store: Store, tubes: Sequence[Paint]) -> None:
    """Refuse tubes that are named twice, or that no theory here holds for.

    Raises
    ------
    InputError
        Where there is one.
    """
    known = store.paints.tubes()
    names = [tube.nickname for tube in tubes]
    for i, tube in enumerate(tubes):
        if tube.nickname in names[:i]:
            raise InputError(None, tube.nickname, "that tube is named twice", "name it once")
        if (why := known[tube.nickname].refuse) is not None:
            raise InputError(None, tube.nickname, why, "leave it out")


def white_for(store: Store, wanted: str | None, tubes: Sequence[Paint]) -> Paint:
    """The white of the ladders: as said, else the one there is, else the one on earlier cards."""
    if wanted is not None:
        return store.paints.find(wanted)
    whites = [paint for paint in tubes if is_white(paint.pigments)]
    whites = whites or [paint for paint in store.paints.all() if is_white(paint.pigments)]
    whites = [paint for paint in whites if paint.on_hand] or whites
    used = {d.white for card in store.cards.all() for d in card.drawdowns}
    whites = [paint for paint in whites if paint.nickname in used] or whites
    if len(whites) == 1:
        return whites[0]
    names = [paint.nickname for paint in whites]
    found = f"there are {either(names)}" if whites else "there is none"
    raise InputError(
        None,
        Field("white"),
        f"expected one white to mix the tints with; {found}",
        StudioDo.SAY_WHITE() if whites else StudioDo.ADD_FIRST(),
    )


def _is_known(store: Store, white: str) -> bool:
    """Whether the white was fitted, or its own drawdown is on a card that was painted."""
    if white in store.fits.current():
        return True
    painted = [card for card in store.cards.all() if card.date is not None]
    return any(set(d.masses) == {white} and not d.taken_from for c in painted for d in c.drawdowns)


def name_for(store: Store, name: str | None, stem: str) -> str:
    """The name of a new card: as asked, else the first free one of a stem.

    Raises
    ------
    InputError
        For a name that makes no file.
    """
    if name is None:
        return _free_name(store, stem)
    if not re.fullmatch(r"[^\W_][\w -]{0,39}", name):
        raise InputError(
            None,
            Field("name"),
            f"expected up to 40 letters, digits, spaces, - and _, got {name!r}",
            "leave it out, and one is found",
        )
    return name


def _free_name(store: Store, stem: str) -> str:
    taken = {card.name.casefold() for card in store.cards.all()}
    number = 1
    while f"{stem}-{number}" in taken:
        number += 1
    return f"{stem}-{number}"


def _check_new(store: Store, card: Card, file: Path) -> None:
    if any(known.name.casefold() == card.name.casefold() for known in store.cards.all()):
        raise InputError(
            None, Field("name"), f"there is a card {card.name} already", "give another name"
        )
    if file.exists():
        raise InputError(
            file, None, "this file is there, but its card isn't in the studio", "move it away"
        )


def tube_words(paint: Paint, ladder: str) -> TubeWords:
    """What a weighing sheet says of a tube; see `TubeWords` for what ladder says."""
    lot = paint.current_lot
    price = None
    if lot is not None and lot.price and lot.size_ml:
        price = lot.price / (lot.size_ml * (lot.density or TYPICAL_DENSITY))
    return TubeWords(paint.nickname, paint.name, ladder, price, caution(paint.pigments))


def _words(paint: Paint, strength: Strength | None, wanted: WantedCard) -> TubeWords:
    if strength is None:
        return tube_words(paint, "")
    article = "an" if strength == "ordinary" else "a"
    why = f"suggested by {' '.join(paint.pigments)} on its label"
    if wanted.ladder is not None:
        why = "as you asked"
    elif all(pigment.casefold() == "unknown" for pigment in paint.pigments):
        why = "as its label names no pigment"
    ladder = f": {article} {strength} ladder, {why}"
    if wanted.ratios:
        ladder = ": the tints that you named"
    return tube_words(paint, ladder)
