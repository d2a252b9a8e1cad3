"""Runs benchmarks: ``python -m tests.bench [NAME...]``; a beginning such as ``fit.`` runs a group.

Prints a table and writes ``bench.json``. Exit 0 if all could be run, whether or not targets are
met; 1 if one broke; 2 for a name that doesn't exist.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from . import (  # noqa: F401  (each registers its benchmarks)
    asks_glaze,
    asks_practice,
    asks_steps,
    asks_tubes,
    brushed,
    calibration,
    cost,
    database,
    demo,
    exports,
    fit,
    hand,
    hostile,
    instrument,
    instrument_profiles,
    measure,
    mixing,
    model_choice,
    next_step,
    page,
    paper,
    plot,
    real,
    real_lab,
    real_learning,
    real_mistakes,
    real_watercolor,
    recovery,
    robust,
    scale,
    scan,
    scan_checks,
    setout,
    start,
    stress,
    textbook,
    transport,
    trust,
    uncertainty,
    untargeted,
    untargeted_pictures,
)
from .harness import REGISTRY, chosen, keep


def _target(entry: dict[str, Any]) -> str:
    if entry["target"] is None:
        return ""
    if "ratio" in entry:
        times = f"at {entry['ratio_target']:.3g} x the speed of {entry['baseline']}"
        return f"{entry['target']:g}; {times}: {entry['ratio']:.3g} x"
    return f"{entry.get('sense', 'at most')} {entry['target']:g}"


def _row(entry: dict[str, Any]) -> tuple[str, ...]:
    value = entry.get("note", "") if entry["value"] is None else _figure(entry["value"])
    met = {True: "met", False: "[bold]not met[/bold]", None: ""}[entry["met"]]
    return entry["name"], value, entry["unit"], _target(entry), met


def _figure(value: float) -> str:
    return f"{value:.3f}" if abs(value) >= 0.1 or not value else f"{value:.2g}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help="a name, or the beginning of some")
    parser.add_argument("--out", type=Path, default=Path("bench.json"), help="where to write")
    parser.add_argument("--list", action="store_true", help="print the names and stop")
    asked = parser.parse_args(arguments)
    if asked.list:
        print("\n".join(REGISTRY))
        return 0
    try:
        runs = chosen(asked.names)
    except KeyError as error:
        print(f"there is no benchmark {error.args[0]}; --list prints the names", file=sys.stderr)
        return 2
    # A file has room for whole names, whatever the terminal's width.
    console, entries = Console(width=None if sys.stdout.isatty() else 150), []
    with console.status("") as status:
        for i, each in enumerate(runs, 1):
            status.update(f"{i} of {len(runs)}: {each.name}")
            entries.append(each.entry())
            keep(entries, asked.out)
    table = Table()
    for heading in ("benchmark", "value", "unit", "target", ""):
        table.add_column(heading, no_wrap=heading in ("benchmark", ""))
    for entry in entries:
        table.add_row(*_row(entry))
    console.print(table)
    return int(any(e.get("note", "").startswith("failed") for e in entries))


if __name__ == "__main__":
    sys.exit(main())
