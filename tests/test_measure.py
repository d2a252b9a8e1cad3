"""A guided sitting: what it asks, in which order and what it keeps."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.instrument.faults import Refused
from tintladder.calibrate.instrument.measure import Ended
from tintladder.calibrate.instrument.progress import BLACK_TRAP, VOID, WHITE_TILE, Progress

from .instruments import quick
from .measure_table import PATCHES, Table, at


def test_from_trap_and_tile_over_every_patch():
    table = Table()
    assert table.sit() == Ended(True)
    assert [kind for kind, _, _ in table.asked[:3]] == ["ready", "tile", "tile"]
    # The last look at the tile shows whether the gain held.
    assert table.places("tile") == [BLACK_TRAP, WHITE_TILE, WHITE_TILE]
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


def test_where_the_gain_jumped_is_looked_for_among_the_patches():
    """It loses 1.5 % before the fifth patch: the tile shows it, and halving finds the place."""
    table = Table()
    sound = table.measure
    before = 2 + 2 * 4  # readings of the trap, the tile and four patches

    def jumped():
        return sound() * (1.0 if len(table.kept) < before else 0.985)

    table.measure = jumped
    assert table.sit().finished
    again = table.places()[2 * len(PATCHES) :]
    assert PATCHES[3] in again and PATCHES[4] in again and len(set(again)) <= 4
    assert all(again.count(patch) == 2 for patch in again)


def test_the_search_may_be_left_at_that():
    table = Table()
    usual, sound = table.answers, table.measure
    table.measure = lambda: sound() * (1.0 if len(table.kept) < 10 else 0.985)
    table.answers = lambda q, n: "finish" if "finish" in q.answers else usual(q, n)
    assert table.sit().finished
    assert len(table.places()) == 2 * len(PATCHES) + 1


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
    assert second.places("tile") == [BLACK_TRAP, WHITE_TILE, WHITE_TILE]


def test_tile_and_trap_may_be_left_out():
    table = Table(lambda q, n: "skip" if q.kind == "tile" else q.answers[0])
    assert table.sit().finished and not table.calibrated
    assert not [r for r in table.kept if r.is_tile]


# Doubts
