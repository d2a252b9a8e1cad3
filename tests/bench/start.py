"""What a command costs before it does anything: its start, in processor time."""

from __future__ import annotations

import hashlib
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from sqlalchemy import select
from tintladder.database.demo.demo import make_demo
from tintladder.database.store import schema
from tintladder.database.store.packing import pack_coefficients, unpack_coefficients
from tintladder.database.store.store import Store

from tests.invented_palette import invented_coefficients

from .database import big_studio
from .demo import COMMAND
from .harness import benchmark

_BARE = (sys.executable, "-c", "import numpy, pandas")
_UNIT = "times the CPU of import numpy, pandas"
_PICTURE = (
    "#7d99a8", "62,-18,-9", "#202428", "#c04030", "#e8d8a0", "#5a7040", "#b8a890", "#38506c",
)  # fmt: skip
_REPEATS = 7
_TUBES = 30


def _spent(command: Sequence[str | Path], folder: Path) -> float:
    """Seconds of processor time that a command takes."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, cwd=folder, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _ratio(studio: Path, *typed: str) -> float:
    """A command's time over that of the import of two libraries, by the least of each."""
    command = (COMMAND, *typed)
    _spent(command, studio)  # compiles what was never imported
    each = [(_spent(command, studio), _spent(_BARE, studio)) for _ in range(_REPEATS)]
    ours, bare = zip(*each, strict=True)
    return min(ours) / min(bare)


def _in_demo(*typed: str) -> float:
    with tempfile.TemporaryDirectory() as folder:
        return _ratio(make_demo(Path(folder) / "demo").folder, *typed)


def many_tubes(folder: Path, count: int) -> None:
    """A studio of so many invented paints, the boatyard's first, each fitted and on hand."""
    big_studio(folder, count)
    made = invented_coefficients(count)
    with Store.open(folder) as store, store.transaction() as session:
        for row in session.scalars(select(schema.Fit).order_by(schema.Fit.id)):
            old = unpack_coefficients(row.coefficients, row.id)
            mine = [int(name[1:]) - 1 for name in old.paints]
            # Uncertainties drawn at random are none: they may be of no covariance at all.
            sure = {name: 0 * getattr(old, name) for name in ("local", "own", "factors")}
            packed = pack_coefficients(replace(old, k=made.k[mine], s=made.s[mine], **sure))
            row.coefficients = packed
            row.coefficients_sha256 = hashlib.sha256(packed).hexdigest()


@benchmark("start.predict_ratio", _UNIT, target=2.5)
def predict_ratio() -> float:
    """Measure ``tintladder predict``."""
    return _in_demo("predict", "ANCHOR=1,HULL=4")


@benchmark("start.recipe_ratio", _UNIT, target=5.0)
def recipe_ratio() -> float:
    """Measure ``tintladder recipe`` with all tubes of the demo."""
    return _in_demo("recipe", "62,-18,-9")


@benchmark("start.setout_ratio", _UNIT, target=15.0)
def setout_ratio() -> float:
    """Measure ``tintladder setout`` of eight colours with 30 tubes on hand."""
    with tempfile.TemporaryDirectory() as folder:
        studio = Path(folder) / "many"
        many_tubes(studio, _TUBES)
        return _ratio(studio, "setout", *_PICTURE)
