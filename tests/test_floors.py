"""The house stands floor on floor: what a module imports lies below it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HOUSE = Path(__file__).parent.parent
FLOORS = ("optics", "formats", "cards", "instrument", "scan", "fit")
"""Rooms of calibrate, from the ground up; errors.py lies below them all."""
MODULES = sorted(
    path
    for package in ("calibrate", "database", "charts", "measurements")
    for path in (HOUSE / package).rglob("*.py")
)


def imported(path):
    """Every import of a module as (level, dotted name, line)."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((0, alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            names = [node.module] if node.module else [alias.name for alias in node.names]
            yield from ((node.level, name, node.lineno) for name in names)


def inside(path):
    """Every import from this house, as its parts from the house down."""
    for level, name, line in imported(path):
        if level:
            here = path.relative_to(HOUSE).parts[:-level]
            yield (*here, *name.split(".")), line


def height(parts):
    """Height of a module of calibrate."""
    if parts[1].removesuffix(".py") == "errors":
        return -1
    return FLOORS.index(parts[1])


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(HOUSE)))
def test_imports_go_down(path):
    parts = path.relative_to(HOUSE).parts
    for level, name, line in imported(path):
        where = f"{path}:{line} imports {name}"
        assert level or name.split(".")[0] not in ("tintladder", "tests"), where
        assert level or name not in ("calibrate", "database", "charts", "measurements"), where
    for target, line in inside(path):
        where = f"{path}:{line} imports {'.'.join(target)}"
        assert target[0] in ("calibrate", "database"), where
        if parts[0] == "calibrate":
            assert target[0] == "calibrate", where
        if parts[0] == "calibrate" and len(parts) > 2:
            assert height(target) <= height(parts), where
        if parts[0] == "database" and parts[1] != "commands" and parts[1] != "cli.py":
            assert target[:2] != ("database", "commands"), f"{where}: the command line is the roof"
            assert target[:2] != ("database", "cli"), f"{where}: the command line is the roof"


def test_every_room_has_its_floor():
    rooms = {path.parent.name for path in (HOUSE / "calibrate").glob("*/__init__.py")}
    assert rooms <= set(FLOORS)


def test_data_packages_hold_no_code():
    for package in ("charts", "measurements"):
        for path in (HOUSE / package).rglob("*.py"):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            assert path.name == "__init__.py" and len(tree.body) == 1, path


def test_the_check_sees_an_upward_import(tmp_path, monkeypatch):
    """The check itself, against a house built wrong."""
    monkeypatch.setattr(f"{__name__}.HOUSE", tmp_path)
    wrong = {
        "calibrate/optics/a.py": "from ..fit.solve import solve",
        "calibrate/fit/b.py": "from ...database.store import Store",
        "calibrate/fit/c.py": "import tintladder.calibrate",
        "database/d.py": "from .commands import read",
        "database/e.py": "def f():\n    from ..tests.lab import paint",
    }
    for name, text in wrong.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        with pytest.raises(AssertionError):
            test_imports_go_down(path)
