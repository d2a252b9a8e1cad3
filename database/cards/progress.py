"""How far each card of a studio has come: printed, painted, dry, read, fitted."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from ...calibrate.cards.card import Card
from ...calibrate.cards.measure import CardMeasure, measure_of
from ...calibrate.cards.weighing_out import WET_DENSITY
from ...calibrate.errors import InputError, Sentence
from ..common.remedies import StudioDo
from ..store import schema
from ..store.imports import Undone
from ..store.store import Store

PRINTED = "Printed by tintladder: the grams are those printed, until it is said what was weighed."
"""First comment of a card's text that was printed here."""
_PRINTED = re.compile(r"# Printed by tintladder\b")
"""How the text of a card printed here begins, by an earlier tintladder too."""
BY_VOLUME = "measured by volume"
"""How the note of a card printed here begins that isn't weighed."""
QUARTER_SPOONS = f"{BY_VOLUME}: level quarter teaspoons (1.25 ml)"
"""The note of a card of an earlier tintladder, which called a quarter of a spoon a spoon."""
OUTDATED = "it was corrected after the fit that rests on it: "
THICK_UM = 150.0
"""Gap of an applicator above which a film needs longer than overnight (common practice)."""


@dataclass(frozen=True)
class CardProgress:
    """How far a card has come.

    Attributes
    ----------
    number : int
        Of the card in the studio.
    purpose : {"fit", "check"}
    printed, painted, dry_from : date or None
        Where it isn't known, or hasn't happened. Dry enough "from about" then.
    read : tuple of date
        A day for each session of dry readings, and each scan.
    wet : int
        Sessions of wet paint.
    early : bool
        Whether a session of dry readings is from before it was dry enough.
    as_printed : bool
        Whether nothing was said yet of what was really weighed.
    scans : int
        How many of those read are scans.
    fitted : bool
        Whether a fit in use rests on it as it is now; of a check card, whether it judged one.
    outdated : bool
        Whether a fit in use rests on it as it was before it was corrected.
    """

    number: int
    name: str
    purpose: str
    layout: str | None
    paints: tuple[str, ...]
    printed: date | None
    painted: date | None
    dry_from: date | None
    read: tuple[date, ...]
    wet: int
    early: bool
    as_printed: bool
    scans: int
    fitted: bool
    outdated: bool = False

    @property
    def remarks(self) -> tuple[str | Sentence, ...]:
        """What should be done, or known, about it."""
        said = list[str | Sentence]()
        if self.early:
            said.append(
                f"read before about {self.dry_from}, when it should be dry enough: "
                "read it again once no fingertip drags"
            )
        if self.read and self.as_printed:
            said.append(
                Sentence(
                    "read, but nothing was said of its grams: ", StudioDo.SAY_GRAMS(card=self.name)
                )
            )
        if self.wet:
            said.append("read wet too; no fit takes those readings")
        if self.outdated:
            said.append(Sentence(OUTDATED, StudioDo.FIT_AGAIN()))
        return tuple(said)


def printed_here(text: str) -> bool:
    """Whether the text of a card is that of one printed here."""
    return _PRINTED.match(text) is not None


def dry_enough(card: Card) -> date | None:
    """Return the day from about which a card is dry enough to read, None where no date was said.

    Overnight for thin coats and films, three days for thick films (common practice, no source).
    """
    if card.date is None:
        return None
    thick = any((d.gap_um or 0.0) > THICK_UM for d in card.drawdowns)
    return date.fromisoformat(card.date[:10]) + timedelta(days=3 if thick else 1)


def cards_progress(store: Store) -> list[CardProgress]:
    """How far every card has come, in the order of their numbers."""
    with store.snapshot() as session:
        undone = Undone.of(session)
        cards = {card.name: card for card in store.cards.all()}
        inputs = store.fits.inputs()
        holds = undone.newest_of_all(session)
        # What a fit in use took, and whether it took the card as it is now.
        fitted: dict[str, dict[int, bool]] = {"session": {}, "scan": {}}
        for kind, taken in fitted.items():
            for item in (item for said in inputs for item in said.get(f"{kind}s", ())):
                number, still = item[kind], item["card_version"] in holds
                taken[number] = still and taken.get(number, True)
        judged = store.fits.judging_cards()
        read: dict[int, list[_Read]] = {}
        for row in store.readings.times():
            if row.id not in undone.sessions:
                day = _day(row.date) or _day(row.added)
                used = fitted["session"].get(row.id)
                read.setdefault(row.card_id, []).append(_Read(day, row.state == "wet", False, used))
        for row in store.scans.times():
            if row.id not in undone.scans:
                day = _day(row.taken) or _day(row.added)
                used = fitted["scan"].get(row.id)
                read.setdefault(row.card_id, []).append(_Read(day, False, True, used))
        return [
            _progress(row, cards[row.name], read.get(row.id, []), row.id in judged)
            for row in store.cards.rows()
            if row.name in cards
        ]


