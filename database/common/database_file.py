"""A studio's database as a file: copied as of one moment, and filled anew while others use it."""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from .whole_files import beside

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
