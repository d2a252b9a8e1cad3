"""A guided sitting: what it doubts, and what it does when the line fails."""

from __future__ import annotations

from tintladder.calibrate.instrument.faults import Lost, Silent
from tintladder.calibrate.instrument.progress import VOID, WHITE_TILE

from .measure_table import PATCHES, Table, at


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
    assert table.places("tile").count(WHITE_TILE) == 3
    assert table.calibrated == ["black", "white"]
