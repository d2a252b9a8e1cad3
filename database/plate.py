"""What is on the plate: a list of additions, kept beside the studio as one goes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from ..calibrate.errors import InputError

NAME = "plate.json"
Additions = list[dict[str, float]]


def read_plate(folder: Path) -> Additions:
    """Return every addition so far, in grams by nickname, in order.

    Raises
    ------
    InputError
        Where the file isn't one of ours.
    """
    path = folder / NAME
    if not path.exists():
        return []
    try:
        found = [
            {str(name): float(grams) for name, grams in each.items()}
            for each in json.loads(path.read_text(encoding="utf-8"))
        ]
    except (ValueError, AttributeError, TypeError):
        raise InputError(
            path, None, "expected a list of additions in grams", "start anew: --clear"
        ) from None
    return found


def write_plate(folder: Path, additions: Sequence[Mapping[str, float]]) -> None:
    """Keep the additions, all or none."""
    path = folder / NAME
    beside = path.with_suffix(".new")
    beside.write_text(json.dumps([dict(a) for a in additions], indent=1) + "\n", encoding="utf-8")
    beside.replace(path)


def on_plate(additions: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Sum the additions, grams by nickname."""
    total: dict[str, float] = {}
    for each in additions:
        for name, grams in each.items():
            total[name] = total.get(name, 0.0) + grams
    return total
