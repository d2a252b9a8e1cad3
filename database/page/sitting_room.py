"""Where a sitting at the instrument goes on: a thread that asks, answered from the page.

A sitting owns a line, so a server has one at a time. What was read is in the studio before the next
question is put; so whatever ends a sitting, it can be gone on with. The line is let go when it
ends: once every patch is read, at "stop here", when the server stops, and when nobody has answered
for `LEFT_ALONE_S`.
"""

from __future__ import annotations

import secrets
import sys
import threading
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from ...calibrate.cards.card import Card
from ...calibrate.errors import InputError
from ...calibrate.formats.session import Session
from ...calibrate.instrument.instrument import Instrument
from ...calibrate.instrument.progress import Progress
from ...calibrate.instrument.questions import Answer, Question, Shown
from ...calibrate.optics.spectra import Array
from ..cards.sitting import Sat, sit
from ..cards.sitting_words import told_words
from ..store.sittings import Sitting
from ..store.store import Store
from .asked import Changed
from .remedies import on_page

LEFT_ALONE_S = 1800.0
"""After as long the tile is due again on most instruments, so going on later costs nothing more."""
_LEAVE_S = 5.0
"""How long a server that stops waits for the line to be let go."""


@dataclass(frozen=True)
class Standing:
    """How a sitting stands; taken whole, so that a page never shows halves of two.

    Attributes
    ----------
    seen : str
        What an answer names, so that it can't be taken for that to another question.
    card : Card or None
        None while everything is got ready.
    wavelengths : (W,) array or None
        Of the readings.
    rehearsed : bool
        Whether instrument and readings are made up.
    question : Question or None
        None while the instrument works.
    progress : Progress
        What was read and kept.
    last : Shown or None
        The last reading.
    told : tuple of str
        What was said since the last answer.
    leaving : bool
        Whether it ends at the next chance.
    sat : Sat or None
        What it came to.
    why : str
        Why it ended early.
    """

    seen: str
    card: Card | None = None
    wavelengths: Array | None = None
    rehearsed: bool = False
    question: Question | None = None
    progress: Progress = field(default_factory=lambda: Progress(1))
    last: Shown | None = None
    told: tuple[str, ...] = ()
    leaving: bool = False
    ended: bool = False
    sat: Sat | None = None
    why: str = ""

    @property
    def stamp(self) -> str:
        """Changes with everything that a page shows."""
        state = "ended" if self.ended else "asks" if self.question else "works"
        return f"{self.seen}-{state}-{len(self.told)}-{self.leaving:d}"


class Passed(Changed):
    """An answer to a question that isn't asked any more."""

    def __init__(self) -> None:
        InputError.__init__(
            self, None, None, "that was answered in another window, or the sitting has ended",
            "nothing was done for it; see what is asked now",
        )  # fmt: skip


class Taken(Changed):
    """A sitting where another goes on."""

    def __init__(self, number: int) -> None:
        InputError.__init__(
            self, None, None, f"a sitting with card {number} goes on here already",
            "one instrument at a time: stop that one first, what it read is kept",
        )  # fmt: skip


