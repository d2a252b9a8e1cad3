"""measure from the command line: rehearsed, read, stopped, gone on with, and every slip of it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from contextlib import contextmanager
from functools import partial

import numpy as np
import pytest
from tintladder.calibrate.instrument.emulated_port import plugged_in
from tintladder.calibrate.instrument.emulator import Emulator
from tintladder.calibrate.instrument.mishaps import Mishaps
from tintladder.calibrate.instrument.profile_file import template
from tintladder.database.cards.intake import take_in
from tintladder.database.cards.rehearsing import emulated
from tintladder.database.care.integrity import check_studio
from tintladder.database.common.remedies import StudioDo
from tintladder.database.store.store import Store

from .command import run
from .instruments import certificate, quick
from .studio_cards import PATCHES, write_all

PROFILE = quick()


@pytest.fixture
def tool(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    return partial(run, monkeypatch, capsys)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A studio with a card that was never read, and a profile of one's own."""
    folder = tmp_path_factory.mktemp("studio")
    paints, card, _ = write_all(folder)
    with Store.open(folder) as store:
        take_in(store, [paints, card])
    (folder / "mine.toml").write_text(PROFILE.text)
    return folder


@pytest.fixture
def studio(tool, tmp_path, made):
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    return tool


@contextmanager
def instrument(tmp_path, repeats=2, mishaps=None):
    """An instrument with the card before it, in the order in which it is asked for."""
    with Store.open(tmp_path) as store:
        emulator = emulated(PROFILE, store.cards.find("keel-1"), None, mishaps, repeats)
    with plugged_in(emulator) as port:
        yield emulator, port


def sittings(tmp_path):
    with Store.open(tmp_path) as store:
        return store.sittings.open(), store.readings.all()


# The whole way


def test_a_card_is_read_and_a_fit_may_take_it(studio, tmp_path):
    with instrument(tmp_path) as (emulator, port):
        said = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml",
                      typed="\n" * 40)  # fmt: skip
    assert (said.status, said.err) == (0, ""), said.err
    assert "Before the first reading" in said.out and "lamp" in said.out
    assert "6 of 6 patches, 12 readings" in said.out and "Next: tintladder fit" in said.out
    still_open, (readings,) = sittings(tmp_path)
    assert not still_open
    sent = [s for s in emulator.sent if not s.under.startswith("tile/")]
    assert [s.under for s in sent] == list(readings.spectra.labels)
    with Store.open(tmp_path) as store:
        assert not [finding for finding in check_studio(store) if finding.broken]
        with store.snapshot() as session:
            (row,) = session.execute(_sessions()).scalars()
            assert (row.device.name, row.device.serial) == ("Stand-in 0001", "0001")
            assert row.calibration.kind == "tile/white"
            raw = [reading.reflectance for reading in row.readings]
            np.testing.assert_allclose(raw, [s.values for s in sent], atol=1e-9)
            assert (row.geometry, row.specular, row.unit) == ("di:8", "included", "percent")
    # All that went over the line is kept, and read again by the profile.
    assert studio("measure", "keel-1", "--record", "said.txt").status == 0
    assert (tmp_path / "said.txt").read_text().count("> M\\r\\n") >= 14
    assert studio("measure", "--replay", "said.txt", "--profile", "mine.toml").status == 0
    # Taken back like any file that was read.
    assert studio("read", "--undo").status == 0
    assert not sittings(tmp_path)[1]


def _sessions():
    from sqlalchemy import select
    from tintladder.database.store import schema

    return select(schema.Session)


