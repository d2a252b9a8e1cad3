"""Backs a studio up to one file while it is in use, and brings it back."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
import zipfile
import zlib
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from ...calibrate.errors import InputError
from ..common.remedies import StudioDo
from ..common.whole_files import beside, write_whole
from ..releases.files import digest_of, sync_folder
from ..store.engine import copy_database, open_engine
from ..store.studio import Studio
from ..store.transactions import now

_DATABASE, _LIST = "studio.db", "backup.json"
_RELEASES = "releases/"
LARGEST = 64 * 2**30
"""Bytes that a backup may unpack to."""
_PIECE = 2**20


@dataclass(frozen=True)
class Backup:
    """A backup.

    Attributes
    ----------
    file : Path
    made : str
        UTC, ISO 8601.
    size : int
        Bytes.
    releases : tuple of str
        Names of the releases in it.
    """

    file: Path
    made: str
    size: int
    releases: tuple[str, ...]


def back_up(studio: Studio, file: Path) -> Backup:
    """Write the studio's database, as of one moment, and its releases to one file.

    Parameters
    ----------
    studio : Studio
    file : Path
        A zip; written whole or not at all.

    Raises
    ------
    InputError
        Where there is no studio, the file is there already, or the disk is full.
    """
    database = studio.database
    if database is None:
        raise InputError(
            None,
            "backup",
            "a shared database isn't a file of this folder",
            "back it up with its own tools, such as pg_dump",
        )
    open_engine(studio, create=False).dispose()
    if file.exists():
        raise InputError(file, None, "is there already", "name another file")
    made = now()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=file.parent) as folder:
            copy = Path(folder) / _DATABASE
            copy_database(database, copy)
            held = {_DATABASE: copy}
            archives = sorted(studio.releases.glob("*.zip")) if studio.releases.is_dir() else []
            held |= {f"{_RELEASES}{archive.name}": archive for archive in archives}
            with beside(file) as (part,):
                _pack(held, part, made)
        sync_folder(file.parent)
    except (OSError, sqlite3.Error) as error:
        raise InputError(
            file,
            None,
            f"the backup can't be written ({getattr(error, 'strerror', None) or error})",
            "make room on the disk, or name another place; nothing was written",
        ) from error
    names = tuple(archive.stem for archive in archives)
    return Backup(file, made, file.stat().st_size, names)


def _pack(held: dict[str, Path], target: Path, made: str) -> None:
    listed = {name: digest_of(path) for name, path in held.items()}
    said = {
        "made": made,
        "files": {name: {"sha256": d.sha256, "bytes": d.size} for name, d in listed.items()},
    }
    with target.open("wb") as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed:
            packed.writestr(_LIST, json.dumps(said, indent=1))
            for name, path in held.items():
                packed.write(path, name)
        file.flush()
        os.fsync(file.fileno())


def restore(file: Path, studio: Studio, over: bool = False) -> Backup:
    """Bring a backup back into a folder, whole or not at all.

    Parameters
    ----------
    file : Path
    studio : Studio
    over : bool
        Replace a studio that is there; its database is kept beside, under another name.

    Raises
    ------
    InputError
        Where it is no sound backup, was made by a newer version, or there is a studio and `over`
        is False.
    """
    database = studio.database
    if database is None:
        raise InputError(
            None, "restore", "a shared database isn't a file of this folder",
            StudioDo.NAME_FOLDER(),
        )  # fmt: skip
    if database.exists() and not over:
        raise InputError(
            studio.folder,
            None,
            "there is a studio here already",
            StudioDo.RESTORE_ELSEWHERE(),
        )
    with _unpacked(file) as (folder, said):
        # A backup of an older version migrates, one of a newer is refused, before anything moves.
        _check_sound(folder / _DATABASE, file)
        open_engine(Studio(folder, f"sqlite:///{folder / _DATABASE}"), create=False).dispose()
        try:
            _move_in(folder, studio, database, said["made"])
        except OSError as error:
            raise InputError(
                studio.folder,
                None,
                f"can't be written ({error.strerror or error})",
                "make room on the disk or mend who may write there",
            ) from error
    names = tuple(Path(n).stem for n in said["files"] if n.startswith(_RELEASES))
    return Backup(file, said["made"], file.stat().st_size, names)


def _move_in(folder: Path, studio: Studio, database: Path, made: str) -> None:
    studio.folder.mkdir(parents=True, exist_ok=True)
    studio.releases.mkdir(exist_ok=True)
    for archive in sorted((folder / _RELEASES).glob("*.zip")):
        place = studio.releases / archive.name
        if not place.exists():
            _place(archive, place)
            line = f"{digest_of(place).sha256}  {place.name}\n"
            write_whole({place.with_name(f"{place.name}.sha256"): line.encode()})
    if database.exists():
        # Its log belongs to it: folded in by a copy, then both may go.
        copy_database(database, _free(database.with_name("studio-before-restore.db")))
    for log in (f"{database.name}-wal", f"{database.name}-shm"):
        database.with_name(log).unlink(missing_ok=True)
    _place(folder / _DATABASE, database)
    sync_folder(studio.folder)


def _place(source: Path, target: Path) -> None:
    """Copy, for they may stand on different disks."""
    with beside(target) as (part,):
        shutil.copyfile(source, part)


def _free(path: Path) -> Path:
    number = 1
    while path.exists():
        number += 1
        path = path.with_name(f"studio-before-restore-{number}.db")
    return path


@contextmanager
def _unpacked(file: Path) -> Any:
    """Unpack a backup that is as it was written to a folder of its own."""
    if not file.exists():
        raise InputError(file, None, "no such file", StudioDo.BACKUP_FILE())
    try:
        with (
            zipfile.ZipFile(file) as packed,
            tempfile.TemporaryDirectory(prefix="tintladder-") as folder,
        ):
            said = json.loads(packed.read(_LIST))
            _check_list(packed, said, file)
            for name, expected in said["files"].items():
                target = Path(folder) / name
                target.parent.mkdir(exist_ok=True)
                with packed.open(name) as source, target.open("wb") as into:
                    _copy(source, into, expected["bytes"])
                if digest_of(target).sha256 != expected["sha256"]:
                    raise ValueError(f"{name} isn't as it was written")
            yield Path(folder), said
    except (
        zipfile.BadZipFile,
        zlib.error,
        KeyError,
        TypeError,
        ValueError,
        EOFError,
        OSError,
        NotImplementedError,
        RecursionError,
    ) as error:
        raise InputError(
            file,
            None,
            f"expected a backup as tintladder made it ({' '.join(str(error).split())})",
            "take another copy of it; nothing was changed",
        ) from error


def _check_list(packed: zipfile.ZipFile, said: Any, file: Path) -> None:
    names = set(said["files"])
    sound = all(
        name == _DATABASE
        or (name.startswith(_RELEASES) and "/" not in (bare := name[len(_RELEASES) :])
            and bare.endswith(".zip") and "\\" not in bare and not bare.startswith("."))
        for name in names
    )  # fmt: skip
    if not sound or _DATABASE not in names or set(packed.namelist()) != names | {_LIST}:
        raise ValueError("it holds other files than it says")
    if sum(entry["bytes"] for entry in said["files"].values()) > LARGEST:
        raise ValueError("it would unpack to more than any studio holds")


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
        raise InputError(file, _DATABASE, f"the database in it is damaged ({said})", "take another")
