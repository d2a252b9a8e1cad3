"""Which mixture cards a fit learns from, and which judge it: never the same mixtures by one fit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from ...calibrate.cards.card import BARE
from ...calibrate.errors import Field, InputError
from ...calibrate.fit.problem.result import WithoutMixtures
from ...calibrate.fit.problem.settings import FitSettings
from ...calibrate.fit.uncertainty.check import Check, check_mixtures
from ..store import schema
from ..store.in_use import learnt_from
from ..store.lots import lot_painted
from ..store.readings import StoredReadings
from ..store.scans import StoredChannels
from ..store.store import Store
from .check_mixtures import teaches, why_not_judged

_Read = TypeVar("_Read", StoredReadings, StoredChannels)
ALL = "all"
"""In place of a card: every card of mixtures that can teach."""


@dataclass(frozen=True)
class Learning:
    """What a fit learns from mixtures.

    Attributes
    ----------
    taught : tuple of StoredReadings
        Of cards that teach.
    scanned : tuple of StoredChannels
        Scans of cards that teach, which no instrument read.
    not_learnt : mapping of card to words
        Cards that were to teach and can't, and why.
    """

    taught: tuple[StoredReadings, ...] = ()
    scanned: tuple[StoredChannels, ...] = ()
    not_learnt: Mapping[str, str] | None = None

    @property
    def cards(self) -> tuple[str, ...]:
        """Names of the cards that teach."""
        cards = [each.card for each in self.taught] + [each.card for each in self.scanned]
        return tuple(dict.fromkeys(card.name for card in cards))


def to_learn(
    store: Store,
    asked: Sequence[str],
    ladders: Sequence[StoredReadings],
    lots: Mapping[str, schema.Lot],
    new: Sequence[str] = (),
) -> Learning:
    """Find the mixtures that a fit is to learn from.

    Parameters
    ----------
    asked : sequence of str
        Cards by name or number, or `ALL`. What no device at hand can judge teaches unasked: it was
        scanned by devices that were shown no target.
    ladders : sequence of StoredReadings
        That the fit takes.
    lots : mapping of nickname to Lot
        The tube of each paint that they were painted from.
    new : sequence of str
        New tubes; the other paints are known. None: all paints are fitted.

    Raises
    ------
    InputError
        For a card that isn't there, holds no mixtures, or can't teach; where no card can, too.
    """
    teaching = _scans_that_teach(store)
    blind = [name for name, scans in teaching.items() if not any(_judges(store, s) for s in scans)]
    if not asked:
        return Learning(scanned=_as_taught(teaching, blind))
    read = store.readings.all("check")
    measured = {each.card.name: each for each in read}
    names = [*measured, *teaching] if ALL in asked else [_named(store, text) for text in asked]
    by_scan = [name for name in names if name in teaching]
    names = [name for name in names if name not in teaching]
    told = set(new) | ({p for r in ladders for p in r.card.paints} if not new else set())
    held = told | (set(store.fits.current()) if new else set())
    films = any(not d.opaque for r in ladders for d in r.card.drawdowns)
    paints, why_not = {paint.nickname: paint for paint in store.paints.all()}, dict[str, str]()
    for name in dict.fromkeys(names):
        if (why := _why_not(measured.get(name), told, held, films, paints, lots)) is not None:
            why_not[name] = why
    taught = [r for r in read if r.card.name in set(names) - set(why_not)]
    if why_not and ALL not in asked:
        name, why = next(iter(why_not.items()))
        raise InputError(None, Field("learn", name), why, "let it judge, or learn from another")
    if not taught and not by_scan:
        raise InputError(
            None, Field("learn"), "no card of mixtures can teach", "read one that an instrument can"
        )
    scanned = _as_taught(teaching, [*by_scan, *blind])
    return Learning(tuple(as_taught(each) for each in taught), scanned, why_not)


def _scans_that_teach(store: Store) -> dict[str, list[StoredChannels]]:
    """Scans of mixtures of paints with a ladder, by card, where no instrument read it.

    Their device's channels have to be sums of light; what they are sums of may be unknown.
    """
    if not (scans := store.scans.all("check")):
        return {}
    measured = store.readings.cards("check")
    told = {paint for scan in store.scans.all("fit") for paint in scan.card.paints}
    told |= set(store.fits.current())
    found: dict[str, list[StoredChannels]] = {}
    for scan in scans:
        if scan.card.name in measured or not told.issuperset(scan.card.paints):
            continue
        if teaches(store, scan):
            found.setdefault(scan.card.name, []).append(scan)
    return found


def _judges(store: Store, scan: StoredChannels) -> bool:
    """Whether its device is known well enough to judge mixtures."""
    return why_not_judged(store, scan) is None


def _as_taught(
    teaching: Mapping[str, Sequence[StoredChannels]], names: Iterable[str]
) -> tuple[StoredChannels, ...]:
    return tuple(as_taught(scan) for name in dict.fromkeys(names) for scan in teaching[name])


def taught_before(store: Store) -> list[str]:
    """Return the names of the cards whose mixtures the fits in use learnt from."""
    with store.snapshot() as session:
        return learnt_from(session)


def as_taught(readings: _Read) -> _Read:
    """The same mixtures, for a fit to learn from."""
    return replace(readings, card=replace(readings.card, purpose="learn"))


def _named(store: Store, text: str) -> str:
    card = store.cards.find(text)
    if card.purpose != "check":
        raise InputError(
            None, Field("learn", text), "it holds a ladder, and every fit learns from that",
            "name a card of mixtures",
        )  # fmt: skip
    return card.name


def _why_not(
    readings: StoredReadings | None,
    told: set[str],
    held: set[str],
    films: bool,
    paints: Mapping[str, schema.Paint],
    lots: Mapping[str, schema.Lot],
) -> str | None:
    """Why a card can't teach this fit; None where it can."""
    if readings is None:
        return "no instrument has read it, nor a scanner that can teach"
    card = readings.card
    if not told & set(card.paints):
        return "it holds none of the paints that are fitted"
    if strange := [paint for paint in card.paints if paint not in held]:
        return f"{strange[0]} has no ladder that the fit takes"
    if not films and any(not d.opaque for d in card.drawdowns):
        return "its films are thin, and all ladders were painted until they hid the card"
    for paint in card.paints:
        lot, fitted = lot_painted(paints[paint], card), lots.get(paint)
        if lot is not None and fitted is not None and lot.id != fitted.id:
            return f"it was painted from another tube of {paint} than its ladder"
    return None


def judged_without(
    taught: Sequence[StoredReadings],
    fits: Iterable[WithoutMixtures],
    settings: FitSettings | None,
) -> list[Check]:
    """Predict each mixture that taught by the fit that left it out."""
    found = []
    for fit in fits:
        cards = []
        for each in taught:
            steps = {step for card, step in fit.left_out if card == each.card.name}
            steps.add(BARE)
            labels = each.spectra.labels
            rows = [i for i, label in enumerate(labels) if label.rpartition("/")[0] in steps]
            judging = replace(each.card, purpose="check")
            cards.append(replace(each, card=judging, spectra=each.spectra.select(rows)))
        found.append(check_mixtures(fit.coefficients, cards, settings))
    return [check for check in found if not check.patches.empty]
