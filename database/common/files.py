"""Files read as text or written whole, databases copied, and what a run that was killed left."""

from __future__ import annotations

import shutil
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from secrets import token_hex

from ...calibrate.errors import InputError, Remedy

PART = ".part"
"""Ending of a file that isn't whole yet; its name begins with a dot."""
BUILDING, BACKING_UP, RESTORING = ".building-", ".backup-", ".restore-"
"""Beginnings of folders in which a release, a backup or a restored studio is made."""
AN_HOUR = 3600.0
"""Seconds; nothing here writes for as long without a pause."""


def is_leftover(name: str) -> bool:
    """Whether a file or folder of that name is of a run that goes on, or was killed."""
    begun = name.startswith((BUILDING, BACKING_UP, RESTORING))
    return begun or (name.startswith(".") and name.endswith(PART))


def leftovers(folders: Iterable[Path]) -> list[Path]:
    """Return what such runs left in some folders, not in those below them."""
    found: list[Path] = []
    for folder in folders:
        with suppress(OSError):
            found += [path for path in sorted(folder.iterdir()) if is_leftover(path.name)]
    return found


def clear(folders: Iterable[Path]) -> None:
    """Take away what is older than an hour: whoever made it goes on no more."""
    for path in leftovers(folders):
        with suppress(OSError):
            if time.time() - _touched(path) < AN_HOUR:
                continue
            if path.is_dir():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink()


def _touched(path: Path) -> float:
    return max(each.lstat().st_mtime for each in (path, *path.rglob("*")))


@contextmanager
def beside(*paths: Path) -> Iterator[list[Path]]:
    """Give a place beside each path; what is written there by the end moves to the paths.

    After a failure nothing is left there, and the paths are as they were. Folders are made.
    """
    # A name that no other run has: what two write at once is one's or the other's, never both.
    parts = [path.with_name(f".{path.name}-{token_hex(4)}{PART}") for path in paths]
    try:
        for path in paths:
            path.parent.mkdir(parents=True, exist_ok=True)
        yield parts
        for path, part in zip(paths, parts, strict=True):
            part.replace(path)
    finally:
        for part in parts:
            with suppress(OSError):
                part.unlink(missing_ok=True)


def write_whole(
    contents: Mapping[Path, bytes],
    do: str | Remedy = "check the folder, and try again",
    owner_alone: bool = False,
) -> None:
    """Write several files: none moves to its place before all are written.

    Where they are to be their owner's alone, they are so from the first byte on.

    Raises
    ------
    InputError
        Where a file can't be written; `do` says what to do about it.
    """
    at = next(iter(contents))
    try:
        with beside(*contents) as parts:
            for path, part in zip(contents, parts, strict=True):
                at = path
                if owner_alone:
                    part.touch(0o600, exist_ok=False)
                part.write_bytes(contents[path])
    except OSError as error:
        raise InputError(at, None, f"can't be written ({error.strerror})", do) from error


LARGEST = 5_000_000
"""Bytes; cards and lists of paints are far smaller."""


def read_text(path: Path) -> str:
    """Read UTF-8 text, with or without a byte order mark.

    Raises
    ------
    InputError
        Where there is no such file, or it isn't text.
    """
    if not path.exists():
        raise InputError(path, None, "no such file", "check the name and the folder")
    if not path.is_file():
        # To read a pipe waits until somebody writes into it, and a device may never end.
        raise InputError(path, None, "it is no file", "give a file that you may read")
    try:
        if path.stat().st_size > LARGEST:
            raise InputError(
                path, None, f"more than {LARGEST // 10**6} MB", "is it the right file?"
            )
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(path, None, "isn't UTF-8 text", "save it as UTF-8") from error
    except OSError as error:
        raise InputError(
            path,
            None,
            f"can't be opened ({error.strerror})",
            "check that it is a file you may read",
        ) from error


BUSY_SECONDS = 30
"""How long a writer waits for another one."""


def copy_database(source: Path, target: Path) -> None:
    """Copy a SQLite database as of one moment, while others use it; whole or not at all.

    Raises
    ------
    sqlite3.Error
        Where either can't be used.
    """
    with (
        beside(target) as (part,),
        closing(sqlite3.connect(source)) as old,
        closing(sqlite3.connect(part)) as new,
    ):
        old.backup(new)
        # A copy is one file: without a log of its own beside it.
        new.execute("PRAGMA journal_mode=DELETE")


def refill_database(database: Path, wanted: Path, before: Path) -> None:
    """Fill a database with what another one holds, in one step that no writer can come between.

    Parameters
    ----------
    database : Path
        May be in use: whoever waits to write goes on in what it holds from then on.
    wanted : Path
        Holds what it is filled with.
    before : Path
        A copy of what it held up to that moment is kept there.

    Raises
    ------
    sqlite3.Error
        Where one of them can't be used; the database is then as it was, and there is no copy.
    """
    with closing(sqlite3.connect(database, BUSY_SECONDS, isolation_level=None)) as ours:
        ours.execute("PRAGMA foreign_keys=OFF")
        ours.execute("PRAGMA synchronous=FULL")
        ours.execute("ATTACH ? AS wanted", (str(wanted),))
        try:
            # The writers' lock: readers still see what was there, a copy of it can be made.
            ours.execute("BEGIN IMMEDIATE")
            copy_database(database, before)
            _refill(ours)
            ours.execute("COMMIT")
        except BaseException:
            with suppress(sqlite3.Error):
                ours.execute("ROLLBACK")
            before.unlink(missing_ok=True)
            raise


def _refill(ours: sqlite3.Connection) -> None:
    what = "SELECT type, name, sql FROM {}.sqlite_master WHERE name NOT LIKE 'sqlite_%'"
    for kind in ("trigger", "view", "index", "table"):
        for found, name, sql in ours.execute(what.format("main")).fetchall():
            if found == kind and sql is not None:
                ours.execute(f'DROP {kind} main."{name}"')
    wanted = [row for row in ours.execute(what.format("wanted")).fetchall() if row[2]]
    for kind in ("table", "index", "view", "trigger"):
        for found, name, sql in wanted:
            if found != kind:
                continue
            ours.execute(sql)
            if kind == "table":
                ours.execute(f'INSERT INTO main."{name}" SELECT * FROM wanted."{name}"')
