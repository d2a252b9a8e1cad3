"""A registry of benchmarks, and how one is run, judged and kept."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any, Literal

SUBJECTS = (
    "asks",
    "brushed",
    "demo",
    "exports",
    "start",
    "fit",
    "hand",
    "instrument",
    "scan",
    "database",
    "mixing",
    "plot",
    "page",
    "paper",
    "transport",
    "scale",
    "untargeted",
    "trust",
    "real",
)
"""What a benchmark may be about: the first part of its name."""


class Skipped(Exception):
    """Why a benchmark can't be run here."""


@dataclass(frozen=True)
class Timing:
    """Seconds of what is timed and of its baseline, both in this run."""

    seconds: float
    baseline: float


@dataclass(frozen=True)
class Benchmark:
    """One figure and its target.

    Attributes
    ----------
    name : str
        ``subject.what``.
    run : callable
        Returns the figure, or a `Timing`.
    unit : str
    target : float or None
        None where the figure is only reported.
    sense : {"at most", "at least"}
        On which side of the target the figure must lie.
    baseline : str or None
        What a timing is compared with, in words.
    ratio_target : float or None
        A timing is judged on its baseline's seconds over its own: at least this. The target in
        seconds stands beside, for a machine's speed is no merit of ours.
    only : str or None
        Beginning of its name that has to be asked for; else it isn't run, with the others or alone.
        So what nobody tunes on isn't looked at on the way.
    """

    name: str
    run: Callable[[], float | Timing]
    unit: str
    target: float | None = None
    sense: Literal["at most", "at least"] = "at most"
    baseline: str | None = None
    ratio_target: float | None = None
    only: str | None = None

    def entry(self) -> dict[str, Any]:
        """Run it; a row of ``bench.json``.

        An entry of what could not be run says so in ``note``, and has met nothing.
        """
        said: dict[str, Any] = {"name": self.name, "unit": self.unit, "target": self.target}
        try:
            found = self.run()
        except Skipped as reason:
            return said | {"value": None, "met": None, "note": f"skipped: {reason}"}
        except Exception as fault:
            note = " ".join(f"failed: {type(fault).__name__}: {fault}".split())
            return said | {"value": None, "met": False, "note": note}
        if isinstance(found, Timing):
            assert self.ratio_target is not None
            ratio = found.baseline / found.seconds
            return said | {
                "value": found.seconds,
                "met": ratio >= self.ratio_target,
                "baseline": self.baseline,
                "baseline_seconds": found.baseline,
                "ratio": ratio,
                "ratio_target": self.ratio_target,
                "seconds": found.seconds,
            }
        said |= {"value": float(found)}
        if self.target is None:
            return said | {"met": None}
        # A plain bool: numpy's own is not JSON.
        met = bool(found <= self.target if self.sense == "at most" else found >= self.target)
        return said | {"met": met, "sense": self.sense}


REGISTRY: dict[str, Benchmark] = {}


def benchmark(
    name: str, unit: str, **said: Any
) -> Callable[[Callable[[], float | Timing]], Callable[[], float | Timing]]:
    """Register a function as a benchmark (further arguments: see `Benchmark`)."""

    def add(run: Callable[[], float | Timing]) -> Callable[[], float | Timing]:
        if name in REGISTRY:
            raise ValueError(f"two benchmarks are called {name}")
        REGISTRY[name] = Benchmark(name, run, unit, **said)
        return run

    return add


def chosen(names: Iterable[str]) -> list[Benchmark]:
    """Benchmarks of those names, or whose names begin so; all if there are none.

    Those that say so (`Benchmark.only`) are among them where their beginning is asked for.

    Raises
    ------
    KeyError
        For a name that no benchmark has, nor begins with.
    """
    names = list(names)
    found = {n for n, b in REGISTRY.items() if b.only is None} if not names else set()
    for name in names:
        hit = (
            {name}
            if name in REGISTRY
            else {
                n
                for n, b in REGISTRY.items()
                if n.startswith(name) and name.startswith(b.only or "")
            }
        )
        if not hit:
            raise KeyError(name)
        found |= hit
    return [b for b in REGISTRY.values() if b.name in found]


def keep(entries: Iterable[dict[str, Any]], path: Path) -> list[dict[str, Any]]:
    """Write entries over those of the same name; what wasn't run stays, in the registry's order."""
    old = json.loads(path.read_text(encoding="utf-8")) if path.exists() else []
    table = {e["name"]: e for e in old} | {e["name"]: e for e in entries}
    kept = [table[name] for name in REGISTRY if name in table]
    path.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    return kept


def timed(ours: Callable[[], object], baseline: Callable[[], object], repeats: int) -> Timing:
    """Median seconds of both, taken in turn, after one unmeasured run of ours."""
    ours()
    seconds: tuple[list[float], list[float]] = ([], [])
    for _ in range(repeats):
        for run, kept in zip((ours, baseline), seconds, strict=True):
            start = time.perf_counter()
            run()
            kept.append(time.perf_counter() - start)
    return Timing(median(seconds[0]), median(seconds[1]))
