"""Ten pretend instruments by profile alone, and a thousand random sequences of faults.

Instruments and manuals are those of `tests.pretend_instruments`, invented and written without a
look at the profile language. A sitting is played with each: whoever is asked lays the instrument
where the question says, presses its button where it has one, and keeps what looks wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources

import numpy as np
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.instrument.faults import Fault
from tintladder.calibrate.instrument.measure import Ended, measure
from tintladder.calibrate.instrument.profile import Profile
from tintladder.calibrate.instrument.profile_file import parse_profile
from tintladder.calibrate.instrument.progress import BLACK_TRAP, WHITE_TILE, Progress
from tintladder.calibrate.instrument.protocol.line_settings import that_answer
from tintladder.calibrate.instrument.questions import Answer, Question
from tintladder.calibrate.instrument.walk import Stop

from .. import pretend_instruments
from ..pretend_instruments import INSTRUMENTS, Instrument
from ..pretend_instruments.port import FAULTS, PretendLine, at_hand
from .harness import benchmark

_NEAR = 0.004
"""How near a reading comes to what lay there: many times the noise, less than another patch."""
_MOST_ASKED = 300
"""Questions of a sitting; one with more goes round and round."""
SEQUENCES = 1000


def profile_of(number: int) -> Profile:
    """The profile that was written from a manual."""
    file = resources.files(pretend_instruments) / "profiles" / f"{number}.toml"
    return parse_profile(file.read_text(encoding="utf-8"), f"{number}.toml")


def card(steps: int) -> Card:
    """A card of so many steps, each over black and white, and of the bare card."""
    drawdowns = tuple(Drawdown(f"s{i}", "KEEL", {"KEEL": 1.0}) for i in range(1, steps + 1))
    return Card("pretend", "", drawdowns)


class Asked(Exception):
    """More was asked than any sitting needs."""


@dataclass
class Hand:
    """Answers every question, and lays the instrument where it should lie."""

    pretend: Instrument
    line: PretendLine
    scene: Mapping[str, float]
    asked: list[Question] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    at: str = ""

    def spectrum(self, place: str) -> object:
        """What lies at a place."""
        if place in (WHITE_TILE, BLACK_TRAP):
            return self.pretend.white if place == WHITE_TILE else self.pretend.black
        level = self.scene[place]
        return lambda w: level * (1.0 + 0.2 * np.sin(np.asarray(w, float) / 50.0 + 9.0 * level))

    def __call__(self, question: Question) -> Answer:
        """Answer."""
        self.asked.append(question)
        if len(self.asked) > _MOST_ASKED:
            raise Asked(question.kind)
        if question.kind == "doubt":
            return "keep" if "keep" in question.answers else question.answers[0]
        if question.place and question.kind in ("patch", "tile", "fault"):
            self.at = question.place
            self.pretend.place(self.spectrum(question.place))
            if self.pretend.has_button:
                self.line.pressed()
        return question.answers[0]


def scene_of(patches: tuple[str, ...]) -> dict[str, float]:
    """A level for each patch, each another."""
    return {patch: 0.06 + 0.7 * i / len(patches) for i, patch in enumerate(patches)}


def sat(
    number: int, steps: int, shares: Mapping[str, float] | None = None, seed: int = 0
) -> tuple[Ended, Progress, Hand]:
    """Play a sitting."""
    profile, pretend = profile_of(number), INSTRUMENTS[number](seed=seed)
    instrument, line = at_hand(profile, pretend, shares, seed)
    of_card = card(steps)
    hand = Hand(pretend, line, scene_of(of_card.patches))
    progress = Progress(1)
    ended = measure(
        instrument,
        of_card,
        [Stop(patch) for patch in of_card.patches],
        progress,
        ask=hand,
        on_reading=lambda reading: None,
        tell=hand.told.append,
        clock=line.time,
        wait=line.time.wait,
    )
    return ended, progress, hand


def wrong_readings(number: int, progress: Progress, hand: Hand) -> list[str]:
    """Patches that aren't read, or not as they lay there."""
    profile = profile_of(number)
    wrong = []
    for patch in hand.scene:
        read = progress.mean(patch)
        truth = hand.spectrum(patch)(profile.wavelengths)  # type: ignore[operator]
        if read is None or np.nanmax(np.abs(read - truth)) > _NEAR:
            wrong.append(patch)
    return wrong


