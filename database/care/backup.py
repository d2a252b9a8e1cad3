"""Backs a studio up to one file while it is in use."""

from __future__ import annotations

import json
import os
import sqlite3
import tempfile
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ...calibrate.errors import InputError
from ..common.files import BACKING_UP, beside, copy_database, is_leftover
from ..releases.files import digest_of, sync_folder
from ..store.engine import open_engine
from ..store.studio import FOLDERS, SIGNING_KEY, Studio
from ..store.transactions import now

DATABASE, LIST = "studio.db", "backup.json"


@dataclass(frozen=True)
class Backup:
    """A backup.

    Attributes
    ----------
    made : str
        UTC, ISO 8601.
    size : int
        Bytes.
    releases : tuple of str
        Names of the releases in it.
    files : int
        How many files it holds beside the database.
    left_out : tuple of str
        What stands in the studio's folder and isn't in it.
    """

    file: Path
    made: str
    size: int
    releases: tuple[str, ...]
    files: int
    left_out: tuple[str, ...] = ()


def back_up(studio: Studio, file: Path, with_key: bool = False) -> Backup:
    """Write the studio's database, as of one moment, and its files to one file.

    Parameters
    ----------
    file : Path
        A zip; written whole or not at all.
    with_key : bool
        Also the key that the studio signs its releases with: whoever has it can sign in its name.

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
        with tempfile.TemporaryDirectory(prefix=BACKING_UP, dir=file.parent) as folder:
            copy = Path(folder) / DATABASE
            # First of all, so that every file that it names is among those packed.
            copy_database(database, copy)
            held = {DATABASE: copy} | files_of(studio, with_key)
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
    return Backup(
        file, made, file.stat().st_size, releases_in(held), len(held) - 1, _left_out(studio, held)
    )


def files_of(studio: Studio, with_key: bool = False) -> dict[str, Path]:
    """Return every file that belongs to a studio beside its database, by its name in a backup."""
    found = {}
    for folder in FOLDERS:
        for path in sorted((studio.folder / folder).rglob("*")):
            inside = path.relative_to(studio.folder)
            if path.is_file() and not path.is_symlink() and not any(map(is_leftover, inside.parts)):
                found[inside.as_posix()] = path
    key = studio.folder / SIGNING_KEY
    return found | ({SIGNING_KEY: key} if with_key and key.is_file() else {})


def releases_in(names: Mapping[str, object]) -> tuple[str, ...]:
    """Return the names of the releases among files of a studio."""
    paths = [Path(name) for name in names]
    return tuple(p.stem for p in paths if p.parts[0] == "releases" and p.suffix == ".zip")


def _left_out(studio: Studio, held: Mapping[str, Path]) -> tuple[str, ...]:
    assert studio.database is not None
    ours = {*FOLDERS, *held, *(f"{studio.database.name}{end}" for end in ("", "-wal", "-shm"))}
    there = sorted(studio.folder.iterdir())
    return tuple(
        f"{path.name}/" if path.is_dir() else path.name
        for path in there
        if path.name not in ours and not is_leftover(path.name)
    )


def _pack(held: Mapping[str, Path], target: Path, made: str) -> None:
    listed = {name: digest_of(path) for name, path in held.items()}
    said = {
        "made": made,
        "files": {name: {"sha256": d.sha256, "bytes": d.size} for name, d in listed.items()},
    }
    with target.open("wb") as file:
        # A camera without a clock dates its files before the years that a zip knows.
        with zipfile.ZipFile(
            file, "w", zipfile.ZIP_DEFLATED, compresslevel=1, strict_timestamps=False
        ) as packed:
            packed.writestr(LIST, json.dumps(said, indent=1))
            for name, path in held.items():
                packed.write(path, name)
        file.flush()
        os.fsync(file.fileno())
