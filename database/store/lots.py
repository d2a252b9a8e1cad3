"""Which tube of a paint a card was painted from, and which cards a fit may therefore take."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Generic, Protocol, TypeVar

from ...calibrate.cards.card import Card
from ...calibrate.errors import InputError
from ..common.remedies import StudioDo
from . import schema


class OfCard(Protocol):
    """What was read or scanned of a card."""

    @property
    def card(self) -> Card:
        """That card."""
        ...


Read = TypeVar("Read", bound=OfCard)


@dataclass(frozen=True)
class OfOneLot(Generic[Read]):
    """Readings of cards that were painted from one tube of each paint.

    Attributes
    ----------
    readings : list of OfCard
    lots : mapping of nickname to Lot
        That tube, where any is known.
    left_out : mapping of card to str
        Cards of another tube, and why they don't count.
    """

    readings: list[Read]
    lots: Mapping[str, schema.Lot]
    left_out: Mapping[str, str]


def lot_painted(paint: schema.Paint, card: Card) -> schema.Lot | None:
    """Return the tube that a card was painted from: as the card says, else the one in use then.

    Raises
    ------
    InputError
        Where the card names two, or one that isn't known, or was painted before the tube in use
        was opened and doesn't say from which.
    """
    named = {d.lots[paint.nickname] for d in card.drawdowns if d.lots.get(paint.nickname)}
    where = f"lots.{paint.nickname}"
    if len(named) > 1:
        raise InputError(
            card.file, where, f"names {' and '.join(sorted(named))}",
            "a fit is of one tube: give each tube a card, or a nickname, of its own",
        )  # fmt: skip
    for name in named:
        lots = {lot.lot: lot for lot in paint.lots}
        # A tube added without its lot is the one that the card names.
        found = lots.get(name, lots.get("") if len(lots) == 1 else None)
        if found is None and lots:
            raise InputError(
                card.file, where, f"the studio has no lot {name} of {paint.nickname}",
                StudioDo.ADD_LOT(name=paint.name, maker=paint.maker, lot=name),
            )  # fmt: skip
        return found
    used = paint.current_lot
    if used is None or len(paint.lots) == 1 or card.date is None or used.opened is None:
        return used
    if date.fromisoformat(card.date[:10]) < used.opened:
        raise InputError(
            card.file,
            where,
            f"card {card.name} was painted on {card.date[:10]}, before the tube in use, lot "
            f"{used.lot}, was opened ({used.opened}), and doesn't say from which",
            f'write lots = {{{paint.nickname} = "..."}} in the card and read it again',
        )
    return used


def of_one_lot(
    paints: Sequence[schema.Paint], readings: Sequence[Read], wanted: Collection[str] = ()
) -> OfOneLot[Read]:
    """Keep the cards of one tube of each paint: of the one in use, else of the one opened last.

    Parameters
    ----------
    readings : sequence of OfCard
    wanted : collection of str
        Paints whose tube in use is to be fitted, and no other.

    Raises
    ------
    InputError
        See `lot_painted`; and where no card of a wanted paint is of the tube in use.
    """
    lots, left_out = dict[str, schema.Lot](), dict[str, str]()
    cards = defaultdict[str, list[Card]](list)
    for read in readings:
        for nickname in dict.fromkeys(d.paint for d in read.card.drawdowns if d.paint):
            cards[nickname].append(read.card)
    for paint in paints:
        # Beside another's ladder a white of a new tube passes for the old one.
        own = [card for card in cards[paint.nickname] if card.name not in left_out]
        of = {card.name: lot for card in own if (lot := lot_painted(paint, card)) is not None}
        if not of:
            continue
        used = paint.current_lot
        ids = {lot.id for lot in of.values()}
        if used is not None and used.id in ids:
            lot = used
        elif used is not None and used.on_hand and paint.nickname in wanted:
            raise _of_another(paint, used, of)
        else:
            lot = max(of.values(), key=lambda lot: (lot.opened or date.min, lot.id))
        lots[paint.nickname] = lot
        others = {card: other for card, other in of.items() if other.id != lot.id}
        left_out |= {
            card: f"it is of lot {other.lot or '(unnamed)'} of {paint.nickname}, the fit of lot "
            f"{lot.lot or '(unnamed)'}; to keep both, give one a nickname of its own"
            for card, other in others.items()
        }
    kept = [read for read in readings if read.card.name not in left_out]
    return OfOneLot(kept, lots, left_out)


def _of_another(paint: schema.Paint, used: schema.Lot, of: Mapping[str, schema.Lot]) -> InputError:
    card, lot = next(iter(of.items()))
    return InputError(
        None,
        paint.nickname,
        f"the tube in use is lot {used.lot or '(unnamed)'}, but card {card} was painted from lot "
        f"{lot.lot or '(unnamed)'}",
        "paint and read a card of the tube in use, or mend what the card says",
    )
