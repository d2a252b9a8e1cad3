"""An instrument on a real pseudo-terminal and on a socket, well and when everything goes wrong."""

from __future__ import annotations

import os
from contextlib import suppress

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument import line as line_module
from tintladder.calibrate.instrument.faults import Busy, Fault, Garbled, Lost, Refused, Silent
from tintladder.calibrate.instrument.line import Line, ports, unusable
from tintladder.calibrate.instrument.mishaps import MISHAPS, Mishaps
from tintladder.calibrate.instrument.profile import LineSettings
from tintladder.calibrate.instrument.profile_file import parse_profile

from .instruments import emulated, quick, scene
from .studio_fixtures import ladder

SCENE = scene(ladder())
ONLY_ONCE = {"retries = 3": "retries = 0"}


def read_as_sent(emulator, instrument, under):
    emulator.under = under
    values = instrument.measure()
    np.testing.assert_allclose(values, emulator.sent[-1].values, atol=1e-9)
    return values


@pytest.mark.parametrize("kind", ["terminal", "socket"])
@pytest.mark.parametrize("name", ["bare", "query"])
def test_what_is_sent_arrives(name, kind):
    with emulated(quick(name, 5.0), SCENE, kind=kind) as (emulator, instrument):
        assert instrument.begin().name == "Stand-in 0001"
        assert instrument.calibrate("white") and instrument.calibrate("black")
        values = read_as_sent(emulator, instrument, "masstone/black")
        row = SCENE.labels.index("masstone/black")
        true = np.interp(instrument.profile.wavelengths, SCENE.wavelengths, SCENE.values[row])
        assert np.abs(values - true).max() < 0.02
        hours = instrument.lamp_hours()
        assert hours is None if name == "query" else hours >= 0


@pytest.mark.parametrize(
    "mishap, fault",
    [
        ("silence", Silent),
        ("half", Garbled),
        ("garbage", Garbled),
        ("checksum", Garbled),
        ("busy", Busy),
        ("length", Garbled),
        ("late", Silent),
        ("unplug", Lost),
    ],
)
def test_every_mishap_is_met(mishap, fault):
    with emulated(quick(**ONLY_ONCE), SCENE) as (emulator, instrument):
        instrument.begin()
        emulator.under = "tenth/white"
        emulator.mishaps = Mishaps({mishap: 1.0})
        with pytest.raises(Fault) as met:
            instrument.measure()
        # What can't even say who it is any more is silent, whatever befell the reading.
        assert isinstance(met.value, fault | Silent)
        assert "\n" not in str(met.value)
        emulator.mishaps = Mishaps({})
        while isinstance(met.value, Lost) and not instrument.line.reopen():
            pass
        for _ in range(5):  # until what was late has come
            with suppress(Fault):
                read_as_sent(emulator, instrument, "masstone/black")
                return
        pytest.fail("it never came to itself")


@pytest.mark.parametrize("name", ["bare", "query"])
def test_no_reading_is_taken_for_another(name):
    """Each reading is the last one sent of what lies there, whatever happened on the way."""
    shares = dict.fromkeys(MISHAPS, 0.06)
    if name == "query":
        shares["checksum"] = 0.0  # it has none: a changed digit is a digit
    with emulated(quick(name), SCENE, shares, seed=3) as (emulator, instrument):
        taken = 0
        for k in range(24):
            emulator.under = SCENE.labels[k % len(SCENE)]
            try:
                values = instrument.measure()
            except Lost:
                while not instrument.line.reopen():
                    pass
                continue
            except Fault:
                continue
            taken += 1
            sent = [s for s in emulator.sent if np.allclose(s.values, values, atol=1e-9)]
            assert [s.under for s in sent] == [emulator.under]
        assert taken > 12 and sum(emulator.mishaps.met.values()) > 12


def test_a_busy_instrument_is_asked_again():
    with emulated(quick("bare", 5.0), SCENE, {"busy": 0.6}, seed=2) as (emulator, instrument):
        instrument.begin()
        read_as_sent(emulator, instrument, "masstone/black")
        assert emulator.mishaps.met["busy"]


