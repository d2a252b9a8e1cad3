"""How simple the house is, in figures: ``python -m tests.structure`` (``make structure``).

What runs is traced, not read: a file counts where a function of it is called. A number passes a
function that hands it on: one whose result holds it, as percent or as a fraction, as text or as a
number; from the fit on the number followed is the K that it led to. What lies between, the least
squares, turns all numbers into all others, and isn't counted, nor is what only looks at a number to
judge it (`LOOKS`), with all that it calls.
"""

from __future__ import annotations

import io
import re
import sys
import tempfile
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from inspect import CO_OPTIMIZED
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from tintladder.database import cli
from tintladder.database.demo.demo import make_demo

HOUSE = Path(__file__).resolve().parent.parent
ROOMS = ("calibrate", "database")
TARGETS = {"recipe": 18, "functions": 20, "files": 10, "crossings": 1, "lines": 50_000}
LOOKS = (
    "calibrate/fit/solver/", "calibrate/fit/judging/", "calibrate/fit/uncertainty/check.py",
    "calibrate/fit/uncertainty/propagate.py", "database/fits/check_mixtures.py",
    "database/fits/judging.py", "database/fits/scan_fitting.py", "database/releases/gates.py",
    "database/releases/compare.py", "database/commands/",
)  # fmt: skip
CARD = "anchor-blue"
_DEEP = 4
"""How far into what a function was given or returns a number is looked for."""


@dataclass(frozen=True)
class Call:
    """A call of a function of ours."""

    file: str
    name: str
    caller: str


def _file(frame: Any) -> str | None:
    """File of a frame within the house; None elsewhere, and for what isn't a function."""
    code = frame.f_code
    # The body of a class runs once, when its module is first imported, and is no call either.
    is_function = code.co_flags & CO_OPTIMIZED and not code.co_name.startswith("<")
    return _at_home(code.co_filename) if is_function else None


@cache
def _at_home(name: str) -> str | None:
    path = Path(name)
    if not path.is_absolute() or not path.exists():
        return None
    path = path.resolve()
    return path.relative_to(HOUSE).as_posix() if path.is_relative_to(HOUSE) else None


@contextmanager
def traced(seen: Callable[[str, str, Any, Any], None]) -> Iterator[None]:
    """Call `seen` with file, event, frame and what is returned, of every function of ours."""

    def profile(frame: Any, event: str, returned: Any) -> None:
        if event in ("call", "return"):
            file = _file(frame)
            if file is not None and file.startswith(ROOMS):
                seen(file, event, frame, returned)

    threading.setprofile(profile)
    sys.setprofile(profile)
    try:
        yield
    finally:
        sys.setprofile(None)
        threading.setprofile(None)  # type: ignore[arg-type]


def run(*arguments: object) -> None:
    """Run a command in this process, as the shell would."""
    before = sys.argv
    sys.argv = ["tintladder", *map(str, arguments)]
    try:
        with redirect_stdout(io.StringIO()):
            cli.main()
    except SystemExit as stop:
        assert not stop.code, arguments
    finally:
        sys.argv = before


def files_of_recipe(studio: Path) -> set[str]:
    """Files that one recipe of a target runs through."""
    files: set[str] = set()
    with traced(lambda file, *_: files.add(file)):
        run("recipe", "62,-18,-9", "--studio", studio)
    return files


def _holds(value: Any, numbers: tuple[float, ...], texts: tuple[str, ...], deep: int) -> bool:
    """Whether a value is one of the numbers, or holds one."""
    if isinstance(value, (bool, int, type(None))):
        return False
    if isinstance(value, float):
        return any(abs(value - number) <= 1e-12 * number for number in numbers)
    if isinstance(value, (bytes, str)):
        said = value.decode(errors="replace") if isinstance(value, bytes) else value
        return any(text in said for text in texts)
    if isinstance(value, np.ndarray):
        if value.dtype.kind != "f" or not value.size:
            return False
        return any(bool((abs(value - number) <= 1e-12 * number).any()) for number in numbers)
    if isinstance(value, pd.DataFrame):
        value = [value[name].to_numpy() for name in value]
    return deep > 0 and any(_holds(each, numbers, texts, deep - 1) for each in _inside(value))


