"""Someone at an instrument without a line, for tests of guided sittings."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from tintladder.calibrate.instrument.emulator import tile_values
from tintladder.calibrate.instrument.instrument import Identity
from tintladder.calibrate.instrument.measure import Ended, measure
from tintladder.calibrate.instrument.progress import BLACK_TRAP, WHITE_TILE, Progress
from tintladder.calibrate.instrument.protocol.dialogue import Dialogue
from tintladder.calibrate.instrument.walk import walk

from .instruments import quick, scene
from .studio_fixtures import ladder

CARD = ladder()
STOPS = walk(CARD, None)
PATCHES = [stop.patch for stop in STOPS]
PROFILE = quick()


class Table:
    """An instrument without a line, and who sits at it: answers by a rule, and keeps what comes."""

    def __init__(self, answers: Callable | None = None, progress: Progress | None = None) -> None:
        self.profile, self.identity = PROFILE, Identity(model="Bench reader", serial="7")
        readings = scene(CARD)
        self.scene = {
            label: np.interp(PROFILE.wavelengths, readings.wavelengths, row)
            for label, row in zip(readings.labels, readings.values, strict=True)
        }
        self.scene |= {WHITE_TILE: tile_values(PROFILE.wavelengths), BLACK_TRAP: np.full(31, 4e-4)}
        self.answers = answers or (lambda question, n: question.answers[0])
        self.progress = progress or Progress(2)
        self.asked, self.kept, self.skipped, self.told = [], [], [], []
        self.calibrated, self.faults, self.now, self.under = [], [], 0.0, ""
        self.lamp, self.line = None, self
        self.remarks, self.full_scale = (), np.zeros(31, dtype=bool)
        self.dialogue = Dialogue()

    # The instrument

    def begin(self):
        return self.identity

    def reopen(self):
        return True

    def calibrate(self, kind):
        self.calibrated.append(kind)
        return True

    def lamp_hours(self):
        return self.lamp

    def measure(self):
        if self.faults:
            raise self.faults.pop(0)
        # Tiny, and never twice the same.
        return self.scene[self.under] + 1e-6 * len(self.kept)

    # Who sits there

    def ask(self, question):
        answer = self.answers(question, len(self.asked))
        self.asked.append((question.kind, question.place, answer))
        assert answer in question.answers
        if question.place and answer in ("read", "again"):
            self.under = question.place
        self.now += 5.0
        return answer

    def sit(self, **more) -> Ended:
        return measure(
            self,
            CARD,
            STOPS,
            self.progress,
            ask=self.ask,
            on_reading=self.kept.append,
            on_skip=self.skipped.append,
            tell=self.told.append,
            clock=lambda: self.now,
            wait=lambda _: None,
            **more,
        )

    def places(self, kind="patch"):
        return [place for asked, place, _ in self.asked if asked == kind]


def at(rules):
    """Answers by (kind, place), each rule used up by its first use; else the usual."""
    left = dict(rules)
    return lambda question, n: left.pop((question.kind, question.place), question.answers[0])


# The whole way
