"""From raw readings to trusted reflectance, and from reflectance to K and S.

What a program needs is here by name, and loaded when it is first used::

    from tintladder.calibrate import Surface, fit_ladder, predict_mixes

The names stand in ``__init__.pyi`` alone, where a type checker reads them too.
"""

from __future__ import annotations

import ast
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any


@cache
def _modules() -> dict[str, str]:
    """The module that each name of the door lives in."""
    stub = ast.parse(Path(__file__).with_suffix(".pyi").read_text(encoding="utf-8"))
    lines = [node for node in stub.body if isinstance(node, ast.ImportFrom)]
    return {alias.name: f".{line.module}" for line in lines for alias in line.names}


def __getattr__(name: str) -> Any:
    if name == "__all__":
        return sorted(_modules())
    # Other names with underscores are asked for by every import, and are never here.
    if name.startswith("_") or name not in _modules():
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = globals()[name] = getattr(import_module(_modules()[name], __name__), name)
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *_modules()})
