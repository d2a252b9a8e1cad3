"""Where a studio stands, and what there is to do next."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np

from ...calibrate.fit.uncertainty.check import MOST_SCAN_ERROR
from ...calibrate.optics.coefficients import TWO_FLUX
from ...calibrate.optics.transport import TRANSPORT
from ..cards.progress import CardProgress, cards_progress
from ..mixing import model_choice
from ..store import schema
from ..store.in_use import checks_in_use, last_release, paint_fits
from ..store.store import Store
from .check_mixtures import told_by_scan
from .out_of_date import outdated_paints


@dataclass(frozen=True)
class Verdict:
    """How far a paint's fit in use may be trusted.

    Attributes
    ----------
    paint : str
        Nickname.
    fit : int
        That of two fluxes, by which fits in use are told from those published.
    out_of_date : str
        Why it no longer holds, such as "rests on a card that was corrected since"; else empty.
    miss, worst : float or None
        CIEDE2000 from its own patches of the fit that its mixes with its white are calculated by,
        as is all that is said here.
    """

    paint: str
    name: str
    fit: int
    verdict: str
    reasons: tuple[str, ...]
    miss: float | None
    worst: float | None
    out_of_date: str = ""

    @property
    def words(self) -> str:
        """The verdict, where it still holds."""
        return "out of date" if self.out_of_date else self.verdict


def verdicts(store: Store) -> list[Verdict]:
    """The verdict on each paint that has a fit, by nickname."""
    with store.snapshot() as session:
        beside, trial = store.fits.current(TRANSPORT), store.fits.trial()
        rows, old = paint_fits(session), outdated_paints(store)
        by_model = {(row.paint_id, row.model): row for row in rows}
        found = []
        for row in rows:
            if row.model == TWO_FLUX:
                model = model_choice.choose(row.beside, beside, trial)
                judged = by_model[row.paint_id, model]
                found.append(
                    Verdict(
                        row.paint.nickname, row.paint.name, row.fit_id, judged.verdict,
                        _reasons(judged), judged.de00_mean, judged.de00_max,
                        old.get(row.paint.nickname, ""),
                    )
                )  # fmt: skip
        return sorted(found, key=lambda verdict: verdict.paint.casefold())


def _reasons(row: schema.PaintFit) -> tuple[str, ...]:
    """Why a verdict is what it is, and whether another tube is in use than was read."""
    read, used = row.lot, row.paint.current_lot
    if read is None or used is None or not used.on_hand or read.id == used.id:
        return tuple(row.reasons)
    was, now = (lot.lot or "(unnamed)" for lot in (read, used))
    return (*(row.reasons or [row.verdict]), f"lot {was} of it was read, and lot {now} is in use")


@dataclass(frozen=True)
class Held:
    """How mixtures came out, each predicted by a fit that had not seen it.

    Attributes
    ----------
    mean, p95, worst : float
        CIEDE2000 of their patches.
    by_scan : list of str
        How far those that were scanned can be believed.
    """

    mixes: int
    mean: float
    p95: float
    worst: float
    by_scan: list[str]


def held_out(store: Store) -> Held | None:
    """Judge the fits in use by the mixtures that they were checked on; None without any."""
    with store.snapshot() as session:
        fits = set(store.fits.current(store.fits.model_for(store.fits.current())).values())
        judged = checks_in_use(session, fits)
        rows = [row for row in judged if (row.scan_error or 0.0) <= MOST_SCAN_ERROR]
        if not rows:
            return None
        off = np.array([row.de00 for row in rows])
        mixes = {(row.card_id, row.patch.rpartition("/")[0]) for row in rows}
        p95 = float(np.percentile(off, 95))
        by_scan = told_by_scan([row.scan_error for row in judged if row.scan_error is not None])
        return Held(len(mixes), float(off.mean()), p95, float(off.max()), by_scan)


class Do(Enum):
    """What can be done next; each face says how."""

    FIT = auto()
    PUBLISH = auto()
    MIX = auto()
    PLAN_CARD = auto()
    GO_ON_READING = auto()
    SAY_GRAMS = auto()
    READ_CARD = auto()


@dataclass(frozen=True)
class ToDo:
    """One thing that could be done now.

    Attributes
    ----------
    words : str
        Why.
    card : CardProgress or None
        With which card.
    tubes : tuple of str
        With which tubes, by nickname.
    """

    words: str
    do: Do
    card: CardProgress | None = None
    tubes: tuple[str, ...] = ()


@dataclass(frozen=True)
class StudioStanding:
    """Where a studio stands.

    Attributes
    ----------
    published : schema.Release or None
        The last release.
    todo : tuple of ToDo
        The nearest first.
    """

    tubes: tuple[schema.Paint, ...]
    cards: tuple[CardProgress, ...]
    fitted: tuple[Verdict, ...]
    published: schema.Release | None
    todo: tuple[ToDo, ...]


def studio_standing(store: Store) -> StudioStanding:
    """Say where a studio stands, and what there is to do next."""
    with store.snapshot() as session:
        last = last_release(session)
        tubes, cards, fitted = store.paints.all(), cards_progress(store), verdicts(store)
        sittings = {sitting.card for sitting in store.sittings.open()}
    todo = to_do(cards, fitted, tubes, last, sittings)
    return StudioStanding(tuple(tubes), tuple(cards), tuple(fitted), last, tuple(todo))


def to_do(
    cards: Sequence[CardProgress],
    fitted: Sequence[Verdict],
    tubes: Sequence[schema.Paint],
    published: schema.Release | None,
    sittings: Collection[str],
) -> list[ToDo]:
    """What there is to do, the nearest first; `sittings` are open ones, by their cards."""
    found = [todo for card in cards if (todo := _card(card, sittings)) is not None]
    there = {verdict.paint for verdict in fitted}
    if any(card.outdated for card in cards) or any(verdict.out_of_date for verdict in fitted):
        found.insert(0, ToDo("What fits rest on was changed since.", Do.FIT))
    elif any(waits(card, there) for card in cards):
        found.insert(0, ToDo("Cards were read that no fit rests on yet.", Do.FIT))
    latest = {p: said["fit"] for p, said in published.contents.items()} if published else {}
    if fitted and any(latest.get(v.paint) != v.fit for v in fitted):
        words = "Fits changed since the last release." if published else "Nothing is published yet."
        found.append(ToDo(words, Do.PUBLISH))
    if fitted:
        found.append(ToDo("Your fits can be mixed with.", Do.MIX))
    on_cards = {paint for card in cards for paint in card.paints}
    waiting = [tube.nickname for tube in tubes if tube.on_hand and tube.nickname not in on_cards]
    if waiting:
        few = ", ".join(waiting[:4]) + (" and more" if len(waiting) > 4 else "")
        found.append(ToDo(f"No card yet: {few}.", Do.PLAN_CARD, tubes=tuple(waiting)))
    return found


def waits(card: CardProgress, fitted: Collection[str]) -> bool:
    """Whether a card was read that a fit would take: no scan does for paints that have one."""
    more = card.scans < len(card.read) or not set(card.paints) <= set(fitted)
    return bool(card.read) and not card.fitted and card.purpose == "fit" and more


def _card(card: CardProgress, sittings: Collection[str]) -> ToDo | None:
    who = f"Card {card.number}, {card.name},"
    if card.name in sittings:
        return ToDo(f"{who} is half read at the instrument.", Do.GO_ON_READING, card)
    if card.as_printed:
        return ToDo(f"{who} is printed. Once it is painted:", Do.SAY_GRAMS, card)
    if not card.read and not card.wet:
        when = f" is dry enough from about {card.dry_from}" if card.dry_from else " can be read"
        return ToDo(f"{who}{when}.", Do.READ_CARD, card)
    return None