def test_what_the_instrument_says_is_passed_on():
    with emulated(quick(**ONLY_ONCE), SCENE) as (emulator, instrument):
        for reply, words, due in (
            (b"2,\x92\r\n", "wants its white tile first", "white"),
            (b"4,\x92\r\n", "the lamp is out", None),
        ):
            code = reply[:1].decode()
            reply = emulator.profile.commands["measure"].reply.write({"status": code}) + b"\r\n"
            emulator.answer = lambda _line, reply=reply: (reply, "")
            with pytest.raises(Refused, match=words) as refusal:
                instrument.talk("measure")
                instrument.understand("measure", reply[:-2])
            assert refusal.value.due == due


def test_an_instrument_that_queues_its_errors_is_asked():
    """SCPI-99: nothing comes back, and SYSTem:ERRor? says why."""
    with emulated(quick("query", **ONLY_ONCE), SCENE) as (emulator, instrument):
        instrument.begin()
        emulator.mishaps = Mishaps({"silence": 1.0})
        answer = emulator.answer

        def no_reading(line):
            return (b"", "") if line == b"READ?" else answer(line)

        emulator.mishaps, emulator.answer = Mishaps({}), no_reading
        emulator._queue.append(("-240", "Hardware error"))
        with pytest.raises(Refused, match=r"Hardware error \(-240\)"):
            instrument.measure()


def test_what_is_no_answer_is_shown_escaped():
    """As from a line at the wrong speed."""
    with emulated(quick(), SCENE) as (emulator, instrument):
        emulator.answer = lambda _: (b"\x00\xf8\x80\r\n", "")
        with pytest.raises(Garbled, match=r"got \\x00\\xf8\\x80"):
            instrument.begin()


def test_an_instrument_that_only_measures():
    text = quick().text
    text = text[: text.index("[command.identify]")] + text[text.index("[command.measure]") :]
    text = text[: text.index("[command.lamp]")]
    profile = parse_profile(text, "least.toml")
    with emulated(profile, SCENE, {"silence": 0.15, "garbage": 0.15}, seed=1) as (emu, instrument):
        assert instrument.begin().name == "" and not instrument.calibrate("white")
        for under in SCENE.labels[:5]:
            read_as_sent(emu, instrument, under)


def test_another_instrument_is_refused():
    with emulated(quick("bare", 5.0), SCENE) as (emulator, instrument):
        instrument.begin()
        emulator.serial = "0002"
        with pytest.raises(Refused, match="another instrument answers"):
            instrument.begin()


def test_a_missing_value_is_kept_as_missing():
    profile = quick("query", **{'missing = ["9.91E37", "9.91E+37"]': 'missing = ["---"]'})
    with emulated(profile, SCENE) as (_emulator, instrument):
        cells = ["0.5"] * 36
        cells[3] = "---"
        found = instrument.spectrum({"values": ",".join(cells)})
        assert np.isnan(found[3]) and np.isnan(found).sum() == 1


# Ports


def test_no_such_port(monkeypatch):
    monkeypatch.setattr(line_module, "ports", lambda: [line_module.Port("COM7", "")])
    with pytest.raises(InputError, match=r"there is no such port \(ports: COM7\)"):
        Line("/dev/no-such-port", LineSettings())


def test_a_busy_port():
    with (
        emulated(quick(), SCENE) as (_emulator, instrument),
        pytest.raises(InputError, match="in use by another program"),
    ):
        Line(instrument.line.name, LineSettings())


def test_a_port_that_one_may_not_open(tmp_path):
    # Root may open anything, so the refusal itself is tried.
    said = str(unusable("/dev/ttyUSB0", PermissionError(13, "Permission denied")))
    assert "you may not open this port" in said and "\n" not in said
    said = str(unusable("COM3", OSError("could not open port 'COM3': PermissionError(13, '')")))
    assert "you may not open this port" in said


def test_what_is_no_port(tmp_path):
    file = tmp_path / "notes.txt"
    file.write_text("x")
    for name, words in (
        (str(file), "can't be opened"),
        ("socket://127.0.0.1:1", "nothing can be opened there"),
        ("nonsense://x", "nothing can be opened there"),
    ):
        with pytest.raises(InputError, match=words):
            Line(name, LineSettings())


def test_ports_are_listed():
    assert all(os.sep in port.name or port.name for port in ports())