class Seat:
    """One sitting; its thread asks, any other answers.

    Parameters
    ----------
    number : int
        Of the card, in its address.
    """

    def __init__(self, number: int) -> None:
        self.number = number
        self.failed: InputError | None = None
        """Why it couldn't begin."""
        self._token = secrets.token_hex(4)
        self._asked = 0
        self._answer: Answer | None = None
        self._standing = Standing(f"{self._token}-0")
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None

    @property
    def standing(self) -> Standing:
        """How it stands now."""
        return self._standing

    def start(self, work: Callable[[Seat], Sat]) -> None:
        """Begin in a thread of its own; return once something is asked or it has ended."""
        self._thread = threading.Thread(target=self._run, args=(work,), name="sitting", daemon=True)
        self._thread.start()
        self.settled(None)

    def settled(self, patience_s: float | None) -> None:
        """Wait until something is asked or it has ended, but not longer than that."""
        with self._changed:
            self._changed.wait_for(
                lambda: self._standing.question is not None or self._standing.ended, patience_s
            )

    def answer(self, seen: str, answer: str) -> None:
        """Answer what is asked. To stop is also answered while the instrument works.

        Raises
        ------
        Passed
            Where something else is asked by now, or nothing.
        """
        with self._changed:
            now = self._standing
            asked: Sequence[Answer] = now.question.answers if now.question else ()
            if now.ended or seen != now.seen or answer not in (*asked, "stop"):
                raise Passed
            if answer == "stop":
                self._change(leaving=True, question=None)
            else:
                self._answer = next(each for each in asked if each == answer)
                self._change(question=None, told=())

    def leave(self, patience_s: float) -> None:
        """End at the next chance, and wait for it."""
        with self._changed:
            self._change(leaving=True, question=None)
        if self._thread is not None:
            self._thread.join(patience_s)

    def sit(
        self,
        store: Store,
        sitting: Sitting,
        instrument: Instrument,
        tiles: Session | None,
        answered: Callable[[Question, Answer], None] | None = None,
    ) -> Sat:
        """Sit down, within the seat's thread; see `tintladder.database.cards.sitting.sit`.

        `answered`, told each question and its answer, lays an instrument that isn't there.
        """
        self._change(
            card=store.cards.find(sitting.card), wavelengths=sitting.profile.wavelengths,
            rehearsed=answered is not None,
        )  # fmt: skip

        def ask(question: Question) -> Answer:
            answer = self._ask(question, store.sittings.progress(sitting))
            if answered is not None:
                answered(question, answer)
            return answer

        return sit(store, sitting, instrument, ask, self._show, self._tell, tiles)

    def _ask(self, question: Question, progress: Progress) -> Answer:
        with self._changed:
            if self._standing.leaving:
                return "stop"
            self._asked += 1
            self._answer = None
            self._change(seen=f"{self._token}-{self._asked}", question=question, progress=progress)
            came = self._changed.wait_for(
                lambda: self._answer is not None or self._standing.leaving, LEFT_ALONE_S
            )
            if not came:
                minutes = f"{LEFT_ALONE_S / 60:.0f} minutes"
                self._change(question=None, why=f"nobody answered for {minutes}")
            return self._answer or "stop"

    def _show(self, shown: Shown) -> None:
        self._change(last=shown)

    def _tell(self, words: str) -> None:
        self._change(told=(*self._standing.told, told_words(words)))

    def _change(self, **what: object) -> None:
        with self._changed:
            self._standing = replace(self._standing, **what)  # type: ignore[arg-type]
            self._changed.notify_all()

    def _run(self, work: Callable[[Seat], Sat]) -> None:
        sat, why = None, ""
        try:
            sat = work(self)
            why = self._standing.why or sat.words
        except InputError as error:
            why = on_page(error)
            if not self._asked:
                self.failed = error
        except Exception as error:
            traceback.print_exc(file=sys.stderr)
            said = " ".join(f"{type(error).__name__}: {error}".split())
            why = f"our fault, not yours ({said}); what was read is kept"
        self._change(ended=True, question=None, sat=sat, why=why)


class Room:
    """The one seat of a server."""

    def __init__(self) -> None:
        self.seat: Seat | None = None
        """Who sits there, or sat there last."""
        self._lock = threading.Lock()

    @property
    def stamp(self) -> str:
        """Changes with everything that a page shows."""
        return "" if self.seat is None else self.seat.standing.stamp

    @property
    def taken(self) -> Seat | None:
        """The sitting that goes on."""
        return None if self.seat is None or self.seat.standing.ended else self.seat

    def begin(self, number: int, work: Callable[[Seat], Sat]) -> None:
        """Sit down with a card; return once something is asked.

        Raises
        ------
        Taken
            Where another sitting goes on.
        InputError
            Where this one can't begin.
        """
        with self._lock:
            if (there := self.taken) is not None:
                raise Taken(there.number)
            seat = self.seat = Seat(number)
        seat.start(work)
        if seat.failed is not None:
            self.seat = None
            raise seat.failed

    def close(self) -> None:
        """Let go of the line."""
        if (seat := self.taken) is not None:
            seat.leave(_LEAVE_S)
