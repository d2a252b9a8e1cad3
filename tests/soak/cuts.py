"""Every command, killed or out of room on the disk, at each of its file operations in turn.

A small library loaded before the C library counts what is done to files below a studio's folder
(``cut.c``): files opened to write, written, renamed, taken away, handed to the disk; so SQLite's
commits too. At the one that is meant it kills the process, half a write done; or the disk is full
from there on. Each trial begins with a copy of one studio; the command runs in a fork of a process
that has loaded everything.

A command that works longer is cut at as many operations as `SECONDS` allow, evenly spread, the
first and the last among them; the soak says how many there were. After every fifth cut the command
is run again, uncut.

``python -m tests.soak.cuts kill|full MOST [COMMAND ...]`` runs what the library was loaded into.
"""

from __future__ import annotations

import ctypes
import io
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from tintladder.database import cli

from .every_command import COMMANDS, begin, load_all
from .harness import Skipped, Soaked, soak
from .left import State, faults_of

HERE = Path(__file__).parent
KILL, FULL = 1, 2
MOST = 10_000
SECONDS, LEAST = 60.0, 20
"""Processor time for the runs of one command that are cut, and how many there are in any case."""
AGAIN = 5
KILLED = -9


@dataclass(frozen=True)
class Ran:
    """What a run of the command line came to: its exit status, its words, its operations."""

    status: int
    out: str
    err: str
    operations: int


def run(place: Path, words: list[str], mode: int = KILL, at: int = 0) -> Ran:
    """Run a command in the studio of a place, in a fork; cut at an operation, or not at all."""
    said = place / "said"
    said.mkdir(exist_ok=True)
    child = os.fork()
    if not child:
        _be_the_command(place, words, mode, at)
    _, ended = os.waitpid(child, 0)
    status = os.waitstatus_to_exitcode(ended)
    out, err = ((said / n).read_text(errors="replace") for n in ("out", "err"))
    counted = said / "count"
    count = int(counted.read_text()) if status != KILLED and counted.exists() else 0
    return Ran(status, out, err, count)


def _be_the_command(place: Path, words: list[str], mode: int, at: int) -> None:
    studio, said = place / "studio", place / "said"
    os.chdir(studio)
    for number, name in ((1, "out"), (2, "err")):
        os.dup2(os.open(said / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
    sys.stdout, sys.stderr = (open(n, "w", closefd=False) for n in (1, 2))  # noqa: SIM115
    sys.stdin = io.StringIO()
    sys.argv = ["tintladder", *words]
    tempfile.tempdir = str(studio / "tmp")
    cut = ctypes.CDLL(None)
    cut.cut_begin(mode, ctypes.c_long(at), str(studio).encode())
    try:
        cli.main()
        status = 0
    except SystemExit as stop:
        status = int(stop.code or 0)
    except BaseException as fault:
        print(f"came through: {fault!r}", file=sys.stderr)
        status = 1
    count = cut.cut_end()
    (said / "count").write_text(str(count))
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(status)


def sweep(mode: int, most: int, names: list[str], say: Callable[[Any], None]) -> None:
    """Cut some commands, each at no more than so many operations; say a line of JSON for each."""
    load_all()
    root = Path(tempfile.mkdtemp(dir="/dev/shm" if Path("/dev/shm").is_dir() else None))
    try:
        begin(root / "begun" / "studio", run)
        for name in names:
            say({"command": name, **_cut(root, COMMANDS[name], mode, most)})
    finally:
        shutil.rmtree(root)


def _cut(root: Path, words: list[str], mode: int, most: int) -> dict[str, Any]:
    def fresh() -> Path:
        shutil.rmtree(root / "place", ignore_errors=True)
        return Path(shutil.copytree(root / "begun", root / "place"))

    place = fresh()
    before, begun = State.of(place / "studio"), os.times().children_user
    whole = run(place, words, mode)
    seconds = os.times().children_user - begun
    after = State.of(place / "studio")
    if whole.status:
        return {"operations": 0, "trials": 0, "faults": [f"it fails uncut: {whole.err}"]}
    count, faults = whole.operations, list[str]()
    most = min(count, most, max(LEAST, int(SECONDS / max(seconds, 0.01))))
    chosen = sorted({round(at) for at in np.linspace(1, count, most)})
    for number, at in enumerate(chosen):
        place = fresh()
        ran = run(place, words, mode, at)
        found = faults_of(ran, place / "studio", before, after, mode == KILL)
        if number % AGAIN == 0 and (said := _again(run(place, words))):
            found.append(said)
        faults += [f"at {at} of {count}: {fault}" for fault in found]
    return {"operations": count, "trials": len(chosen), "faults": faults}


def _again(ran: Ran) -> str:
    """Say what is wrong where a command that was cut doesn't go on, nor say why."""
    fine = ran.status == 0 or (ran.status == 2 and ran.err.count("\n") == 1)
    return "" if fine else f"it can't be run again: {ran.err}"


def _soak(kind: str, wanted: int | None, progress: Callable[[str], None]) -> Soaked:
    compiler = shutil.which("cc")
    if compiler is None or not sys.platform.startswith("linux"):
        raise Skipped("it needs Linux and a C compiler")
    trials, faults = 0, list[str]()
    each = MOST if wanted is None else max(2, wanted // len(COMMANDS))
    with tempfile.TemporaryDirectory() as folder:
        library = Path(folder) / "cut.so"
        subprocess.run(
            [compiler, "-shared", "-fPIC", "-O1", "-o", library, HERE / "cut.c", "-ldl"], check=True
        )
        command = [sys.executable, "-m", "tests.soak.cuts", kind, str(each)]
        env = os.environ | {"LD_PRELOAD": str(library), "OPENBLAS_NUM_THREADS": "1"}
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env) as worker:
            assert worker.stdout is not None
            for line in worker.stdout:
                said = json.loads(line)
                trials += said["trials"]
                faults += [f"{said['command']} {fault}" for fault in said["faults"]]
                of = f"{said['trials']} of {said['operations']} operations"
                progress(f"{said['command']}: {of}, {len(said['faults'])} faults")
        if worker.returncode:
            faults.append(f"the sweep ended with {worker.returncode}")
    return Soaked(trials, faults)


@soak("cuts.kills", 1000)
def kills(trials: int | None, progress: Callable[[str], None]) -> Soaked:
    """Kill every command at each of its file operations."""
    return _soak("kill", trials, progress)


@soak("cuts.full_disk", 1000)
def full_disk(trials: int | None, progress: Callable[[str], None]) -> Soaked:
    """Have the disk full from each operation on that takes room, in every command."""
    return _soak("full", trials, progress)


if __name__ == "__main__":
    kind, most, *some = sys.argv[1:]
    out = os.fdopen(os.dup(1), "w")

    def _line(said: Any) -> None:
        print(json.dumps(said), file=out, flush=True)

    sweep({"kill": KILL, "full": FULL}[kind], int(most), some or list(COMMANDS), _line)
