"""What a command costs before it does anything: its start, in processor time."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tintladder.database.demo.demo import make_demo

from .demo import COMMAND
from .harness import benchmark

_BARE = (sys.executable, "-c", "import numpy, pandas")
_MIX = "ANCHOR=1,HULL=4"
_REPEATS = 7


def _spent(command: Sequence[str | Path], folder: Path) -> float:
    """Seconds of processor time that a command takes."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, cwd=folder, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@benchmark(
    "start.predict_ratio",
    "times the CPU of import numpy, pandas",
    target=2.5,
)
def predict_ratio() -> float:
    """Compare ``tintladder predict`` with the import of two libraries, by the least of each."""
    with tempfile.TemporaryDirectory() as folder:
        studio = make_demo(Path(folder) / "demo").folder
        predict = (COMMAND, "predict", _MIX)
        _spent(predict, studio)  # compiles what was never imported
        each = [(_spent(predict, studio), _spent(_BARE, studio)) for _ in range(_REPEATS)]
    ours, bare = zip(*each, strict=True)
    return min(ours) / min(bare)
