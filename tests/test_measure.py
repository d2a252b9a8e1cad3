"""A guided sitting: what it asks, in which order, what it keeps, and what it doubts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from tintladder.calibrate.instrument.emulator import tile_values
from tintladder.calibrate.instrument.faults import Lost, Refused, Silent
from tintladder.calibrate.instrument.instrument import Identity
from tintladder.calibrate.instrument.measure import Ended, measure
from tintladder.calibrate.instrument.progress import BLACK_TRAP, VOID, WHITE_TILE, Progress
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


def test_from_trap_and_tile_over_every_patch():
    table = Table()
    assert table.sit() == Ended(True)
    assert [kind for kind, _, _ in table.asked[:3]] == ["ready", "tile", "tile"]
    assert table.places("tile") == [BLACK_TRAP, WHITE_TILE]
    assert table.calibrated == ["black", "white"]
    assert table.places() == [patch for patch in PATCHES for _ in range(2)]
    assert not table.places("doubt")
    patches = [r for r in table.kept if not r.is_tile]
    assert [(r.place, r.round, r.repeat) for r in patches] == [
        (patch, 1, repeat) for patch in PATCHES for repeat in (1, 2)
    ]


def test_a_reading_is_kept_before_anything_is_asked():
    kept_when_asked = []
    table = Table(
        lambda question, n: (kept_when_asked.append(len(table.kept)), question.answers[0])[1]
    )
    table.sit()
    of_patches = [n for (kind, _, _), n in zip(table.asked, kept_when_asked, strict=True)
                  if kind == "patch"]  # fmt: skip
    assert of_patches == list(range(4, 4 + 2 * len(PATCHES)))


def test_stopped_and_gone_on_with():
    first = Table(lambda q, n: "stop" if n == 8 else q.answers[0])
    assert first.sit() == Ended(False, words="stopped")
    read = Progress(2, first.kept)
    second = Table(progress=read)
    assert second.sit().finished
    patches = [r for r in first.kept + second.kept if not r.is_tile]
    assert len({(r.place, r.round, r.repeat) for r in patches}) == len(patches) == 2 * len(PATCHES)
    # The instrument may have been off meanwhile.
    assert second.calibrated == ["black", "white"]


def test_ctrl_c_stops_it_and_loses_nothing():
    table = Table()

    def interrupted(question, n):
        if n == 9:
            raise KeyboardInterrupt
        return question.answers[0]

    table.answers = interrupted
    assert table.sit() == Ended(False, words="stopped") and len(table.kept) == 10


def test_wet_paint_is_not_touched():
    table = Table(lambda q, n: "wet" if q.kind == "ready" else q.answers[0])
    ended = table.sit()
    assert not ended.finished and "never goes on wet paint" in ended.words and not table.kept


def test_wet_paint_may_be_read_without_touching_it(monkeypatch):
    table = Table(lambda q, n: "wet" if q.kind == "ready" else q.answers[0])
    table.profile = quick(**{"contact = true": "contact = false"})
    assert table.sit() == Ended(True, wet=True)


# Redo, skip, back


def test_read_again_keeps_the_old_reading_and_counts_the_new():
    table = Table(at({("patch", PATCHES[3]): "again"}))
    table.sit()
    again = table.progress.read_again()
    # Asked for the next patch, it is the one before that is read again.
    assert [(r.place, r.round) for r in again] == [(PATCHES[2], 1)] * 2
    assert [r.round for r in table.progress.counting(PATCHES[2])] == [2, 2]
    assert {r.place for r in table.kept if not r.is_tile} == set(PATCHES)


def test_again_between_repeats_begins_the_patch_anew():
    answers = iter(["read", "read", "read", "read", "again"])
    table = Table(lambda q, n: next(answers, q.answers[0]))
    table.sit()
    assert [(r.round, r.repeat) for r in table.kept if r.place == PATCHES[0]] == [
        (1, 1), (2, 1), (2, 2),
    ]  # fmt: skip


def test_skipped_patches_are_asked_for_once_more_at_the_end():
    table = Table(at({("patch", PATCHES[4]): "skip", ("end", ""): "back"}))
    assert table.sit().finished
    assert table.skipped == [PATCHES[4]] and table.progress.is_done(PATCHES[4])
    assert table.places()[-2:] == [PATCHES[4]] * 2
    table = Table(at({("patch", PATCHES[4]): "skip"}))
    assert table.sit().finished and table.progress.skipped == {PATCHES[4]}


def test_back_goes_to_the_patch_before():
    table = Table(at({("patch", PATCHES[3]): "back"}))
    table.sit()
    asked = table.places()
    i = asked.index(PATCHES[3])
    assert asked[i : i + 3] == [PATCHES[3], PATCHES[2], PATCHES[2]]
    assert table.progress.counting(PATCHES[2])[0].round == 2


# Tile and trap


def test_the_tile_is_asked_for_after_a_set_time():
    table = Table()
    table.profile = quick(**{"[status]\n": "[due]\ntile_minutes = 0.5\n[status]\n"})
    table.sit()
    visits = [r for r in table.kept if r.place == WHITE_TILE]
    assert len(visits) >= 4 and table.calibrated == ["black", "white"]
    assert all(r.said["drift"] < 0.005 for r in visits[2:])


def test_a_tile_that_drifted_is_calibrated_anew():
    table = Table()
    table.profile = quick(**{"[status]\n": "[due]\ntile_minutes = 0.5\n[status]\n"})
    usual = table.answers

    def drifting(question, n):
        if n == 10:
            table.scene[WHITE_TILE] = table.scene[WHITE_TILE] * 0.98
        return usual(question, n)

    table.answers = drifting
    table.sit()
    assert table.calibrated == ["black", "white", "white"]
    assert any("calibrating anew" in words for words in table.told)


def test_the_tile_is_asked_for_after_lamp_hours():
    table = Table()
    table.profile = quick(**{"[status]\n": "[due]\ntile_minutes = 999\n[status]\n"})
    table.lamp = 10.0
    usual = table.answers

    def burning(question, n):
        table.now += 60.0
        table.lamp += 0.3
        return usual(question, n)

    table.answers = burning
    table.sit()
    assert table.places("tile").count(WHITE_TILE) > 1


def test_the_instrument_itself_may_want_its_tile():
    table = Table()

    def wanting(question, n):
        if n == 7:
            table.faults = [Refused("white first", "white")]
        return question.answers[0]

    table.answers = wanting
    assert table.sit().finished
    assert table.calibrated == ["black", "white", "white"]


def test_a_tile_may_have_to_wait_for_the_trap():
    table = Table()

    def wanting(question, n):
        if n == 2:
            assert question.place == WHITE_TILE
            table.faults = [Refused("trap first", "black")]
        return question.answers[0]

    table.answers = wanting
    assert table.sit().finished
    assert table.places("tile")[:2] == [BLACK_TRAP, WHITE_TILE]
    assert set(table.places("tile")[2:]) == {BLACK_TRAP, WHITE_TILE}
    assert "trap first" in table.told and table.calibrated.count("white") == 1


def test_an_instrument_that_sends_no_value_of_its_tile():
    table = Table(lambda q, n: "skip" if q.kind == "doubt" else q.answers[0])
    table.scene[WHITE_TILE] = np.full(31, np.nan)
    assert table.sit().finished
    assert [r.said[VOID] for r in table.kept if r.place == WHITE_TILE] == [
        "the instrument sent no value at all"
    ]


@pytest.mark.parametrize(
    "place, reads, words",
    [
        (WHITE_TILE, BLACK_TRAP, "too dark for a white tile.*is this the black trap"),
        (WHITE_TILE, "masstone/black", "too dark for a white tile"),
        (BLACK_TRAP, WHITE_TILE, "the white tile was read in place of the trap"),
        (BLACK_TRAP, "bare/black", "too bright for a black trap"),
    ],
)
def test_the_wrong_thing_under_the_instrument(place, reads, words):
    table = Table()
    right = table.scene[place]
    table.scene[place] = table.scene[reads]

    def answers(question, n):
        if question.kind == "doubt":
            import re

            assert re.search(words, question.words) and question.place == place
            table.scene[place] = right
        return question.answers[0]

    table.answers = answers
    assert table.sit().finished
    assert table.places("doubt") == [place] and table.calibrated == ["black", "white"]
    assert next(r for r in table.kept if VOID in r.said).place == place
    # Nothing was calibrated on the wrong thing.
    assert table.progress.mean(place) is not None


def test_further_tiles_are_read_once():
    tiles = ("tile/grey-50", "tile/orange")
    table = Table(lambda q, n: "stop" if n == 9 else q.answers[0])
    table.scene |= dict.fromkeys(tiles, np.full(31, 0.5))
    table.sit(tiles=tiles)
    assert table.places("tile") == [BLACK_TRAP, WHITE_TILE, *tiles]
    second = Table(progress=Progress(2, table.kept))
    assert second.sit(tiles=tiles).finished
    assert second.places("tile") == [BLACK_TRAP, WHITE_TILE]


def test_tile_and_trap_may_be_left_out():
    table = Table(lambda q, n: "skip" if q.kind == "tile" else q.answers[0])
    assert table.sit().finished and not table.calibrated
    assert not [r for r in table.kept if r.is_tile]


# Doubts


def doubted(reads, patch, step_of=None):
    """What is asked where a patch reads like another place."""
    found = []

    def answers(question, n):
        if question.kind == "doubt":
            found.append((question.place, question.words))
            return "keep"
        return question.answers[0]

    table = Table(answers)
    table.scene[patch] = table.scene[reads]
    assert table.sit().finished
    kept = [r for r in table.kept if "doubt" in r.said]
    assert {r.place for r in kept} == {place for place, _ in found}
    return dict(found)


def test_a_patch_that_reads_like_the_bare_card():
    assert "reads just like bare/white" in doubted("bare/white", "tenth/white")["tenth/white"]


def test_an_instrument_that_was_not_moved():
    found = doubted("masstone/white", "tenth/white")
    assert "reads just like masstone/white" in found["tenth/white"]


def test_an_instrument_left_on_its_tile():
    assert "reads just like the white tile" in doubted(WHITE_TILE, "white/white")["white/white"]


def test_black_and_white_swapped():
    table = Table(lambda q, n: "keep" if q.kind == "doubt" else q.answers[0])
    s = table.scene
    s["tenth/black"], s["tenth/white"] = s["tenth/white"], s["tenth/black"]
    table.sit()
    (doubt,) = {r.said["doubt"] for r in table.kept if "doubt" in r.said}
    assert "brighter over black than over white" in doubt


def test_two_steps_swapped():
    table = Table(lambda q, n: "keep" if q.kind == "doubt" else q.answers[0])
    s = table.scene
    s["half/black"], s["tenth/black"] = s["tenth/black"], s["half/black"]
    table.sit()
    doubts = {r.place: r.said["doubt"] for r in table.kept if "doubt" in r.said}
    assert "swapped with tenth/black" in doubts["half/black"]


def test_repeats_that_disagree():
    table = Table(lambda q, n: "again" if q.kind == "doubt" else q.answers[0])
    real = table.measure
    table.measure = lambda: real() * (1.6 if len(table.kept) == 5 else 1.0)
    assert table.sit().finished
    assert table.places("doubt") == [PATCHES[0]]
    assert [r.round for r in table.progress.counting(PATCHES[0])] == [2, 2]


def test_a_reading_that_cannot_be_is_kept_and_does_not_count():
    table = Table()
    real = table.measure
    table.measure = lambda: real() + (2.0 if len(table.kept) == 5 else 0.0)
    assert table.sit().finished
    void = [r for r in table.kept if VOID in r.said]
    assert [r.place for r in void] == [PATCHES[0]] and "no paint reflects" in void[0].said[VOID]
    assert table.progress.is_done(PATCHES[0])
    assert all(r.values.max() < 1 for r in table.progress.counting(PATCHES[0]))


# When the line fails


def test_silence_is_asked_about_and_loses_nothing():
    table = Table()

    def failing(question, n):
        if n in (6, 9):
            table.faults = [Silent("nothing came back within 10 s")]
        return question.answers[0]

    table.answers = failing
    assert table.sit().finished
    assert len(table.places("fault")) == 2
    assert sum(not r.is_tile for r in table.kept) == 2 * len(PATCHES)


def test_a_patch_that_never_answers_may_be_skipped():
    table = Table(at({("fault", PATCHES[2]): "skip"}))

    def failing(question, n):
        if (question.kind, question.place) == ("patch", PATCHES[2]):
            table.faults = [Silent("nothing")]
        return usual(question, n)

    usual, table.answers = table.answers, failing
    assert table.sit().finished and table.skipped == [PATCHES[2]]


def test_unplugged_and_plugged_in_again():
    table = Table()

    def failing(question, n):
        if n == 8:
            table.faults = [Lost("the port is gone")]
        return question.answers[0]

    table.answers = failing
    assert table.sit().finished
    assert sum(not r.is_tile for r in table.kept) == 2 * len(PATCHES)
    # Its power may have gone too: the tile is looked at, and is as it was.
    assert table.places("tile").count(WHITE_TILE) == 2
    assert table.calibrated == ["black", "white"]
