"""A registry of soak tests: each runs long, counts what went wrong, and is kept in soak.json."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any


class Skipped(Exception):
    """Why a soak test can't be run here."""


@dataclass(frozen=True)
class Soaked:
    """What a soak test did.

    Attributes
    ----------
    trials : int
    faults : list of str
        What went wrong; empty where nothing did.
    """

    trials: int
    faults: list[str]


Run = Callable[[int | None, Callable[[str], None]], Soaked]
REGISTRY: dict[str, tuple[Run, int]] = {}


def soak(name: str, trials: int) -> Callable[[Run], Run]:
    """Register a soak test: ``subject.what``, and how many trials its target asks for."""

    def add(run: Run) -> Run:
        if name in REGISTRY:
            raise ValueError(f"two soak tests are called {name}")
        REGISTRY[name] = run, trials
        return run

    return add


def entry(name: str, trials: int | None, progress: Callable[[str], None]) -> dict[str, Any]:
    """Run one; a row of ``soak.json``."""
    run, target = REGISTRY[name]
    said: dict[str, Any] = {"name": name, "target": f"no fault in {target} trials"}
    start = time.perf_counter()
    try:
        done = run(trials, progress)
    except Skipped as reason:
        return said | {"value": None, "met": None, "note": f"skipped: {reason}"}
    except Exception as fault:
        note = " ".join(f"failed: {type(fault).__name__}: {fault}".split())
        return said | {"value": None, "met": False, "note": note}
    return said | {
        "value": len(done.faults),
        "trials": done.trials,
        "met": not done.faults and done.trials >= target,
        "faults": done.faults[:20],
        "seconds": round(time.perf_counter() - start, 1),
    }


def keep(entries: list[dict[str, Any]], path: Path) -> None:
    """Write entries over those of the same name; what wasn't run stays."""
    old = json.loads(path.read_text(encoding="utf-8")) if path.exists() else []
    table = {e["name"]: e for e in old} | {e["name"]: e for e in entries}
    kept = [table[name] for name in sorted(table)]
    path.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