@dataclass(frozen=True)
class _Read:
    """A time that a card was read: when, whether wet, and by a scan.

    `fitted`: whether for a fit in use; then whether the card is still as that took it.
    """

    day: date | None
    wet: bool
    scan: bool
    fitted: bool | None


def _progress(row: schema.Card, card: Card, read: list[_Read], judged: bool) -> CardProgress:
    ours = printed_here(row.versions[0].text)
    dry = dry_enough(card)
    # A file's own date tells when it was read; where it has none, it was not read later than added.
    days = tuple(sorted(r.day for r in read if r.day is not None and not r.wet))
    return CardProgress(
        number=row.id,
        name=card.name,
        purpose=card.purpose,
        layout=card.layout,
        paints=card.paints,
        printed=_day(row.versions[0].added) if ours else None,
        painted=None if card.date is None else date.fromisoformat(card.date[:10]),
        dry_from=dry,
        read=days,
        wet=sum(r.wet for r in read),
        early=dry is not None and any(day < dry for day in days),
        as_printed=ours and card.date is None,
        scans=sum(r.scan for r in read),
        fitted=judged if card.purpose == "check" else any(r.fitted for r in read),
        outdated=any(r.fitted is False for r in read),
    )


def _day(text: str | None) -> date | None:
    """The day of an ISO date or time; None for what isn't one."""
    try:
        return date.fromisoformat((text or "")[:10])
    except ValueError:
        return None


def card_number(store: Store, name: str) -> int:
    """Return the number of a card in the studio.

    Raises
    ------
    InputError
        Where there is none of that name.
    """
    return named_card(store, name)[0]


def printed_last(store: Store) -> Card | None:
    """The card that was printed here last, as it stands now; None before the first."""
    with store.snapshot():
        rows = reversed(store.cards.rows())
        names = (row.name for row in rows if printed_here(row.versions[0].text))
        known = {card.name: card for card in store.cards.all()}
        return next((known[name] for name in names if name in known), None)


def measure_before(store: Store) -> CardMeasure | None:
    """What the card printed last was measured with; None before the first."""
    card = printed_last(store)
    if card is None:
        return None
    resolution = card.balance_g * math.sqrt(6)
    known = [measure_of("spoons"), measure_of("syringe")]
    if card.note != QUARTER_SPOONS:
        known = [each for each in known if card.note == f"{BY_VOLUME}: {each.name}"]
    if not card.note.startswith(BY_VOLUME):
        known = [measure_of(f"{resolution:.{digits}g}") for digits in (1, 2)]
        known = [each for each in known if round(each.error_g(WET_DENSITY), 4) == card.balance_g]
    return next(iter(known), None)


def printed_on(store: Store, number: int) -> date:
    """The day, as the clock on the wall had it, on which a card came into the studio."""
    with store.snapshot() as session:
        added = session.get_one(schema.Card, number).versions[0].added
    return datetime.fromisoformat(added).astimezone().date()


def waiting(store: Store, card: Card) -> tuple[str, ...]:
    """Other cards of the same tubes, for a fit, that are printed and neither painted nor read."""
    return tuple(
        other.name
        for other in cards_progress(store)
        if other.as_printed
        and not (other.read or other.scans)
        and other.purpose == card.purpose == "fit"
        and other.name != card.name
        and set(other.paints) == set(card.paints)
    )


def named_card(store: Store, text: str) -> tuple[int, Card, str]:
    """Return the card meant by its name or number: its number, the card, its text.

    Raises
    ------
    InputError
        Where there is none, naming those there are.
    """
    wanted = text.strip()
    with store.snapshot():
        rows = store.cards.rows()
        found = [row for row in rows if row.name == wanted]
        found = found or [row for row in rows if row.name.casefold() == wanted.casefold()]
        found = found or [row for row in rows if str(row.id) == wanted]
        if not found:
            there = ", ".join(f"{row.id} {row.name}" for row in rows[-6:]) or "none yet"
            raise InputError(
                None,
                f"card {wanted}",
                f"there is no such card (cards: {there})",
                StudioDo.CARD_NAMED(),
            )
        row = found[0]
        return row.id, store.cards.find(row.name), row.versions[-1].text
