"""What a command that was cut off left in a studio: what is lost, half there, or left over."""

from __future__ import annotations

import os
import sqlite3
from collections import Counter
from contextlib import closing
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePath
from typing import Any

from tintladder.database.care import integrity
from tintladder.database.common.files import is_leftover
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store

NEARLY = 0.02
"""By which share a file's size may differ that holds a time of day."""
KEPT_BESIDE = ("studio-before-", "before-restore-")

_VERIFIED: dict[str, list[str]] = {}


def _verified(path: Path, digest: str | None = None) -> list[str]:
    """Verify a release that was not verified yet: of most trials it is the same one."""
    files = sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]
    held = sha256(b"".join(p.name.encode() + p.read_bytes() for p in files)).hexdigest()
    if held not in _VERIFIED:
        _VERIFIED[held] = verify_release(path, digest)
    return _VERIFIED[held]


integrity.verify_release = _verified


@dataclass(frozen=True)
class State:
    """Files of a folder by name, as digest and size, and the rows of its database by table."""

    files: dict[str, tuple[str, int]]
    rows: dict[str, Counter[str]]

    @classmethod
    def of(cls, studio: Path) -> State:
        """Look at a studio that nobody uses."""
        files = {}
        for path in sorted(p for p in studio.rglob("*") if p.is_file()):
            if not path.name.startswith("studio.db"):
                data = path.read_bytes()
                name = path.relative_to(studio).as_posix()
                files[name] = (sha256(data).hexdigest(), len(data))
        rows = {}
        with closing(sqlite3.connect(studio / "studio.db")) as opened:
            tables = opened.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            for (table,) in tables.fetchall():
                rows[table] = Counter(map(repr, opened.execute(f'SELECT * FROM "{table}"')))
        return cls(files, rows)


def faults_of(ran: Any, studio: Path, before: State, after: State, killed: bool) -> list[str]:
    """Say what is wrong with a studio after a command was cut off in it."""
    faults = [] if killed else _words(ran)
    with closing(sqlite3.connect(studio / "studio.db")) as opened:
        if opened.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            return [*faults, "the database is damaged"]
    now = State.of(studio)
    faults += _lost_rows(now, before, after) + _files(now, before, after)
    left = sorted(name for name in now.files if _is_left(name))
    if left and not killed:
        faults.append(f"left over: {left}")
    with Store.open(studio) as store:
        found = integrity.check_studio(store)
    faults += [f"check says: {each.words}" for each in found if each.broken]
    said = " ".join(each.words for each in found)
    named = [n for n in left if not any(part in said for part in PurePath(n).parts)]
    faults += [f"check doesn't name {name}" for name in named if not name.startswith("tmp/")]
    for path in studio.rglob("*"):
        os.utime(path, (1, 1))
    with Store.open(studio):
        still = [n for n in left if (studio / n).exists() and not n.startswith("tmp/")]
    return faults + [f"never cleared away: {name}" for name in still]


def _words(ran: Any) -> list[str]:
    if ran.status == 0:
        return []
    if ran.status != 2 or ran.err.count("\n") != 1:
        return [f"it ends with {ran.status}: {ran.err[-300:]!r}"]
    return []


def _is_left(name: str) -> bool:
    return name.startswith("tmp/") or any(is_leftover(part) for part in PurePath(name).parts)


def _lost_rows(now: State, before: State, after: State) -> list[str]:
    faults = []
    for table, rows in before.rows.items():
        stays, here = rows & after.rows.get(table, Counter()), now.rows.get(table, Counter())
        if lost := stays - here:
            faults.append(f"{table} lost {lost.total()} rows")
        if here.total() < min(rows.total(), after.rows[table].total()):
            faults.append(f"{table} has {here.total()} rows left")
    return faults


def _files(now: State, before: State, after: State) -> list[str]:
    faults, kept = [], set(now.files.values())
    for name, was in before.files.items():
        if name in after.files and name not in now.files:
            faults.append(f"{name} is gone")
        if was in after.files.values() and was not in kept:
            faults.append(f"what {name} held is gone")
    for name, found in now.files.items():
        if found == before.files.get(name) or _is_left(name):
            continue
        made = after.files.get(name)
        if made is None:
            if not PurePath(name).name.startswith(KEPT_BESIDE):
                faults.append(f"{name} is there, and nobody knows why")
        elif abs(found[1] - made[1]) > NEARLY * made[1]:
            faults.append(f"{name} is half there: {found[1]} bytes of {made[1]}")
    return faults