def test_stopped_then_gone_on_with(studio, tmp_path):
    with instrument(tmp_path) as (emulator, port):
        # ready, trap, tile, four readings, then stop
        said = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml",
                      typed="\n" * 7 + "q\n")  # fmt: skip
        assert said.status == 0 and "tintladder measure --resume keel-1" in said.out
        ((sitting,), readings) = sittings(tmp_path)
        assert sitting.card == "keel-1" and not readings
        begun = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml")
        assert begun.status == 2 and "a sitting of it is open" in begun.err
        # The other terminal's instrument goes on where it is: first trap and tile again.
        emulator.script = [*emulator.script[:4], *emulator.script[8:]]
        emulator._next = 0
        said = studio("measure", "--resume", "--yes", "--dry", "--json")
    assert said.status == 0, said.err
    assert said.json["session"] == 1 and said.json["read"] == 6 and not said.json["doubts"]
    assert len(sittings(tmp_path)[1][0].spectra) == 12


def test_going_on_remembers_the_certificate(studio, tmp_path):
    (tmp_path / "tiles.txt").write_text(certificate())
    with instrument(tmp_path) as (emulator, port):
        studio("measure", "keel-1", "--port", port, "--profile", "mine.toml", "--tiles",
               "tiles.txt", typed="\n" * 6 + "q\n")  # fmt: skip
        emulator.script = [*emulator.script[:4], *emulator.script[7:]]
        emulator._next = 0
        said = studio("measure", "--resume", "--yes", "--dry", "--json")
        assert said.status == 0, said.err
        assert any("scale" in words for words in said.json["corrections"])
        # Where it has gone, that is said before anything is read.
        emulator._next = 0
        studio("measure", "keel-1", "--port", port, "--profile", "mine.toml", "--tiles",
               "tiles.txt", typed="q\n")  # fmt: skip
        (tmp_path / "tiles.txt").unlink()
        said = studio("measure", "--resume", "--yes", "--dry")
    assert said.status == 2 and "tiles.txt" in said.err and said.err.count("\n") == 1


def test_a_sitting_is_of_one_instrument(studio, tmp_path):
    with instrument(tmp_path) as (emulator, port):
        studio("measure", "keel-1", "--port", port, "--profile", "mine.toml",
               typed="\n" * 5 + "q\n")  # fmt: skip
        emulator.serial = "0002"
        said = studio("measure", "--resume", "keel-1", typed="\nq\n")
    assert "another instrument answers: Stand-in 0002, not Stand-in 0001" in said.out
    with Store.open(tmp_path) as store:
        (found,) = (f for f in check_studio(store) if "being measured" in f.words)
        assert found.do == StudioDo.GO_ON(card="keel-1") and not found.broken


def test_an_open_sitting_may_be_given_up(studio, tmp_path):
    with instrument(tmp_path) as (emulator, port):
        begin = ("measure", "keel-1", "--port", port, "--profile", "mine.toml")
        studio(*begin, typed="\n" * 5 + "q\n")
        emulator._next = 0
        said = studio(*begin, "--anew", typed="\n" * 40)
    assert said.status == 0 and "6 of 6 patches, 12 readings." in said.out


def test_read_again_skipped_and_doubted_are_told(studio, tmp_path):
    with instrument(tmp_path, repeats=1) as (emulator, port):
        order = emulator.script[4:]
        tile = emulator.script[3]
        emulator.script = [*emulator.script[:4], order[0], order[0], order[1], order[1], tile]
        typed = "\n" * 3 + "\n" + "r\n" + "\n" + "s\n" + "\n" + "k\n" + "s\n" * 9 + "f\n" + "\n"
        said = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml",
                      "--repeats", "1", typed=typed)  # fmt: skip
    assert said.status == 0, said.err
    assert "1 more kept of patches read again" in said.out
    assert "Looked wrong, and kept" in said.out and "Skipped: " in said.out
    (readings,) = sittings(tmp_path)[1]
    assert len(readings.spectra) == 3


def test_an_answer_that_makes_no_sense_is_asked_for_again(studio, tmp_path):
    with instrument(tmp_path) as (_, port):
        said = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml",
                      typed="x\nq\n")  # fmt: skip
    assert "Type one of: " in said.out and "Stopped." in said.out


def test_mishaps_on_the_way_lose_nothing(studio, tmp_path):
    with instrument(tmp_path, mishaps={"silence": 0.05, "garbage": 0.1}) as (_, port):
        said = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml", "--yes",
                      "--dry")  # fmt: skip
    assert said.status == 0, said.err
    assert "12 readings" in said.out