def _inside(value: Any) -> Iterable[Any]:
    """What a value holds."""
    if isinstance(value, Mapping):
        return value.values()
    if isinstance(value, (list, tuple, set, frozenset)):
        return value
    if is_dataclass(value) and not isinstance(value, type):
        return [getattr(value, field.name, None) for field in fields(value)]
    return vars(value).values() if hasattr(value, "__table__") else ()


def _files_above(frame: Any) -> Iterator[str]:
    """Files of the functions that wait for this one, the nearest first."""
    while (frame := frame.f_back) is not None:
        if (file := _file(frame)) is not None:
            yield file


def calls_of_number(
    work: Callable[[], None], numbers: tuple[float, ...], texts: tuple[str, ...]
) -> list[Call]:
    """Calls that return one of some numbers, in the order of their ends."""
    found: dict[Call, None] = {}

    def seen(file: str, event: str, frame: Any, returned: Any) -> None:
        if event != "return" or not _holds(returned, numbers, texts, _DEEP):
            return
        callers = [name for name in _files_above(frame) if name.startswith(ROOMS)]
        # The command itself stands above all.
        inner = [name for name in callers if not name.startswith("database/commands/")]
        if not any(name.startswith(LOOKS) for name in (file, *inner)):
            found[Call(file, frame.f_code.co_qualname, callers[0] if callers else "")] = None

    with traced(seen):
        work()
    return list(found)


def path_of_number(studio: Path) -> list[Call]:
    """Calls that hold a number of a CGATS file on its way into ``coefficients.csv``."""
    text = (studio / "readings" / f"{CARD}.txt").read_text(encoding="utf-8")
    rows = text.partition("BEGIN_DATA\n")[2].splitlines()
    typed = max(re.findall(r"\d+\.\d+", rows[0]), key=len)
    percent = float(typed)
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder)
        at = ("--studio", made)
        run("read", studio / "paints.toml", *sorted((studio / "cards").glob("*.toml")), *at)
        mine = (percent, percent / 100)

        def read_and_fit() -> None:
            run("read", *sorted((studio / "readings").glob("*.txt")), *at)
            run("fit", *at)

        calls = calls_of_number(read_and_fit, mine, (typed,))
        run("publish", *at)
        release = next(path for path in (made / "releases").iterdir() if path.is_dir())
        table = pd.read_csv(release / "coefficients.csv", dtype={"value": str})
        of = table[(table["paint"] == "ANCHOR") & (table["quantity"] == "K")]
        k = str(of["value"].iloc[len(of) // 4])

        def fit_and_publish() -> None:
            run("fit", *at)
            run("publish", "--note", "again", *at)

        return [*calls, *calls_of_number(fit_and_publish, (float(k),), (k,))]


def lines_of_code() -> int:
    """Lines of Python in both packages."""
    return sum(
        len(path.read_text(encoding="utf-8").splitlines())
        for room in ROOMS
        for path in (HOUSE / room).rglob("*.py")
    )


def main() -> None:
    """Print the figures, each beside its target."""
    with tempfile.TemporaryDirectory() as folder:
        studio = make_demo(Path(folder) / "demo").folder
        recipe = files_of_recipe(studio)
        path = path_of_number(studio)
    functions = {(call.file, call.name) for call in path}
    files = {call.file for call in path}
    entries = {
        (call.caller, call.file, call.name)
        for call in path
        if call.caller.startswith("database") and call.file.startswith("calibrate")
    }
    if "--list" in sys.argv:
        print("\n".join(sorted(recipe)), "\n")
        print("\n".join(f"{call.file} {call.name}, from {call.caller}" for call in path), "\n")
    for words, found, target in (
        ("files that one recipe runs through", len(recipe), TARGETS["recipe"]),
        ("functions that a CGATS number passes", len(functions), TARGETS["functions"]),
        ("files that a CGATS number passes", len(files), TARGETS["files"]),
        ("times it goes from database into calibrate", len(entries), TARGETS["crossings"]),
        ("lines of Python in calibrate and database", lines_of_code(), TARGETS["lines"]),
    ):
        print(f"{found:>7,}  {words} (at most {target:,})")


if __name__ == "__main__":
    main()
