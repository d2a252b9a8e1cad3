"""Sittings with an instrument: whatever befalls line or computer, none is lost, none doubled."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sqlite3
import tempfile
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
from tintladder.calibrate.instrument.emulated_port import plugged_in
from tintladder.calibrate.instrument.emulator import Emulator
from tintladder.calibrate.instrument.instrument import Instrument
from tintladder.calibrate.instrument.line import Line
from tintladder.calibrate.instrument.mishaps import MISHAPS, Mishaps
from tintladder.calibrate.instrument.progress import RawReading
from tintladder.calibrate.instrument.questions import Answer, Question, Shown
from tintladder.database.cards import sitting as measuring
from tintladder.database.store.sittings import Sitting
from tintladder.database.store.store import Store

from ..instruments import quick, scene
from ..studio_fixtures import PAINTS_TOML, ladder
from .harness import Soaked, soak

Progress = Callable[[str], None]
CARD = ladder()
REPEATS = 20
SHARE = 0.05
AT_ONCE = 8
PROFILE = quick("bare", 0.03)
"""So little patience that a busy machine adds silences of its own."""


class Table:
    """Who sits there: lays the emulator where it is asked to, and never gives up."""

    def __init__(self, emulator: Emulator) -> None:
        self.emulator = emulator

    def ask(self, question: Question) -> Answer:
        if question.place:
            self.emulator.under = question.place
        if question.kind == "doubt" and not question.place.startswith("tile/"):
            return "keep" if "keep" in question.answers else "again"
        return question.answers[0]


def sit(
    store: Store,
    sitting: Sitting,
    emulator: Emulator,
    port: str,
    show: Callable[[Shown], None] = lambda _: None,
) -> measuring.Sat:
    line = Line(port, PROFILE.line)
    try:
        # A busy instrument is waited for a twentieth of the time.
        instrument = Instrument(PROFILE, line, lambda seconds: time.sleep(seconds / 20))
        return measuring.sit(store, sitting, instrument, Table(emulator).ask, show)
    finally:
        line.close()


def studio(folder: Path) -> Store:
    store = Store.open(folder)
    store.paints.add_file(PAINTS_TOML)
    store.cards.add(CARD, "text")
    return store


def key(values: np.ndarray) -> bytes:
    return np.round(np.asarray(values, dtype=float) * 1e6).astype(np.int64).tobytes()


@soak("measure.mishaps", 10_000)
def mishaps(trials: int | None, progress: Progress) -> Soaked:
    """Readings with each mishap befalling one reply in twenty: each is there once, of its patch."""
    wanted, done, faults = trials or 10_000, 0, list[str]()
    sittings = -(-wanted // (len(CARD.patches) * REPEATS))
    # A sitting mostly waits, so many may sit at once.
    with multiprocessing.get_context("fork").Pool(AT_ONCE) as pool:
        for number, (read, found) in enumerate(pool.imap(_unlucky, range(sittings)), 1):
            done += read
            faults += found
            progress(f"{number} of {sittings} sittings, {done} readings, {len(faults)} faults")
    return Soaked(done, faults)


def _unlucky(number: int) -> tuple[int, list[str]]:
    """One sitting with mishaps: how many readings counted, and what is wrong with them."""
    kind = "terminal" if number % 4 else "socket"
    shares = dict.fromkeys(MISHAPS, SHARE)
    emulator = Emulator(PROFILE, scene(CARD), Mishaps(shares, number), number)
    with tempfile.TemporaryDirectory() as folder, studio(Path(folder)) as store:
        with plugged_in(emulator, kind) as port:
            sitting = store.sittings.begin(CARD.name, PROFILE, port, REPEATS)
            sat = sit(store, sitting, emulator, port)
        faults = _faults(store.sittings.progress(sitting).readings, emulator)
    expected = len(CARD.patches) * REPEATS
    if sat.session is None or sat.readings != expected:
        faults.append(f"{sat.readings} of {expected} readings")
    return sat.readings, [f"sitting {number}: {fault}" for fault in faults]


def _faults(readings: list[RawReading], emulator: Emulator) -> list[str]:
    sent = {key(s.values): s.under for s in emulator.sent}
    faults, used = [], set[bytes]()
    for reading in readings:
        what = key(reading.values)
        if sent.get(what) != reading.place:
            faults.append(f"{reading.place} was kept, {sent.get(what)} was read")
        if what in used:
            faults.append(f"{reading.place} was kept twice")
        used.add(what)
    return faults


@soak("measure.kills", 200)
def kills(trials: int | None, progress: Progress) -> Soaked:
    """Kill -9 at random moments of sittings: the database opens, all confirmed readings are there.

    The next process goes on with the sitting that the one before was killed in.
    """
    rng, wanted, faults = np.random.default_rng(200), trials or 200, list[str]()
    fork = multiprocessing.get_context("fork")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        studio(folder).close()
        for n in range(wanted):
            ours, theirs = fork.Pipe(duplex=False)
            worker = fork.Process(target=_sit_on, args=(folder, n, theirs))
            worker.start()
            theirs.close()
            time.sleep(float(rng.uniform(0.0, 1.5)))
            if worker.pid is not None and worker.is_alive():
                os.kill(worker.pid, signal.SIGKILL)
            confirmed = _told(ours)
            worker.join()
            if worker.exitcode != -signal.SIGKILL:
                faults.append(f"kill {n}: the worker ended by itself ({worker.exitcode})")
            faults += [f"kill {n}: {fault}" for fault in _lost(folder, confirmed)]
            if n % 20 == 19:
                progress(f"{n + 1} kills, {len(faults)} faults")
        with Store.open(folder) as store:
            for sitting in store.sittings.open():
                emulator = Emulator(PROFILE, scene(CARD), seed=wanted)
                with plugged_in(emulator) as port:
                    sat = sit(store, sitting, emulator, port)
                if sat.session is None or sat.readings != len(CARD.patches) * REPEATS:
                    faults.append(f"going on did not complete it: {sat}")
            finished = len(store.readings.all())
        progress(f"{finished} sittings were finished in between and at the end")
    return Soaked(wanted, faults)


def _sit_on(folder: Path, seed: int, say: Connection) -> None:
    """Sit without end; what is killed."""
    with Store.open(folder) as store:
        while True:
            seed += 10_000
            emulator = Emulator(PROFILE, scene(CARD), seed=seed)
            with plugged_in(emulator) as port:
                sittings = store.sittings.open()
                sitting = (
                    sittings[0]
                    if sittings
                    else store.sittings.begin(CARD.name, PROFILE, port, REPEATS)
                )

                # Shown is what is kept.
                def shown(shown: Shown, number: int = sitting.number) -> None:
                    reading = shown.reading
                    say.send((number, reading.place, reading.round, reading.repeat))

                sit(store, sitting, emulator, port, shown)


def _told(ours: Connection) -> set[tuple[int, str, int, int]]:
    said = set()
    try:
        while True:
            said.add(ours.recv())
    except EOFError:
        return said


def _lost(folder: Path, confirmed: set[tuple[int, str, int, int]]) -> list[str]:
    faults = []
    with sqlite3.connect(folder / "studio.db") as raw:
        if raw.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            faults.append("the database is damaged")
        if raw.execute("PRAGMA foreign_key_check").fetchall():
            faults.append("a row lost its parent")
        kept = raw.execute(
            "SELECT sitting_id, place, round, repeat FROM sitting_readings"
        ).fetchall()
        twice = raw.execute(
            "SELECT reflectance FROM sitting_readings GROUP BY reflectance HAVING count(*) > 1"
        ).fetchall()
    faults += [f"{lost} was confirmed and is lost" for lost in confirmed - set(kept)]
    faults += [f"{len(twice)} readings are there twice"] if twice else []
    with Store.open(folder) as store:
        if len(store.sittings.open()) > 1:
            faults.append("two sittings are open")
    return faults