# Without an instrument


@pytest.mark.parametrize("profile", ["bare", "query"])
def test_a_newcomer_rehearses(tool, tmp_path, profile):
    said = tool("measure", "--rehearse", "--profile", profile, "--repeats", "1", "--yes")
    assert said.status == 0, said.err
    assert "made up" in said.out and "16 of 16 patches, 16 readings" in said.out
    assert "nothing of it was kept" in said.out
    assert not list(tmp_path.iterdir())


def test_what_was_read_last_is_rehearsed_again_where_it_lies(studio, tmp_path):
    """Asked for as the next patch comes up: it is the last one that is read once more."""
    said = studio("measure", "keel-1", "--rehearse", "--repeats", "1", typed="\n" * 6 + "r\n" * 2)
    assert said.status == 0 and "Rehearsal with" not in said.err
    assert "2 more kept of patches read again" in said.out
    assert "Looked wrong" not in said.out


def test_a_rehearsal_with_a_card_of_ones_own_keeps_nothing(studio, tmp_path):
    said = studio("measure", "keel-1", "--rehearse", "--yes", "--json")
    assert said.status == 0 and said.json["card"] == "keel-1" and said.json["rehearsed"]
    assert sittings(tmp_path) == ([], [])


def test_one_terminal_stands_in_for_the_instrument_of_another(studio, tmp_path):
    code = "from tintladder.database.cli import main; main()"
    other = subprocess.Popen(
        [sys.executable, "-c", code, "measure", "keel-1", "--stand-in", "--profile", "mine.toml",
         "--repeats", "1", "--json"],
        stdout=subprocess.PIPE, text=True, cwd=tmp_path,
    )  # fmt: skip
    try:
        said = "".join(other.stdout.readline() for _ in range(4))
        port = json.loads(said)["port"]
        said = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml",
                      "--repeats", "1", "--yes", "--dry")  # fmt: skip
    finally:
        other.terminate()
        other.communicate()
    assert said.status == 0, said.err
    assert "6 of 6 patches, 6 readings" in said.out and "Stand-in 0001 answers" in said.out


# Ports, templates, trying a profile


def test_ports_and_template(tool):
    assert isinstance(tool("measure", "--ports", "--json").json, list)
    assert "port" in tool("measure", "--ports").out.lower()
    assert tool("measure", "--template").out == template()


def test_a_profile_is_tried(tool, tmp_path):
    (tmp_path / "mine.toml").write_text(PROFILE.text)
    emulator = Emulator(PROFILE, _scene(), script=["tile/white"])
    with plugged_in(emulator) as port:
        said = tool("measure", "--check", "mine.toml", "--port", port, typed="\n\n")
        assert said.status == 0, said.err
        assert "identify: well" in said.out and r"sent I\r\n" in said.out
        assert "measure: well" in said.out and "31 values, 400-700 nm" in said.out
        wrong = PROFILE.text.replace("{status},{model},{serial}", "{model};{serial}")
        (tmp_path / "wrong.toml").write_text(wrong)
        said = tool("measure", "--check", "wrong.toml", "--port", port, typed="\n\n")
        assert said.status == 2 and "identify: not understood" in said.out
        assert r"came 0,Stand-in,0001," in said.out
        assert "expected {model};{serial}" in said.err and said.err.count("\n") == 1
        emulator.mishaps = Mishaps({"silence": 1.0})
        said = tool("measure", "--check", "mine.toml", "--port", port, "--json", typed="\n\n")
        assert said.status == 2 and not said.json[0]["understood"]


