"""What the host takes over one reading of a guided sitting, beside the least that it could."""

from __future__ import annotations

import json
import sqlite3
import tempfile
import time
from pathlib import Path
from statistics import median

import serial
from tintladder.calibrate.instrument.emulated_port import plugged_in
from tintladder.calibrate.instrument.emulator import Emulator
from tintladder.calibrate.instrument.instrument import Instrument
from tintladder.calibrate.instrument.line import Line
from tintladder.calibrate.instrument.questions import Answer, Question
from tintladder.database.cards.sitting import sit
from tintladder.database.store.store import Store

from ..instruments import quick, scene
from ..studio_fixtures import PAINTS_TOML, ladder
from .harness import Timing, benchmark

REPEATS = 20
PROFILE = quick("bare", 10.0)


@benchmark(
    "instrument.host_time_per_reading",
    "s",
    target=0.020,
    baseline="one exchange by pyserial alone and one row committed by sqlite3 alone",
    ratio_target=0.15,
)
def host_time_per_reading() -> Timing:
    """From one question to the next: exchange, commit, colour, doubts; an emulator without delay.

    In the target's terms: where the baseline takes 3 ms, 20 ms are a ratio of 0.15.
    """
    emulator = Emulator(PROFILE, scene(ladder()))
    with tempfile.TemporaryDirectory() as folder, plugged_in(emulator) as port:
        return Timing(
            median(_ours(Path(folder), emulator, port)), median(_bare(Path(folder), port))
        )


def _ours(folder: Path, emulator: Emulator, port: str) -> list[float]:
    asked: list[float] = []
    seconds: list[float] = []

    def ask(question: Question) -> Answer:
        if question.kind == "patch":
            if asked:
                seconds.append(time.perf_counter() - asked.pop())
            emulator.under = question.place
            asked.append(time.perf_counter())
        elif question.place:
            asked.clear()
            emulator.under = question.place
        return "keep" if question.kind == "doubt" else question.answers[0]

    line = Line(port, PROFILE.line)
    with Store.open(folder) as store:
        store.paints.add_file(PAINTS_TOML)
        store.cards.add(ladder(), "text")
        sitting = store.sittings.begin(ladder().name, PROFILE, port, REPEATS)
        sit(store, sitting, Instrument(PROFILE, line), ask)
    line.close()
    return seconds


def _bare(folder: Path, port: str) -> list[float]:
    seconds = []
    command = PROFILE.commands["measure"].send + PROFILE.line.end
    with serial.Serial(port, timeout=10) as line, sqlite3.connect(folder / "bare.db") as raw:
        raw.execute("PRAGMA journal_mode=WAL")
        raw.execute("PRAGMA synchronous=FULL")
        raw.execute("CREATE TABLE readings (reading TEXT)")
        for _ in range(9 * REPEATS):
            start = time.perf_counter()
            line.write(command)
            reply = line.read_until(PROFILE.line.reply_end).decode()
            raw.execute("INSERT INTO readings VALUES (?)", (json.dumps(reply.split(",")),))
            raw.commit()
            seconds.append(time.perf_counter() - start)
    return seconds
