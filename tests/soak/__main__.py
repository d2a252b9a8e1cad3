"""Runs soak tests: ``python -m tests.soak [NAME...]``; a beginning such as ``database.`` runs some.

Prints a line each and writes ``soak.json``. Exit 0 if nothing went wrong, 1 if something did, 2 for
a name that doesn't exist.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from . import cuts, database, fuzz, measure, page  # noqa: F401  (each registers its tests)
from .harness import REGISTRY, entry, keep


def main(arguments: Sequence[str] | None = None) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help="a name, or the beginning of some")
    parser.add_argument("--trials", type=int, help="fewer, to try it; else what the target asks")
    parser.add_argument("--out", type=Path, default=Path("soak.json"), help="where to write")
    parser.add_argument("--list", action="store_true", help="print the names and stop")
    asked = parser.parse_args(arguments)
    if asked.list:
        print("\n".join(REGISTRY))
        return 0
    for name in asked.names:
        if not any(known.startswith(name) for known in REGISTRY):
            print(f"there is no soak test {name}; --list prints the names", file=sys.stderr)
            return 2
    chosen = [n for n in REGISTRY if not asked.names or n.startswith(tuple(asked.names))]
    entries = []
    for name in chosen:
        made = entry(name, asked.trials, lambda words, name=name: print(f"{name}: {words}"))
        entries.append(made)
        keep([made], asked.out)
        said = made.get("note") or f"{made['value']} faults in {made['trials']} trials"
        print(f"{name}: {said}; {'met' if made['met'] else 'not met'}")
    return int(any(made["met"] is False for made in entries))


if __name__ == "__main__":
    sys.exit(main())
