"""Brings a studio back from a backup, whole or not at all."""

from __future__ import annotations

import json
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path, PurePosixPath
from typing import IO, Any

from ...calibrate.errors import InputError
from ..common.files import RESTORING, is_leftover, refill_database
from ..common.remedies import StudioDo
from ..releases.files import digest_of, sync_folder
from ..store.engine import open_engine
from ..store.studio import FOLDERS, SIGNING_KEY, Studio
from .backup import DATABASE, LIST, Backup, releases_in

LARGEST = 64 * 2**30
"""Bytes that a backup may unpack to."""
_PIECE = 2**20


def restore(file: Path, studio: Studio, over: bool = False) -> Backup:
    """Bring a backup back into a folder, whole or not at all, every file byte for byte.

    Parameters
    ----------
    over : bool
        Replace a studio that is there, also while others use it: who waits to write goes on in the
        one brought back. Its database is kept beside, under another name, and so is every file
        that differs.

    Raises
    ------
    InputError
        Where it is no sound backup, was made by a newer version, there is no room for it, or there
        is a studio and `over` is False.
    """
    database = studio.database
    if database is None:
        raise InputError(
            None, "restore", "a shared database isn't a file of this folder",
            StudioDo.NAME_FOLDER(),
        )  # fmt: skip
    there = database.exists()
    if there and not over:
        raise InputError(
            studio.folder,
            None,
            "there is a studio here already",
            StudioDo.RESTORE_ELSEWHERE(),
        )
    said = _listed(file)
    made_here = not studio.folder.exists()
    try:
        _check_room(said["files"], studio, database)
        studio.folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=RESTORING, dir=studio.folder) as name:
            folder = Path(name)
            _unpack(file, said["files"], folder)
            # One of an older version migrates, of a newer is refused, before anything moves.
            _check_sound(folder / DATABASE, file)
            open_engine(Studio(folder, f"sqlite:///{folder / DATABASE}"), False).dispose()
            _move_in(folder, said["files"], studio, database)
    except (OSError, sqlite3.Error) as error:
        raise InputError(
            studio.folder,
            None,
            f"can't be written ({getattr(error, 'strerror', None) or error})",
            "make room on the disk or mend who may write there",
        ) from error
    finally:
        if made_here:
            # Only an empty one goes: nothing was brought back.
            with suppress(OSError):
                studio.folder.rmdir()
    names = said["files"]
    return Backup(file, said["made"], file.stat().st_size, releases_in(names), len(names) - 1)


def _check_room(files: Mapping[str, Mapping[str, int]], studio: Studio, database: Path) -> None:
    place = next(p for p in (studio.folder, *studio.folder.parents) if p.exists())
    whole = sum(entry["bytes"] for entry in files.values())
    if database.exists():
        # What is there is kept beside, and what takes its place is written to a log first.
        whole += database.stat().st_size + 2 * files[DATABASE]["bytes"]
    free = shutil.disk_usage(place).free
    if whole > free:
        raise InputError(
            studio.folder,
            None,
            f"the backup needs {whole / 1e6:.0f} MB there, {free / 1e6:.0f} MB are free",
            "make room on the disk, or name another folder; nothing was changed",
        )


def _move_in(folder: Path, names: Mapping[str, Any], studio: Studio, database: Path) -> None:
    """Put the files in their places, and last the database, which is what restores."""
    for name in sorted(set(names) - {DATABASE}):
        place = studio.folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        if place.exists():
            if digest_of(place).sha256 == names[name]["sha256"]:
                continue
            place.rename(_free(place.with_name(f"before-restore-{place.name}")))
        (folder / name).rename(place)
        if name == SIGNING_KEY:
            place.chmod(0o600)
    if database.exists():
        before = _free(database.with_name("studio-before-restore.db"))
        refill_database(database, folder / DATABASE, before)
    else:
        for log in (f"{database.name}-wal", f"{database.name}-shm"):
            database.with_name(log).unlink(missing_ok=True)
        (folder / DATABASE).rename(database)
    sync_folder(studio.folder)


def _free(path: Path) -> Path:
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return free


@contextmanager
def _as_made(file: Path) -> Iterator[None]:
    """Say in one line what is wrong with a file that is no backup."""
    try:
        yield
    except (
        zipfile.BadZipFile,
        zlib.error,
        KeyError,
        TypeError,
        AttributeError,
        ValueError,
        EOFError,
        NotImplementedError,
        RecursionError,
    ) as error:
        raise InputError(
            file,
            None,
            f"expected a backup as tintladder made it ({' '.join(str(error).split())})",
            "take another copy of it; nothing was changed",
        ) from error


def _listed(file: Path) -> dict[str, Any]:
    """Return what a backup says that it holds, which is what it holds."""
    if not file.exists():
        raise InputError(file, None, "no such file", StudioDo.BACKUP_FILE())
    if not file.is_file():
        raise InputError(file, None, "is no file", StudioDo.BACKUP_FILE())
    try:
        with _as_made(file), zipfile.ZipFile(file) as packed:
            said: dict[str, Any] = json.loads(packed.read(LIST))
            names = set(said["files"])
            sound = all(name in (DATABASE, SIGNING_KEY) or _is_ours(name) for name in names)
            if not sound or DATABASE not in names or set(packed.namelist()) != names | {LIST}:
                raise ValueError("it holds other files than it says")
            if sum(int(entry["bytes"]) for entry in said["files"].values()) > LARGEST:
                raise ValueError("it would unpack to more than any studio holds")
            return said | {"made": str(said["made"])}
    except OSError as error:
        raise InputError(
            file, None, f"can't be read ({error.strerror})", StudioDo.BACKUP_FILE()
        ) from error


def _is_ours(name: str) -> bool:
    path = PurePosixPath(name)
    inside = path.parts[0] in FOLDERS and len(path.parts) > 1 and path.as_posix() == name
    return inside and "\\" not in name and not any(p == ".." or is_leftover(p) for p in path.parts)


def _unpack(file: Path, files: Mapping[str, Any], folder: Path) -> None:
    with _as_made(file), zipfile.ZipFile(file) as packed:
        for name, expected in files.items():
            target = folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            with packed.open(name) as source, target.open("wb") as into:
                _copy(source, into, expected["bytes"])
            if digest_of(target).sha256 != expected["sha256"]:
                raise ValueError(f"{name} isn't as it was written")


def _copy(source: IO[bytes], target: IO[bytes], size: int) -> None:
    """Copy no more than was said, however far it would swell."""
    left = size
    while piece := source.read(min(_PIECE, left + 1)):
        left -= len(piece)
        if left < 0:
            raise ValueError("a file swells beyond what it should be")
        target.write(piece)


def _check_sound(database: Path, file: Path) -> None:
    with closing(sqlite3.connect(database)) as opened:
        try:
            said = opened.execute("PRAGMA integrity_check").fetchone()[0]
        except sqlite3.DatabaseError as error:
            said = str(error)
    if said != "ok":
        raise InputError(file, DATABASE, f"the database in it is damaged ({said})", "take another")
