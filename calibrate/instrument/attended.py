"""An instrument with somebody beside it: they are asked whatever it can't settle by itself."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any, TypeVar

import numpy as np

from ..optics.spectra import Array
from .doubts import colours, spread
from .faults import Fault, Lost, Refused
from .instrument import Instrument
from .progress import Progress, RawReading
from .questions import Answer, Question, Shown

REPLUG_S = 5.0
"""How long a lost port is looked for before anybody is asked."""
_LOOK_S = 0.05
T = TypeVar("T")


class Stopped(Exception):
    """Whoever sits there wants to stop."""


def now() -> str:
    """Return the time in UTC, ISO 8601, to the millisecond."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"


@dataclass
class Attended:
    """An instrument, who is asked, and who keeps what it reads.

    Attributes
    ----------
    asks : callable
        Returns one of a question's answers.
    on_reading, on_skip : callable
        Keep a reading, or a patch passed over, and return once it is kept.
    show, tell : callable
        Show a reading that is kept; say what goes on.
    clock, wait : callable
        Time, s.
    lost : bool
        Whether the port was lost, and its calibration may have gone with it.
    """

    instrument: Instrument
    progress: Progress
    asks: Callable[[Question], Answer]
    on_reading: Callable[[RawReading], None]
    on_skip: Callable[[str], None]
    show: Callable[[Shown], None]
    tell: Callable[[str], None]
    clock: Callable[[], float] = time.monotonic
    wait: Callable[[float], None] = time.sleep
    lost: bool = field(default=False, init=False)

    def ask(self, question: Question) -> Answer:
        """Ask; raises `Stopped` where the answer is to stop."""
        if question.place and self.instrument.profile.by_button:
            self.instrument.listen()
        answer = self.asks(question)
        if answer == "stop":
            raise Stopped("stopped")
        return answer

    def begin(self) -> None:
        """Make the instrument ready."""
        self.steadily(self.instrument.begin, "", "no answer")

    def take(self, place: str) -> Array | None:
        """Read what lies under the instrument; None where that was given up for now.

        Raises
        ------
        Refused
            Where it wants its tile or trap first.
        """
        return self.steadily(self.instrument.measure, place, "no reading")

    def steadily(self, act: Callable[[], T], place: str, what: str) -> T | None:
        """Have the instrument do something, and ask where it fails; None where it is skipped.

        Parameters
        ----------
        act : callable
            What to have it do.
        place : str
            Where it stands, in words.
        what : str
            What fails, in words.

        Returns
        -------
        T or None

        Raises
        ------
        Refused
            Where it wants its tile or trap first.
        """
        while True:
            try:
                return act()
            except Lost as lost:
                self._find_again(lost)
            except Fault as fault:
                if isinstance(fault, Refused) and fault.due is not None:
                    raise
                answers: tuple[Answer, ...] = ("again", "skip", "stop")
                if not place:
                    answers = ("again", "stop")
                if self.ask(Question("fault", place, f"{what}: {fault}", answers)) == "skip":
                    return None

    def _find_again(self, lost: Lost) -> None:
        self.tell(f"{lost}; looking for it")
        self.lost = True
        until = self.clock() + REPLUG_S
        while True:
            if self.instrument.line.reopen():
                try:
                    self.instrument.begin()
                    return
                except Lost:
                    continue
                except Fault as fault:
                    self.ask(Question("fault", "", f"no answer: {fault}", ("again", "stop")))
            elif self.clock() > until:
                self.ask(Question("lost", "", str(lost), ("again", "stop")))
                until = self.clock() + REPLUG_S
            self.wait(_LOOK_S)

    def keep(self, reading: RawReading, rows: Array | None = None) -> None:
        """Have a reading kept, then show it.

        Parameters
        ----------
        reading : RawReading
        rows : (N, W) array, optional
            Every reading of its place that counts, this one too.
        """
        pieces = [str(piece) for piece in self.instrument.line.dialogue.take()]
        if pieces:
            reading = replace(reading, said={**reading.said, "dialogue": pieces})
        self.on_reading(reading)
        self.progress.add(reading)
        wavelengths = self.instrument.profile.wavelengths
        apart = spread(rows, wavelengths) if rows is not None and len(rows) > 1 else None
        self.show(Shown(reading, colours(np.atleast_2d(reading.values), wavelengths)[0], apart))

    def said(self) -> dict[str, Any]:
        """What the instrument said of its last reading, beside its values."""
        instrument, said = self.instrument, dict[str, Any]()
        if instrument.remarks:
            said["suffers"] = "; ".join(instrument.remarks)
            self.tell(f"The instrument says: {said['suffers']}.")
        if instrument.full_scale.any():
            nm = instrument.profile.wavelengths[instrument.full_scale]
            said["full_scale"] = nm.tolist()
            self.tell(f"It was at full scale from {nm.min():g} to {nm.max():g} nm: no value there.")
        return said

    def skip(self, patch: str) -> None:
        """Pass a patch over."""
        self.on_skip(patch)
        self.progress.skipped.add(patch)
