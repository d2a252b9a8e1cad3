"""A guided sitting: tile and trap when due, then patch by patch, each reading kept before the next.

It asks through one callback and hands each reading to another, which returns once it is kept. So
whatever ends the sitting, what was shown is there, and it goes on from there.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..cards.card import Card
from ..optics.spectra import Array
from .attended import Attended, Stopped, now
from .doubts import impossible, patch_doubts
from .estimate.jump_search import JumpSearch, change
from .faults import Refused
from .instrument import Instrument
from .progress import VOID, WHITE_TILE, Progress, RawReading
from .questions import Answer, Question, Shown
from .tile_visits import TileVisits
from .walk import Stop, direction


@dataclass(frozen=True)
class Ended:
    """How a sitting ended.

    Attributes
    ----------
    finished : bool
        Whether every patch was read, or is left out on purpose.
    wet : bool
        Whether the paint was said to be wet.
    words : str
        Why it ended, where it isn't finished.
    """

    finished: bool
    wet: bool = False
    words: str = ""


def measure(
    instrument: Instrument,
    card: Card,
    stops: Sequence[Stop],
    progress: Progress,
    *,
    notes: Sequence[str] = (),
    tiles: Sequence[str] = (),
    odd: Callable[[str, Array], str | None] = lambda *_: None,
    ask: Callable[[Question], Answer],
    on_reading: Callable[[RawReading], None],
    on_skip: Callable[[str], None] = lambda _: None,
    show: Callable[[Shown], None] = lambda _: None,
    tell: Callable[[str], None] = lambda _: None,
    clock: Callable[[], float] = time.monotonic,
    wait: Callable[[float], None] = time.sleep,
) -> Ended:
    """Read a card, or go on reading it.

    Parameters
    ----------
    instrument : Instrument
        Its line open.
    card : Card
    stops : sequence of Stop
        Its patches, in the order in which they are read.
    progress : Progress
        What was read so far; it is added to.
    notes : sequence of str
        What else is to be known before the first reading.
    tiles : sequence of str
        Further tiles than the white one and the trap, each read once.
    odd : callable, optional
        Says of a reading of a tile why it is at odds with its certificate or with earlier sittings.
    ask : callable
        Returns one of the question's answers.
    on_reading, on_skip : callable
        Keep a reading, or a patch passed over, and return once it is kept.
    show, tell : callable, optional
        Show a reading that is kept; say what goes on.
    clock, wait : callable, optional
        Time, s.

    Returns
    -------
    Ended
    """
    attended = Attended(instrument, progress, ask, on_reading, on_skip, show, tell, clock, wait)
    way = _Walk(attended, card, tuple(stops), TileVisits(attended, tiles, odd))
    try:
        wet = _ready(attended, notes)
        attended.begin()
        if instrument.identity.name:
            tell(f"{instrument.identity.name} answers.")
        way.go()
    except Stopped as stopped:
        return Ended(False, words=str(stopped))
    except KeyboardInterrupt:
        return Ended(False, words="stopped")
    return Ended(True, wet)


def _ready(attended: Attended, notes: Sequence[str]) -> bool:
    """Before anything is touched: the lamp, the paint. Returns whether the paint is wet."""
    profile = attended.instrument.profile
    words = ["Don't look into the instrument's lamp."]
    if profile.warm_up_minutes:
        words.append(f"Let it warm up: {profile.warm_up_minutes:g} minutes from switching on.")
    words.append(
        "Touch the thickest paint with a fingertip: it must be dry, neither drag nor take a mark."
        if profile.contact
        else "Wet paint may be read without touching it; such readings are kept, no fit takes them."
    )
    if profile.by_button:
        words.append(
            "It reads by its own button: answer here first, then press it, once each time."
        )
    words += notes
    answer = attended.ask(Question("ready", "", "\n".join(words), ("read", "wet", "stop")))
    if answer == "wet" and profile.contact:
        raise Stopped(
            "an instrument that touches the paint never goes on wet paint: it spoils both; "
            "come back when it is dry"
        )
    return answer == "wet"


class _Walk:
    """The way over the card."""

    def __init__(
        self, attended: Attended, card: Card, stops: Sequence[Stop], tiles: TileVisits
    ) -> None:
        self.attended, self.card, self.stops = attended, card, stops
        self.progress = attended.progress
        self.tiles = tiles
        self.here: int | None = None
        """Where the instrument read last, and on which other patch before that."""
        self.came_from: int | None = None

    def go(self) -> None:
        """Go all the way."""
        at = self.next_from(0)
        while at is not None or (at := self.skipped_after_all()) is not None:
            self.tiles.due()
            at = self.stop_at(at)
        self.tiles.close()
        self.place_jump()

    def place_jump(self) -> None:
        """Read patches again where the gain moved since the tile before, until it shows where."""
        stretch = self.progress.last_stretch()
        if stretch is None:
            return
        before, after, now_, patches = stretch
        search = JumpSearch(change(before, now_), change(after, now_), len(patches))
        while (place := search.patch) is not None:
            since = self.once_more(patches[place])
            if since is None:
                return
            search.told(since)

    def once_more(self, patch: str) -> float | None:
        """Log of the gain since a patch was read before; None where it isn't read again."""
        before = self.progress.mean(patch)
        at = next(i for i, stop in enumerate(self.stops) if stop.patch == patch)
        round_, repeat = self.progress.following(patch, anew=True)
        while before is not None:
            self.tiles.due()
            question = Question(
                "patch", patch, "the tile shows that the gain has moved: this patch tells where",
                ("read", "finish", "stop") if repeat == 1 else ("read", "stop"),
                move="" if repeat > 1 or self.here is None
                else direction(self.stops[self.here], self.stops[at]),
                repeat=repeat, repeats=self.progress.repeats,
                done=len(self.stops), patches=len(self.stops),
            )  # fmt: skip
            if self.attended.ask(question) == "finish":
                return None
            self.read(at, round_, repeat)
            if patch in self.progress.skipped:
                return None
            now_ = self.progress.mean(patch)
            if self.progress.is_done(patch) and now_ is not None:
                return change(before, now_)
            round_, repeat = self.progress.following(patch)
        return None

    def is_open(self, at: int) -> bool:
        patch = self.stops[at].patch
        return patch not in self.progress.skipped and not self.progress.is_done(patch)

    def next_from(self, start: int) -> int | None:
        """The first stop from there on, then from the beginning, that is still to be read."""
        order = (*range(start, len(self.stops)), *range(min(start, len(self.stops))))
        return next((at for at in order if self.is_open(at)), None)

    def skipped_after_all(self) -> int | None:
        """When all is read: the first of those skipped, where they are wanted after all."""
        skipped = [s.patch for s in self.stops if s.patch in self.progress.skipped]
        if not skipped:
            return None
        words = f"skipped: {', '.join(skipped)}"
        if self.attended.ask(Question("end", "", words, ("finish", "back", "stop"))) == "finish":
            return None
        self.progress.skipped.clear()
        return self.next_from(0)

    def stop_at(self, at: int) -> int | None:
        """Ask for one patch and read it once, or do what is wanted instead; where to go then."""
        stop, before = self.stops[at], None if self.here is None else self.stops[self.here]
        round_, repeat = self.progress.following(stop.patch)
        question = Question(
            "patch",
            stop.patch,
            "",
            ("read", "again", "skip", "back", "stop"),
            move="" if repeat > 1 else direction(before, stop),
            repeat=repeat,
            repeats=self.progress.repeats,
            done=sum(not self.is_open(i) for i in range(len(self.stops))),
            patches=len(self.stops),
        )
        answer = self.attended.ask(question)
        if answer == "skip":
            self.attended.skip(stop.patch)
            return self.next_from(at + 1)
        if answer == "back":
            return max(at - 1, 0)
        if answer == "again":
            # What was read last, which is this patch only after its first reading.
            at = at if repeat > 1 or self.here is None else self.here
            return self.read(at, *self.progress.following(self.stops[at].patch, anew=True))
        return self.read(at, round_, repeat)

    def read(self, at: int, round_: int, repeat: int) -> int | None:
        """Read a patch once; where to go then."""
        patch = self.stops[at].patch
        try:
            values = self.attended.take(patch)
        except Refused as refused:
            self.attended.tell(str(refused))
            self.tiles.wanted(refused.due or "white")
            return at
        if values is None:
            self.attended.skip(patch)
            return self.next_from(at + 1)
        if self.here != at:
            self.here, self.came_from = at, self.here
        earlier = [r.values for r in self.progress.counting(patch) if r.round == round_]
        rows = np.array([*earlier, values])
        void = impossible(values)
        doubts = [void] if void else self.doubts(at, rows)
        said: dict[str, Any] = self.attended.said()
        if doubts:
            said[VOID if void else "doubt"] = "; ".join(doubts)
        self.attended.keep(RawReading(patch, round_, repeat, now(), values, said), rows)
        if doubts:
            return self.doubted(at, "; ".join(doubts), bool(void))
        return at if len(rows) < self.progress.repeats else self.next_from(at + 1)

    def doubts(self, at: int, rows: np.ndarray) -> list[str]:
        """What looks wrong about a patch, once it was read as often as it should be."""
        if len(rows) < self.progress.repeats:
            return []
        patch = self.stops[at].patch
        others = {
            other: mean
            for other in self.progress.places()
            if other != patch and (mean := self.progress.mean(other)) is not None
        }
        before = None if self.came_from is None else self.stops[self.came_from].patch
        return patch_doubts(
            self.card,
            patch,
            rows,
            others,
            self.attended.instrument.profile.wavelengths,
            self.progress.mean(WHITE_TILE),
            before,
        )

    def doubted(self, at: int, words: str, void: bool) -> int | None:
        """Ask what to do about a reading that looks wrong; where to go then."""
        patch = self.stops[at].patch
        answers: tuple[Answer, ...] = ("keep", "again", "back", "stop")
        if void:
            answers = ("again", "skip", "stop")
        answer = self.attended.ask(Question("doubt", patch, words, answers))
        if answer == "again":
            return self.read(at, *self.progress.following(patch, anew=True))
        if answer == "skip":
            self.attended.skip(patch)
        return max(at - 1, 0) if answer == "back" else self.next_from(at + 1)
