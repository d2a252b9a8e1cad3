"""Publishes a release: a folder and the same as a zip, whole or not at all, never changed after."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from importlib.metadata import version as installed_version
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import select

from ..calibrate.errors import InputError
from . import schema
from .release_changes import Changes, checked_version, next_version, version_key
from .release_descriptor import DESCRIPTOR, SCHEMA, as_json, describe, json_schema
from .release_files import SUMS, sha256, sums, sync_folder, write_whole, zipped
from .release_schema import TABLES, Table
from .release_tables import Contents, contents
from .release_words import changelog, citation, readme
from .store import Store
from .transactions import now

_BUILDING = ".building-"


@dataclass(frozen=True)
class Release:
    """A published release.

    Attributes
    ----------
    version, name : str
    folder, archive : Path
        The same, as a folder and as a zip.
    digest : str
        SHA-256 of its SHA256SUMS.
    changes : Changes
        Since the release before.
    """

    version: str
    name: str
    folder: Path
    archive: Path
    digest: str
    changes: Changes


def publish(
    store: Store, version: str | None = None, note: str = "", created: str | None = None
) -> Release:
    """Publish the current fits of a studio below its ``releases``.

    Parameters
    ----------
    store : Store
    version : str, optional
        Default: 1.0.0, then what follows from the changes.
    note : str
        For the changelog.
    created : str, optional
        UTC, ISO 8601; default now. The same studio and time give the same bytes.

    Raises
    ------
    InputError
        Where no paint has a fit, nothing changed, or the version can't follow.
    """
    created = created or now()
    # The database's own lock lets one publisher in at a time; its commit is what publishes.
    with store.transaction() as session:
        earlier = sorted(
            session.scalars(select(schema.Release)), key=lambda row: version_key(row.version)
        )
        held = contents(store)
        before = [row.contents for row in earlier]
        changes = Changes.between(before[-1] if before else {}, held.paints)
        if not changes:
            raise InputError(
                None,
                "publish",
                f"nothing has changed since {earlier[-1].version}",
                "fit again or add a paint first",
            )
        wanted = version or next_version(earlier[-1].version if earlier else None, changes)
        checked_version(wanted, [row.version for row in earlier])
        name = f"paints-{wanted}"
        history = _history(earlier, before)
        files = _files(name, wanted, created, held, [(wanted, created, changes, note), *history])
        digest = sha256(files[SUMS])
        session.add(
            schema.Release(
                version=wanted,
                name=name,
                created=created,
                note=note,
                digest=digest,
                contents=dict(held.paints),
            )
        )
        session.flush()
        try:
            folder = _put_in_place(store.studio.releases, name, files)
        except OSError as error:
            raise _cannot(store.studio.releases, error) from error
    return Release(wanted, name, folder, folder.with_name(f"{name}.zip"), digest, changes)


def releases(store: Store) -> list[schema.Release]:
    """Every release published, the first first."""
    with store.snapshot() as session:
        rows = session.scalars(select(schema.Release))
        return sorted(rows, key=lambda row: version_key(row.version))


def _history(
    earlier: list[schema.Release], before: list[dict[str, Any]]
) -> list[tuple[str, str, Changes, str]]:
    pairs = zip([{}, *before], earlier, strict=False)
    told = [
        (row.version, row.created, Changes.between(old, row.contents), row.note)
        for old, row in pairs
    ]
    return told[::-1]


def _files(
    name: str,
    version: str,
    created: str,
    held: Contents,
    history: list[tuple[str, str, Changes, str]],
) -> dict[str, bytes]:
    code, paints = installed_version("tintladder"), list(held.paints)
    scale = str(held.tables["paints"]["scale"].iloc[0])
    files = {table.file: _csv(table, held.tables[table.name]) for table in TABLES}
    files[DESCRIPTOR] = as_json(describe(name, version, created, code, files))
    files[SCHEMA] = as_json(json_schema())
    files["README.md"] = readme(name, version, paints, scale).encode()
    files["CHANGELOG.md"] = changelog(history).encode()
    files["CITATION"] = citation("Paints", version, created, len(paints), code).encode()
    return files | {SUMS: sums(files)}


def _csv(table: Table, rows: pd.DataFrame) -> bytes:
    # Left to itself numpy shortens figures by a setting that other libraries change.
    exact = {
        column.name: ["" if value != value else repr(value) for value in rows[column.name].tolist()]
        for column in table.columns
        if column.kind == "number"
    }
    return rows.assign(**exact).to_csv(index=False, lineterminator="\n").encode()


def _put_in_place(releases: Path, name: str, files: dict[str, bytes]) -> Path:
    """Write folder, zip and the zip's hash beside the releases, then move them in."""
    releases.mkdir(parents=True, exist_ok=True)
    for left_over in releases.glob(f"{_BUILDING}*"):
        shutil.rmtree(left_over)
    building = Path(tempfile.mkdtemp(prefix=_BUILDING, dir=releases))
    try:
        folder = building / name
        folder.mkdir()
        for file, data in files.items():
            write_whole(folder / file, data)
        archive = zipped(name, files)
        write_whole(building / f"{name}.zip", archive)
        line = f"{sha256(archive)}  {name}.zip\n"
        write_whole(building / f"{name}.zip.sha256", line.encode())
        sync_folder(folder)
        for part in (name, f"{name}.zip", f"{name}.zip.sha256"):
            _put_aside(releases / part)
            (building / part).rename(releases / part)
        sync_folder(releases)
    finally:
        shutil.rmtree(building)
    return releases / name


def _cannot(releases: Path, error: OSError) -> InputError:
    return InputError(
        releases,
        None,
        f"the release can't be written ({error.strerror or error})",
        "make room on the disk or mend who may write there; nothing was published",
    )


def _put_aside(path: Path) -> None:
    """Move what a publishing that was cut short left in the way; the studio never confirmed it."""
    number = 1
    while path.exists():
        aside = path.with_name(f"unconfirmed-{number}-{path.name}")
        number += 1
        if not aside.exists():
            path.rename(aside)
