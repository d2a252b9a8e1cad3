"""Kills, flips and crowds: nothing confirmed is lost, nothing is half, every change is named."""

from __future__ import annotations

import multiprocessing
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from pickle import UnpicklingError

import numpy as np
from tintladder.calibrate.errors import InputError
from tintladder.database.releases.files import SUMS
from tintladder.database.releases.publish import publish, releases
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store

from .. import postgres
from ..studio_fixtures import fill, ladder, session
from . import worker
from .harness import Skipped, Soaked, soak

# Each from a process that has loaded everything and done nothing: a kill costs no start.
FRESH = multiprocessing.get_context("forkserver")
FRESH.set_forkserver_preload(["tests.soak.worker"])
HOUSE = Path(__file__).parent.parent.parent
Progress = Callable[[str], None]


@soak("database.kills", 300)
def kills(trials: int | None, progress: Progress) -> Soaked:
    """Kill -9 at random moments of read, fit, publish and import, in one studio all along."""
    rng, faults, wanted = np.random.default_rng(300), list[str](), trials or 300
    said: dict[str, set[str]] = {kind: set() for kind in ("session", "fit", "release", "adopted")}
    done = 0
    while done < wanted:
        # A studio that only grows would make every trial slower than the last.
        with tempfile.TemporaryDirectory() as folder:
            for kind in said.values():
                kind.clear()
            for round_ in range(min(25, wanted - done)):
                done += 1
                _run_and_kill(folder, 1000 * round_, float(rng.uniform(0.0, 2.5)), said)
                faults += [f"kill {done}: {fault}" for fault in _faults(Path(folder), said)]
            progress(f"{done} kills, {len(faults)} faults")
    return Soaked(done, faults)


def _run_and_kill(folder: str, seed: int, after: float, said: dict[str, set[str]]) -> None:
    heard, told = FRESH.Pipe(duplex=False)
    process = FRESH.Process(target=worker.main, args=(folder, seed, told))
    process.start()
    told.close()
    heard.recv()  # it has started: the rest is work
    time.sleep(after)
    process.kill()
    process.join()
    # The last word may have been cut short: that one was not confirmed.
    with suppress(EOFError, OSError, UnpicklingError):
        while True:
            kind, what = heard.recv()
            said[kind].add(what)


def _faults(folder: Path, said: dict[str, set[str]]) -> list[str]:
    faults = []
    with sqlite3.connect(folder / "studio.db") as raw:
        if raw.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            faults.append("the database is damaged")
        if raw.execute("PRAGMA foreign_key_check").fetchall():
            faults.append("a row lost its parent")
        files = [file.removesuffix(".txt") for (file,) in raw.execute("SELECT file FROM sessions")]
        kept = {
            "session": {file.rpartition("-")[2] for file in files},
            "fit": {str(n) for (n,) in raw.execute("SELECT id FROM fits")},
            "release": {v for (v,) in raw.execute("SELECT version FROM releases")},
        }  # fmt: skip
        kept["adopted"] = kept["fit"]
        counts = raw.execute(
            "SELECT count(readings.id) FROM sessions LEFT JOIN readings "
            "ON session_id = sessions.id GROUP BY sessions.id"
        ).fetchall()
    whole = len(session(ladder()).spectra)
    if any(count != whole for (count,) in counts):
        faults.append("a session is half there")
    faults += [f"{kind} {lost} was confirmed and is lost"
               for kind, confirmed in said.items() for lost in confirmed - kept[kind]]  # fmt: skip
    with Store.open(folder) as store:
        rows = releases(store)
        for row in rows[-2:]:
            for place in (row.name, f"{row.name}.zip"):
                problems = verify_release(store.studio.releases / place, row.digest)
                faults += [f"release {place}: {problem}" for problem in problems[:1]]
    return faults


@soak("database.flips", 1000)
def flips(trials: int | None, progress: Progress) -> Soaked:
    """Flip one byte of a release: verify names the file, every time."""
    rng, faults, wanted = np.random.default_rng(1000), list[str](), trials or 1000
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "studio") as store:
        made = publish(fill(store))
        copy = Path(folder) / made.name
        shutil.copytree(made.folder, copy)
        paths = sorted(copy.iterdir())
        sizes = np.array([path.stat().st_size for path in paths], dtype=float)
        for trial in range(wanted):
            # Half by size, half any file alike: small ones have their turn too.
            weights = sizes / sizes.sum() if trial % 2 else None
            path = paths[rng.choice(len(paths), p=weights)]
            good = path.read_bytes()
            bad = bytearray(good)
            bad[rng.integers(len(bad))] ^= int(rng.integers(1, 256))
            path.write_bytes(bad)
            with_digest = trial % 4 < 2
            try:
                problems = verify_release(copy, made.digest if with_digest else None)
            except InputError as error:
                problems = [f"{Path(error.file or '').name}: {error}", str(error.where)]
            named = any(problem.startswith(path.name) for problem in problems)
            if path.name == SUMS and not with_digest:
                # Without its digest at hand: SHA256SUMS itself, or the file whose line changed.
                named = bool(problems)
            if not named:
                faults.append(f"{path.name} was not named ({problems[:1]})")
            path.write_bytes(good)
            if trial % 250 == 249:
                progress(f"{trial + 1} flips, {len(faults)} faults")
        if verify_release(copy, made.digest):
            faults.append("the release isn't as it was after all was put back")
    return Soaked(wanted, faults)


@soak("database.crowd_sqlite", 1)
def crowd_sqlite(trials: int | None, progress: Progress) -> Soaked:
    """Eight processes write forty sessions each at once, to SQLite."""
    with tempfile.TemporaryDirectory() as folder:
        return Soaked(1, _crowd(folder))


@soak("database.crowd_postgresql", 1)
def crowd_postgresql(trials: int | None, progress: Progress) -> Soaked:
    """Write the same to PostgreSQL."""
    if postgres.why_not():
        raise Skipped(postgres.why_not())
    with postgres.server() as url:
        return Soaked(1, _crowd(postgres.new_database(url, "crowd")))


def _crowd(place: str) -> list[str]:
    command = [sys.executable, "-m", "tests.test_store_processes", "write_sessions", place]
    writers = [
        subprocess.Popen(
            [*command, str(100 * (i + 1)), "40"], stdout=subprocess.PIPE, text=True, cwd=HOUSE
        )
        for i in range(8)
    ]
    said = [int(line) for writer in writers for line in writer.communicate()[0].split()]
    faults = [f"a writer ended with {w.returncode}" for w in writers if w.returncode]
    expected = [0, *(100 * (i + 1) + j for i in range(8) for j in range(40))]
    if sorted(said) != expected:
        faults.append(f"{len(said)} sessions were confirmed, {len(expected)} expected")
    with Store.open(place) as store:
        kept = sorted(int(r.source[:-4].rpartition("-")[2]) for r in store.readings.all())
    if kept != expected:
        faults.append(f"{len(kept)} sessions are there, {len(expected)} expected")
    return faults
