"""What a fit was made with: the code that its numbers come from, and the libraries it counts on."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path

_HOUSE = Path(__file__).parent.parent.parent
_COUNTS = ("calibrate/cards", "calibrate/optics", "calibrate/fit", "database/fits")
"""Rooms that a fit's numbers can depend on."""


@cache
def made_with() -> dict[str, str]:
    """Return the versions of this program, its code (a digest of it), numpy and scipy."""
    return {
        "tintladder": version("tintladder"),
        "code": _code(),
        "numpy": version("numpy"),
        "scipy": version("scipy"),
    }


def _code() -> str:
    """Two commits of one version are told apart by what stands in their files."""
    digest = hashlib.sha256()
    for room in _COUNTS:
        for path in sorted((_HOUSE / room).rglob("*")):
            if path.suffix in (".py", ".npz", ".csv"):
                digest.update(path.relative_to(_HOUSE).as_posix().encode())
                digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()[:16]


def same_code(one: Mapping[str, str] | None) -> bool:
    """Whether a fit was made by the code that runs here; unknown counts as no."""
    return one is not None and one.get("code") == made_with()["code"]


def same_libraries(one: Mapping[str, str] | None) -> bool:
    """Whether it was made with the numpy and scipy that are installed here."""
    mine = made_with()
    return one is not None and all(one.get(name) == mine[name] for name in ("numpy", "scipy"))