def test_a_dialogue_is_recorded_and_read_again(tool, tmp_path):
    (tmp_path / "mine.toml").write_text(PROFILE.text)
    percent = PROFILE.text.replace('unit = "percent"', 'unit = "fraction"')
    (tmp_path / "wrong.toml").write_text(percent)
    with plugged_in(Emulator(PROFILE, _scene(), script=["tile/white"])) as port:
        said = tool("measure", "--check", "mine.toml", "--port", port, "--record", "dialogue.txt",
                    typed="\n\n")  # fmt: skip
        assert said.status == 0, said.err
        said = tool("measure", "--check", "wrong.toml", "--port", port, typed="\n\n")
        assert said.status == 2 and 'unit = "percent"' in said.err
    assert "> M\\r\\n\n< 0," in (tmp_path / "dialogue.txt").read_text()
    said = tool("measure", "--replay", "dialogue.txt", "--profile", "mine.toml")
    assert said.status == 0 and "measure: well" in said.out
    said = tool("measure", "--replay", "dialogue.txt", "--profile", "wrong.toml", "--json")
    assert said.status == 2 and [each["understood"] for each in said.json].count(False) == 1
    for arguments, words in (
        (("--replay", "dialogue.txt"), "--profile"),
        (("--replay", "nowhere.txt", "--profile", "bare"), "nowhere.txt"),
        (("--record", "out.txt"), "there is no studio here yet"),
    ):
        said = tool("measure", *arguments)
        assert said.status == 2 and words in said.err and said.err.count("\n") == 1


def test_tiles_whose_unit_is_said(studio, tmp_path):
    (tmp_path / "tiles.txt").write_text(re.sub("\nREFLECTANCE_UNIT.*", "", certificate()))
    arguments = ("measure", "--rehearse", "--yes", "--tiles", "tiles.txt")
    said = studio(*arguments)
    assert said.status == 2 and "--unit percent" in said.err
    assert studio(*arguments, "--unit", "fraction").status == 0


def _scene():
    from tintladder.calibrate.optics.spectra import GRID, Spectra

    return Spectra.from_values(GRID, np.full((1, GRID.size), 0.5), ["a/black"])


# Slips


@pytest.mark.parametrize(
    "arguments, words",
    [
        ((), "expected the card to read"),
        (("keel-1",), "--port"),
        (("keel-1", "--port", "/dev/nope"), "--profile"),
        (("keel-1", "--port", "/dev/nope", "--profile", "bare"), "there is no such port"),
        (("keel-1", "--port", "/dev/nope", "--profile", "bear"), "did you mean bare"),
        (("keel-2", "--port", "/dev/nope", "--profile", "bare"), "there is no such card"),
        (("keel-1", "--port", "x", "--profile", "bare", "--yes"), "add --dry"),
        (("--resume",), "no sitting is open"),
        (("--resume", "keel-1"), "no sitting of card keel-1 is open"),
        (("--check", "bare"), "--port"),
        (("--rehearse", "--mishap", "silence"), "write NAME=SHARE"),
        (("--rehearse", "--mishap", "fire=0.5"), "write NAME=SHARE"),
        (("--rehearse", "--mishap", "late=0.7", "--mishap", "busy=0.7"), "write NAME=SHARE"),
        (("--rehearse", "--readings", "keel-1.txt"), "patch 1:1/black"),
    ],
)
def test_slips_are_one_line(studio, tmp_path, arguments, words):
    said = studio("measure", *arguments)
    assert said.status == 2 and words in said.err, said.err
    assert said.err.count("\n") == 1
    assert sittings(tmp_path) == ([], [])


def test_silence_where_nobody_is_there_ends_in_one_line(studio, tmp_path):
    with instrument(tmp_path) as (emulator, port):
        emulator.mishaps = Mishaps({"silence": 1.0})
        said = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml", "--yes",
                      "--dry")  # fmt: skip
    assert said.status == 2 and "nothing came back" in said.err and said.err.count("\n") == 1


def test_wet_paint_stops_it(studio, tmp_path):
    with instrument(tmp_path) as (emulator, port):
        said = studio("measure", "keel-1", "--port", port, "--profile", "mine.toml", typed="w\n")
    assert said.status == 0 and "never goes on wet paint" in said.out and not emulator.sent
    assert PATCHES[0] == "bare/black"
