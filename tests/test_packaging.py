"""The wheel holds the whole house, and runs."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

HOUSE = Path(__file__).parent.parent
ROOMS = ("calibrate", "database", "charts", "measurements")
PROJECT = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel, built from a copy of what is packed so that no build folder is left here."""
    source, made = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    for name in (*ROOMS, "pyproject.toml", "README.md", "LICENSE"):
        path = HOUSE / name
        if path.is_dir():
            shutil.copytree(path, source / name, ignore=shutil.ignore_patterns("__pycache__"))
        elif path.exists():
            shutil.copy(path, source)
    (source / "README.md").touch()
    done = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", made, source],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return next(made.glob("*.whl"))


def test_packages_list_every_folder():
    folders = {
        f"tintladder.{path.parent.relative_to(HOUSE).as_posix().replace('/', '.')}"
        for room in ROOMS
        for path in (HOUSE / room).rglob("__init__.py")
    }
    assert set(PROJECT["tool"]["setuptools"]["packages"]) == folders


def test_the_wheel_holds_every_file(wheel):
    inside = set(zipfile.ZipFile(wheel).namelist())
    expected = {
        f"tintladder/{path.relative_to(HOUSE).as_posix()}"
        for room in ROOMS
        for path in (HOUSE / room).rglob("*")
        if path.suffix in (".py", ".toml", ".txt", ".csv", ".json", ".npz", ".md", ".pyi", ".typed")
        and "__pycache__" not in path.parts
    }
    assert expected <= inside, expected - inside
    assert not [name for name in inside if name.startswith(("tests", "tintladder/tests"))]


def test_the_wheel_runs_by_itself(wheel, tmp_path):
    """Installed in a folder of its own, it starts a studio there: migrations are packed too."""
    target = tmp_path / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(target)
    # An editable install puts a finder of its own in front; site leaves it out.
    code = """
import sys, tintladder.database.cli as cli
assert cli.__file__.startswith(sys.argv.pop(1)), cli.__file__
cli.main()
"""
    packages = [path for path in sys.path if path.endswith("site-packages")]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(target), *packages])}

    def tool(*arguments):
        return subprocess.run(
            [sys.executable, "-S", "-c", code, str(target), *arguments],
            capture_output=True,
            text=True,
            check=True,
            cwd=tmp_path,
            env=environment,
        ).stdout

    assert "tubes" in tool("--help")
    assert "as KEEL, on hand" in tool("tubes", "add", "--name", "Keel Blue")