@cache
def by_profile() -> dict[int, str]:
    """What is wrong with each of the ten; empty where nothing is."""
    found = {}
    for number in INSTRUMENTS:
        try:
            ended, progress, hand = sat(number, 12)
        except Asked as asked:
            found[number] = f"asked and asked: {asked}"
            continue
        wrong = wrong_readings(number, progress, hand)
        words = "" if ended.finished else f"not finished: {ended.words}"
        found[number] = words or (f"wrong: {', '.join(wrong[:3])}" if wrong else _unsaid(number))
    return found


def _unsaid(number: int) -> str:
    """Whether a calibration on the wrong thing is told in words; what came, where it isn't."""
    profile, pretend = profile_of(number), INSTRUMENTS[number](seed=3)
    instrument, line = at_hand(profile, pretend)
    kind = profile.calibration.order[0]
    pretend.place(pretend.black if kind == "white" else pretend.white)
    try:
        instrument.begin()
        instrument.forget()
        if pretend.has_button:
            line.pressed()
        instrument.calibrate(kind)
    except Fault as fault:
        return "" if any(w in str(fault) for w in profile.status.errors.values()) else str(fault)
    return "a calibration on the wrong thing went through"


@benchmark("instrument.profiles_right", "of 10 instruments", target=10, sense="at least")
def profiles_right() -> float:
    """A card is read right, tiles in the manual's order, and a fault is told in words."""
    return sum(not wrong for wrong in by_profile().values())


@cache
def by_sequence(count: int = SEQUENCES) -> tuple[int, int, int]:
    """How many sequences of faults went round and round, lost a reading, or read one wrong."""
    rng = np.random.default_rng(20)
    loops = lost = wrong = 0
    for i in range(count):
        number = 1 + i % len(INSTRUMENTS)
        # A changed bit that makes another digit only a checksum tells.
        checked = profile_of(number).frame is not None
        names = [name for name in FAULTS if checked or name != "flip"]
        shares = dict(zip(names, 0.4 * rng.dirichlet(np.ones(len(names))), strict=True))
        try:
            ended, progress, hand = sat(number, 1, shares, seed=i)
        except Asked:
            loops += 1
            continue
        lost += not ended.finished or any(not progress.is_done(patch) for patch in hand.scene)
        wrong += bool(wrong_readings(number, progress, hand)) and ended.finished
    return loops, lost, wrong


@benchmark("instrument.profiles_loops", "of 1000 sequences", target=0)
def profiles_loops() -> float:
    """Sequences of faults in four of ten commands, 60 commands long, after which it goes round."""
    return by_sequence()[0]


@benchmark("instrument.profiles_lost", "of 1000 sequences", target=0)
def profiles_lost() -> float:
    """Sequences after which a patch isn't read."""
    return by_sequence()[1]


@benchmark("instrument.profiles_misread", "of 1000 sequences", target=0)
def profiles_misread() -> float:
    """Sequences after which a reading is that of another patch, or of none."""
    return by_sequence()[2]


@benchmark("instrument.profiles_line_found", "of 9 instruments", target=9, sense="at least")
def profiles_line_found() -> float:
    """With another baud rate and parity in the profile the right ones are found.

    One instrument says nothing before its button is pressed.
    """
    return sum(_line_found(number) for number in INSTRUMENTS if not INSTRUMENTS[number].has_button)


def _line_found(number: int) -> bool:
    profile, pretend = profile_of(number), INSTRUMENTS[number](seed=1)
    wrong = replace(
        profile.line, baud=1200 if profile.line.baud != 1200 else 2400,
        parity="N" if profile.line.parity != "N" else "E", bits=8, stop=1,
    )  # fmt: skip
    found = that_answer(
        replace(profile, line=wrong),
        lambda settings: PretendLine(pretend, settings),
        lambda _: None,
    )
    its = (pretend.baud, pretend.bits, pretend.parity)
    return its in [(each.baud, each.bits, each.parity) for each in found]


if __name__ == "__main__":
    import sys

    for number, words in by_profile().items():
        print(number, words or "right")
    print(by_sequence(int(sys.argv[1]) if sys.argv[1:] else 60))
