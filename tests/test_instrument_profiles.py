"""Instruments of every kind by profile alone: frames, binary numbers, buttons, orders, dialogues.

The pretend instruments and their manuals are invented (`tests.pretend_instruments`).
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument.emulated_port import plugged_in
from tintladder.calibrate.instrument.emulator import Emulator
from tintladder.calibrate.instrument.faults import Garbled
from tintladder.calibrate.instrument.instrument import Instrument
from tintladder.calibrate.instrument.line import Line
from tintladder.calibrate.instrument.profile_file import parse_profile, profile_text, read_profile
from tintladder.calibrate.instrument.progress import BLACK_TRAP, WHITE_TILE
from tintladder.calibrate.instrument.protocol.checksum import CHECK_TEXT, Checksum
from tintladder.calibrate.instrument.protocol.dialogue import Piece, parse_dialogue, written
from tintladder.calibrate.instrument.protocol.frame import Frame
from tintladder.calibrate.instrument.protocol.manual_questions import (
    ManualQuestion,
    profile_of_answers,
)
from tintladder.calibrate.instrument.protocol.numbers import BINARY, Values
from tintladder.calibrate.instrument.trial import no_sense, replayed, try_profile
from tintladder.calibrate.optics.spectra import Spectra
from tintladder.database.cards.rehearsing import emulated

from .bench import instrument_profiles as bench
from .pretend_instruments import INSTRUMENTS
from .pretend_instruments.port import FAULTS, at_hand


@pytest.mark.parametrize("number", INSTRUMENTS)
def test_a_profile_from_the_manual_reads_a_card(number: int) -> None:
    ended, progress, hand = bench.sat(number, 2)
    assert ended.finished and not bench.wrong_readings(number, progress, hand)
    # It was calibrated in the order of its manual, before anything was read.
    order = [WHITE_TILE if k == "white" else BLACK_TRAP
             for k in bench.profile_of(number).calibration.order]  # fmt: skip
    asked = [q.place for q in hand.asked if q.words == "it is calibrated here"]
    assert asked == [p for p in order if number != 3 or p == WHITE_TILE]
    assert not bench._unsaid(number)
    # All that went over the line is kept with the readings.
    assert all(reading.said["dialogue"] for reading in progress.readings)


def test_a_calibration_that_holds_for_some_readings_is_made_again() -> None:
    ended, progress, hand = bench.sat(10, 12)
    calibrated = [q for q in hand.asked if q.words == "it is calibrated here"]
    assert ended.finished and len(calibrated) == 4 and len(progress.readings) > 20


def test_full_scale_and_flags_are_told() -> None:
    for number, beyond in ((2, 36), (3, 39), (6, 41)):
        instrument, _ = at_hand(bench.profile_of(number), pretend := INSTRUMENTS[number]())
        for kind in bench.profile_of(number).calibration.order:
            pretend.place(pretend.white if kind == "white" else pretend.black)
            instrument.calibrate(kind)
        pretend.place(1.5)
        assert np.isnan(instrument.measure()).all() and instrument.full_scale.sum() == beyond
        if number == 2:
            assert instrument.remarks == ("at least one value is at full scale and not valid",)
        pretend.place(0.5)
        assert np.allclose(instrument.measure(), 0.5, atol=0.01) and not instrument.full_scale.any()


@pytest.mark.parametrize("number", INSTRUMENTS)
def test_faults_end_and_lose_nothing(number: int) -> None:
    rng = np.random.default_rng(number)
    checked = bench.profile_of(number).frame is not None
    names = [name for name in FAULTS if checked or name != "flip"]
    for seed in range(3):
        shares = dict(zip(names, 0.3 * rng.dirichlet(np.ones(len(names))), strict=True))
        ended, progress, hand = bench.sat(number, 1, shares, seed)
        assert ended.finished and not bench.wrong_readings(number, progress, hand)


def test_a_wrong_order_is_asked_about_and_not_tried_for_ever() -> None:
    text = (bench.resources.files(bench.pretend_instruments) / "profiles" / "5.toml").read_text()
    wrong = parse_profile(text.replace('["white", "black"]', '["black", "white"]'), "5.toml")
    instrument, line = at_hand(wrong, pretend := INSTRUMENTS[5]())
    card = bench.card(1)
    hand = bench.Hand(pretend, line, bench.scene_of(card.patches))
    stop_at = "look up in its manual which comes first"

    def ask(question):
        answer = hand(question)
        return "stop" if stop_at in question.words else answer

    ended = bench.measure(
        instrument, card, [bench.Stop(p) for p in card.patches], bench.Progress(1), ask=ask,
        on_reading=lambda _: None, clock=line.time, wait=line.time.wait,
    )  # fmt: skip
    assert not ended.finished and len(hand.asked) < 20


def test_checksums_as_catalogues_give_them() -> None:
    # Check values over 123456789 as published catalogues of CRCs give them (from memory).
    for known, expected in (
        (Checksum("crc16", 2), 0x31C3),
        (Checksum("crc", 2, polynomial=0x1021, start=0xFFFF), 0x29B1),
        (Checksum("crc", 2, polynomial=0x8005, start=0xFFFF, reversed=True), 0x4B37),
        (Checksum("crc", 1, polynomial=0x07), 0xF4),
        (
            Checksum("crc", 4, polynomial=0x04C11DB7, start=0xFFFFFFFF, final=0xFFFFFFFF,
                     reversed=True),
            0xCBF43926,
        ),
    ):  # fmt: skip
        assert known.value(CHECK_TEXT) == expected
    assert (Checksum("negated-sum").value(b"\x01\x02") + 3) % 256 == 0


FRAMES = (
    Frame(("start", "payload", "end", "checksum"), b"\x02", b"\x03",
          checksum=Checksum("xor", written="bytes"), checksum_of=("payload", "end")),
    Frame(("length", "payload", "checksum"), length="uint16", order="little",
          checksum=Checksum("crc", 2, "bytes"), checksum_of=("length", "payload")),
    Frame(("start", "length", "payload"), b"\xa5\x5a", length="uint8"),
)  # fmt: skip


@pytest.mark.parametrize("frame", FRAMES)
@given(
    payload=st.binary(max_size=60).filter(lambda b: b"\x03" not in b), rest=st.binary(max_size=5)
)
def test_what_is_framed_is_taken(frame: Frame, payload: bytes, rest: bytes) -> None:
    message = frame.write(payload)
    taken = frame.take(message + rest, lambda _: None)
    assert taken is not None and (taken.payload, taken.used) == (payload, len(message))
    for at in range(len(message)):
        assert frame.take(message[:at], lambda _: None) is None


@given(place=st.integers(0, 8), bit=st.integers(0, 7))
def test_a_changed_bit_in_a_frame_is_seen(place: int, bit: int) -> None:
    message = bytearray(FRAMES[0].write(b"MS00,1"))
    message[place] ^= 1 << bit
    try:
        taken = FRAMES[0].take(bytes(message), lambda _: None)
    except Garbled:
        return
    assert taken is None


@settings(max_examples=60)
@given(
    form=st.sampled_from(("text", "fixed", *BINARY)),
    order=st.sampled_from(("big", "little")),
    levels=st.lists(st.floats(0.01, 1.0), min_size=3, max_size=9),
)
def test_numbers_of_every_form_come_back(form: str, order: str, levels: list[float]) -> None:
    one = {"int8": 100.0, "uint8": 200.0}.get(form, 10000.0)
    wl = 400.0 + 10 * np.arange(len(levels))
    values = Values(
        len(levels), form, 8 if form == "fixed" else 0, decimal=".", order=order, one=one
    )
    found, beyond = values.read(values.write(levels, wl), wl)
    np.testing.assert_allclose(found, levels, atol=0.51 / one)
    assert not beyond.any()


def test_values_that_make_no_sense() -> None:
    profile = read_profile("query")
    values = np.full(36, 98.56)
    words = no_sense(profile, values, "", on_tile=True)
    assert "98.56" in words and 'unit = "percent"' in words
    assert not no_sense(profile, values / 100, "", on_tile=True)
    six = bench.profile_of(6)
    turned = replace(six, values=replace(six.values, order="big"))
    text = six.values.write(np.full(41, 0.93), six.wavelengths)
    read, _ = turned.values.read(text, six.wavelengths)
    assert 'byte_order = "little"' in no_sense(turned, read, text, on_tile=True)


def test_a_profile_is_tried_with_its_steps() -> None:
    instrument, _ = at_hand(bench.profile_of(8), pretend := INSTRUMENTS[8]())

    def ask(question):
        pretend.place(pretend.white if question.place == WHITE_TILE else pretend.black)
        return "read"

    tried = try_profile(instrument, ask)
    assert [each.command for each in tried] == ["white", "black", "measure"]
    assert all(each.understood for each in tried), tried
    assert "61 values, 400-700 nm" in tried[-1].words
    assert b"done?" in b"".join(piece.data for piece in tried[0].pieces)


def test_a_dialogue_is_read_again_by_another_profile() -> None:
    profile = bench.profile_of(1)
    instrument, line = at_hand(profile, pretend := INSTRUMENTS[1]())
    for kind in ("black", "white"):
        pretend.place(getattr(pretend, kind))
        instrument.calibrate(kind)
    instrument.measure()
    pieces = line.dialogue.take()
    assert parse_dialogue(written(pieces), "a.txt") == pieces
    assert all(each.understood for each in replayed(profile, pieces))
    text = profile.text.replace('decimal = ","', 'decimal = "."')
    wrong = replayed(parse_profile(text, "1.toml"), pieces)
    assert [each.understood for each in wrong] == [True, True, False]
    assert "expected a number, got 0," in wrong[-1].words
    unknown = replayed(profile, [Piece(True, b"HELLO\r\n"), Piece(False, b"DEFAUT 9\r\n")])
    assert not unknown[0].understood and "no command of the profile" in unknown[0].words
    with pytest.raises(InputError, match="line 1: expected > and what was sent"):
        parse_dialogue("? no\n", "a.txt")


def test_a_profile_is_made_by_asking_about_the_manual() -> None:
    answers = {
        "geometry": "45:0", "baud": "9600", "ends a command": r"\r\n",
        "reflectance of 1": "1", "stands between": " ", "decimal sign": ",",
        "its own?": "", "form of its own": "DEFAUT {status}",
        "black trap first": "1,2", "makes it measure": "LIRE",
        "calibrate on its white tile": "VIT", "calibrate on its black trap": "NUL",
        "answer then": "FAIT", "which order": "black, then white",
    }  # fmt: skip
    faults = iter(("3=the wrong piece", ""))

    def ask(question: ManualQuestion) -> str:
        if "what it means" in question.words:
            return next(faults)
        typed = next((a for words, a in answers.items() if words in question.words), question.usual)
        assert not question.answers or typed in question.answers
        return typed

    made = parse_profile(profile_of_answers(ask), "made.toml")
    asked, told = made, bench.profile_of(1)
    for part in ("line", "values", "calibration", "commands"):
        ours, theirs = getattr(asked, part), getattr(told, part)
        if part == "line":
            ours, theirs = replace(ours, timeout_s=1), replace(theirs, timeout_s=1)
        if part == "commands":
            ours = {name: (c.send, c.reply and c.reply.pattern) for name, c in ours.items()}
            theirs = {name: (c.send, c.reply and c.reply.pattern) for name, c in theirs.items()}
        assert ours == theirs
    assert made.status.errors == {"3": "the wrong piece"}


def test_slips_in_the_newer_tables_are_named() -> None:
    folder = bench.resources.files(bench.pretend_instruments) / "profiles"
    for number, old, new, place in (
        (4, 'end = "\\u0003"', "", "frame, end"),
        (4, '"start", "payload"', '"start", "body"', "frame, parts"),
        (5, "check = 0x4B37", "check = 0x4B38", "checksum, check"),
        (3, "width = 5\n", "", "spectrum, width"),
        (8, '["poll", "fetch"]', '["poll", "fetches"]', "measure, then"),
        (10, '["white", "black"]', '["white", "grey"]', "calibration, order"),
        (9, 'button = true\nreply = "R', 'reply = "R', "measure, send"),
    ):
        text = (folder / f"{number}.toml").read_text()
        assert old in text, (number, old)
        with pytest.raises(InputError) as caught:
            parse_profile(text.replace(old, new), "mine.toml")
        assert place in (caught.value.where or ""), str(caught.value)
    assert profile_text("bare")[1] == "bare.toml"


@pytest.mark.parametrize("number", [n for n in INSTRUMENTS if not INSTRUMENTS[n].has_button])
def test_every_kind_can_be_stood_in_for(number: int) -> None:
    text = bench.profile_of(number).text
    profile = parse_profile(re.sub(r"timeout_s = [0-9]+", "timeout_s = 2", text), f"{number}.toml")
    wl = profile.wavelengths
    scene = Spectra.from_values(wl, np.full((1, wl.size), 0.4), ["a/black"])
    emulator = Emulator(profile, scene, under="a/black")
    with plugged_in(emulator, "socket") as port:
        line = Line(port, profile.line)
        instrument = Instrument(profile, line)
        for kind in profile.calibration.order:
            assert instrument.calibrate(kind)
        read = instrument.measure()
        line.close()
    np.testing.assert_allclose(read, emulator.sent[-1].values, atol=1e-3)
    with pytest.raises(InputError, match="its own button"):
        emulated(bench.profile_of(9), bench.card(1))
