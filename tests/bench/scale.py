"""How cost grows with the number of paints: log-log slopes, and what a thousand paints take.

A slope of 1 means that twice as many paints take twice as long. Each piece of work is done in a
process of its own and counted in seconds of the processor, so that a busy machine tells the same.
The slope is the steepest between neighbouring numbers of paints, so that what only shows among many
isn't evened out.
"""

from __future__ import annotations

import atexit
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from math import log
from pathlib import Path

from distributed import LocalCluster
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.database.fits.cluster import spread_by

from .harness import benchmark
from .scale_paints import nickname, readings, tube
from .scale_studio import fitted_studio
from .scale_work import WORK

SIZES = (10, 100, 1000)
_SMALLER = {"fit_all": (10, 30, 100)}
"""Work that takes minutes for a thousand paints; its costly part, `joint`, is timed for these."""
_ASKED = "scale."
"""It takes a quarter of an hour, and is run where it is asked for."""
_SLOPE = 1.1
_SPREAD, _BY_TRANSPORT = 150, FitSettings(model="transport")
"""Paints that workers of a cluster share, and the costlier model."""


@cache
def _studio(paints: int) -> Path:
    folder = Path(tempfile.mkdtemp(prefix="tintladder-bench-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    fitted_studio(folder, paints)
    return folder


@cache
def _measured(work: str, paints: int) -> dict[str, float]:
    """Seconds, gigabytes and bytes that a piece of work took with so many paints."""
    run = [sys.executable, "-m", "tests.bench.scale_work", work, _studio(paints), _studio(10)]
    done = subprocess.run(run, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return found


def _sizes(work: str) -> tuple[int, ...]:
    return _SMALLER.get(work, SIZES)


def _slope(work: str) -> float:
    """The steepest between neighbouring numbers of paints; prints what it rests on."""
    seconds = {n: _measured(work, n)["seconds"] for n in _sizes(work)}
    print(f"{work}: " + ", ".join(f"{n} paints {s:.3g} s" for n, s in seconds.items()))
    return max(log(seconds[b] / seconds[a]) / log(b / a) for a, b in pairwise(seconds))


def _of_most(work: str, what: str) -> Callable[[], float]:
    return lambda: _measured(work, _sizes(work)[-1])[what]


for name in WORK:
    most = _sizes(name)[-1]
    benchmark(f"scale.{name}_slope", "of seconds over paints, log-log", target=_SLOPE, only=_ASKED)(
        lambda name=name: _slope(name)
    )
    benchmark(
        f"scale.{name}_gigabytes",
        f"GB, {most:,} paints",
        target=2.0 if name == "joint" else None,
        only=_ASKED,
    )(_of_most(name, "gigabytes"))


@benchmark(
    "scale.new_tube_ratio",
    "times, one tube against 1,000 over against ten",
    target=1.2,
    only=_ASKED,
)
def new_tube_ratio() -> float:
    return _measured("new_tube", 1000)["seconds"] / _measured("new_tube", 10)["seconds"]


@benchmark(
    "scale.joint_ratio", "times, the joint fit of 1,000 paints over ten", target=100.0, only=_ASKED
)
def joint_ratio() -> float:
    return _measured("joint", 1000)["seconds"] / _measured("joint", 10)["seconds"]


@benchmark(
    "scale.recipe_ratio", "times, three tubes among 1,000 over among 30", target=10.0, only=_ASKED
)
def recipe_ratio() -> float:
    return _measured("recipe", 1000)["seconds"] / _measured("recipe", 30)["seconds"]


@benchmark(
    "scale.studio_bytes_slope",
    "of the database's bytes over paints, log-log",
    target=1.1,
    only=_ASKED,
)
def studio_bytes_slope() -> float:
    sizes = {n: (_studio(n) / "studio.db").stat().st_size for n in SIZES}
    print("studio.db: " + ", ".join(f"{n} paints {s / 1e6:.3g} MB" for n, s in sizes.items()))
    return max(log(sizes[b] / sizes[a]) / log(b / a) for a, b in pairwise(sizes))


@benchmark(
    "scale.release_bytes_slope",
    "of a release's bytes over paints, log-log",
    target=1.1,
    only=_ASKED,
)
def release_bytes_slope() -> float:
    sizes = {n: _measured("publish", n)["bytes"] for n in SIZES}
    print("release: " + ", ".join(f"{n} paints {s / 1e6:.3g} MB" for n, s in sizes.items()))
    return max(log(sizes[b] / sizes[a]) / log(b / a) for a, b in pairwise(sizes))


def _by_cluster(workers: int) -> float:
    """Seconds of a fit that so many workers share, here on this machine."""
    read, tubes = readings(range(_SPREAD)), {nickname(i): tube(i) for i in range(_SPREAD)}
    with (
        LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as local,
        spread_by(local.scheduler_address),
    ):
        fit_paints(read[:5], tubes, _BY_TRANSPORT, leave_out=True)  # workers import what they need
        start = time.perf_counter()
        fit_paints(read, tubes, _BY_TRANSPORT, leave_out=True)
        return time.perf_counter() - start


@benchmark(
    "scale.cluster_ratio",
    f"times, {_SPREAD} paints fitted by one worker over by two",
    target=1.5,
    sense="at least",
    only=_ASKED,
)
def cluster_ratio() -> float:
    return _by_cluster(1) / _by_cluster(2)
