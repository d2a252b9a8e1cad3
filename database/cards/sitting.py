"""Sits down at an instrument with a card: the way over it, the sitting, and what comes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

from ...calibrate.cards.card import Card
from ...calibrate.cards.layout import read_layout
from ...calibrate.errors import InputError
from ...calibrate.formats.session import Session
from ...calibrate.instrument.corrections_record import in_words
from ...calibrate.instrument.estimate.odd_tiles import odd_alone
from ...calibrate.instrument.instrument import Instrument
from ...calibrate.instrument.line import Line
from ...calibrate.instrument.measure import measure
from ...calibrate.instrument.profile import Profile
from ...calibrate.instrument.questions import Answer, Question, Shown
from ...calibrate.instrument.sitting import Correcting
from ...calibrate.instrument.tiles import PREFIX, Tile, certified_at, tile_kind
from ...calibrate.instrument.walk import Stop, walk
from ...calibrate.optics.spectra import Array
from ...calibrate.optics.surface import notation
from ..store.sittings import Sitting
from ..store.store import Store
from .progress import dry_enough


@dataclass(frozen=True)
class Sat:
    """What a sitting came to.

    Attributes
    ----------
    session : int or None
        Made of it; None while it is open.
    words : str
        Why it is open.
    patches, read : int
        Patches of the card, and those read as often as they should be.
    readings, read_again : int
        Readings that count, and those kept besides because their patch was read again.
    doubts : tuple of (patch, words)
    corrections : tuple of str
        What was made of the readings of tiles, stage by stage.
    """

    card: str
    session: int | None
    words: str
    patches: int
    read: int
    readings: int
    read_again: int
    skipped: tuple[str, ...]
    doubts: tuple[tuple[str, str], ...]
    corrections: tuple[str, ...]


@contextmanager
def connected(profile: Profile, port: str) -> Iterator[Instrument]:
    """Open the line to an instrument for as long as this lasts.

    Raises
    ------
    InputError
        Where it can't be opened.
    """
    line = Line(port, profile.line)
    try:
        yield Instrument(profile, line)
    finally:
        line.close()


def way_over(card: Card) -> tuple[Stop, ...]:
    """Return the patches of a card in the order in which they are read."""
    try:
        layout = None if card.layout is None else read_layout(card.layout)
        return walk(card, layout)
    except InputError:
        # A layout that has gone, or that the card has outgrown, is no reason not to read it.
        return walk(card, None)


def _drying(card: Card) -> list[str]:
    dry = dry_enough(card)
    if dry is None or date.today() >= dry:
        return []
    return [f"It was painted on {card.date}: expect it to be dry from about {dry}, not before."]


def _others(tiles: Session | None) -> list[str]:
    """Places of the certified tiles that aren't the white one or the trap."""
    names = [] if tiles is None else [label.removeprefix(PREFIX) for label in tiles.spectra.labels]
    return [f"{PREFIX}{name}" for name in names if tile_kind(name) in ("grey", "colour")]


def sit(
    store: Store,
    sitting: Sitting,
    instrument: Instrument,
    ask: Callable[[Question], Answer],
    show: Callable[[Shown], None] = lambda _: None,
    tell: Callable[[str], None] = lambda _: None,
    tiles: Session | None = None,
    tiles_are_clean: bool = False,
) -> Sat:
    """Begin a sitting, or go on with it; once every patch is read, a session is made of it.

    Parameters
    ----------
    ask, show, tell : callable
        See `tintladder.calibrate.instrument.measure.measure`.
    tiles : Session, optional
        Certified values of the tiles, one row each.
    tiles_are_clean : bool
        Whether tiles at odds with them were looked at, and are clean and right.
    """
    profile, certified = sitting.profile, dict[str, Tile]()
    if tiles is not None:
        # Better said now than when the whole card is read.
        seen_at = notation(profile.geometry, profile.specular)
        certified.update(Correcting(tiles).tiles(seen_at, f"card {sitting.card}"))
        for tile in certified.values():
            certified_at(tile, profile.wavelengths, tiles.file)

    def odd(place: str, values: Array) -> str | None:
        name, earlier = (
            place.removeprefix(PREFIX),
            store.sittings.earlier_tiles(sitting, instrument.identity),
        )
        found = odd_alone(name, values, profile.wavelengths, certified.get(name), earlier)
        return None if found is None else found.words

    card, progress = store.cards.find(sitting.card), store.sittings.progress(sitting)
    stops = way_over(card)
    if progress.readings:
        # A sitting is of one instrument: another is refused.
        instrument.identity = store.sittings.instrument(sitting)
        read = sum(progress.is_done(stop.patch) for stop in stops)
        tell(f"Going on with card {card.name}: {read} of {len(stops)} patches are read.")
    ended = measure(
        instrument,
        card,
        stops,
        progress,
        notes=_drying(card),
        tiles=_others(tiles),
        odd=odd,
        ask=ask,
        on_reading=lambda r: store.sittings.keep(sitting, r, instrument.identity),
        on_skip=lambda patch: store.sittings.skip(sitting, patch),
        show=show,
        tell=tell,
    )
    number, corrections = None, None
    if ended.finished:
        number, made = store.sittings.finish(
            sitting, instrument.identity, ended.wet, tiles, tiles_are_clean
        )
        corrections = made.corrections
    counting = [r for place in progress.places() for r in progress.counting(place)]
    return Sat(
        card=card.name,
        session=number,
        words=ended.words,
        patches=len(stops),
        read=sum(progress.is_done(stop.patch) for stop in stops),
        readings=len(counting),
        read_again=len(progress.read_again()),
        skipped=tuple(stop.patch for stop in stops if stop.patch in progress.skipped),
        doubts=tuple((r.place, r.said["doubt"]) for r in counting if "doubt" in r.said),
        corrections=in_words(corrections),
    )
