"""The house stands floor on floor: what a module imports lies below it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HOUSE = Path(__file__).parent.parent
FLOORS = {
    "calibrate": (
        "plain_text", "errors", "optics", "formats", "cards", "instrument", "scan", "fit",
    ),
    "calibrate/fit": (
        "problem", "solver", "uncertainty", "judging", "joint", "new_tube", "ladder", "planning",
        "scans",
    ),
    "database": (
        "common", "mixing", "store", "cards", "fits", "easel", "releases", "care", "pictures",
        "paper", "demo", "manual", "page", "commands", "cli",
    ),
}  # fmt: skip
"""Rooms, from the ground up: a module imports only from its own room and from those below."""
MOST = 25
"""Modules in a room; of the commands there is one each."""
LONGEST = 400
"""Lines that no module reaches: one that does holds two subjects."""
ONLY = {
    "alembic": ("database/store",),
    "matplotlib": ("database/pictures",),
    "sqlalchemy": ("database/store",),
}
"""Libraries that one room alone may import, wherever in a module that is."""
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


def height(house, parts):
    """Height of a module over the ground of a house that has floors; None outside it."""
    depth = len(Path(house).parts)
    if parts[:depth] != Path(house).parts or len(parts) == depth:
        return None
    name = parts[depth].removesuffix(".py")
    return FLOORS[house].index(name) if name in FLOORS[house] else None


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
        for house in FLOORS:
            mine, its = height(house, parts), height(house, target)
            assert mine is None or its is None or its <= mine, f"{where}, which lies above"
        if parts[:2] == ("database", "page"):
            assert target[:2] != ("database", "demo"), where
        if parts[:2] == ("database", "commands") and parts[2] not in ("open.py", "demo.py"):
            assert target[:2] != ("database", "page"), (
                f"{where}: open and demo alone start the page"
            )


def test_every_room_has_its_floor_and_says_what_lives_there():
    for house, floors in FLOORS.items():
        rooms = {path.parent.name for path in (HOUSE / house).glob("*/__init__.py")}
        assert rooms <= set(floors), house
        for room in rooms:
            tree = ast.parse((HOUSE / house / room / "__init__.py").read_text(encoding="utf-8"))
            assert len(ast.get_docstring(tree) or "") > 40, f"{house}/{room}"


def test_no_room_is_crowded():
    for package in ("calibrate", "database"):
        for room in {path.parent for path in (HOUSE / package).rglob("*.py")}:
            modules = [path for path in room.glob("*.py") if path.name != "__init__.py"]
            one_each = room.name in ("commands", "versions")
            assert len(modules) <= MOST or one_each, f"{room}: {len(modules)} modules"


def test_no_file_is_long():
    long = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert not {str(path): lines for path, lines in long.items() if lines >= LONGEST}


def test_one_room_alone_knows_each_large_library():
    for path in MODULES:
        room = path.relative_to(HOUSE).parent.as_posix()
        for level, name, line in imported(path):
            library = "" if level else name.split(".")[0]
            at_home = ONLY.get(library, ("",))
            assert any(room.startswith(home) for home in at_home), f"{path}:{line} imports {name}"


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
        "database/mixing/d.py": "def f():\n    from ..store import engine",
        "database/e.py": "def f():\n    from ..tests.lab import paint",
    }
    for name, text in wrong.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        with pytest.raises(AssertionError):
            test_imports_go_down(path)
