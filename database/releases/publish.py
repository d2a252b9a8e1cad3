"""Publishes a release: a folder and the same as a zip, whole or not at all, never changed after."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version as installed_version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...calibrate.errors import InputError, Sentence
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ...calibrate.optics.transport import TRANSPORT
from ..common.files import BUILDING
from ..common.remedies import StudioDo
from ..common.words import caution
from ..store import schema
from ..store.in_use import published
from ..store.store import Store
from ..store.transactions import OrmSession, now
from .changes import Changes, checked_version, next_version, version_key
from .compare import Numbers
from .files import SIGNATURE, SUMS, Archive, Digest, sums, sync_folder, write_synced
from .gates import Gate, gates
from .signing import PUBLIC_KEY, as_pem, public_of, signing_key
from .tables.columns import Table
from .tables.contents import Contents, Texts, contents
from .tables.descriptor import DESCRIPTOR, SCHEMA, as_json, describe, json_schema
from .tables.schema import TABLES
from .tables.text import heading
from .words import Entry, changelog, citation, readme

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


@dataclass(frozen=True)
class ReleasePlan:
    """What publishing would do.

    Attributes
    ----------
    changes : Changes
        Since the release before.
    gates : tuple of Gate
        What is to be said against it, what stops it first.
    earlier : tuple of schema.Release
        The first first.
    """

    version: str
    changes: Changes
    gates: tuple[Gate, ...]
    excluded: tuple[str, ...]
    contents: Contents
    earlier: tuple[schema.Release, ...]

    @property
    def stopped(self) -> bool:
        """Whether it must be forced."""
        return any(gate.stops for gate in self.gates)


@dataclass(frozen=True)
class Release:
    """A published release.

    Attributes
    ----------
    folder, archive : Path
        The same, as a folder and as a zip.
    digest : str
        SHA-256 of its SHA256SUMS.
    changes : Changes
        Since the release before.
    gates : tuple of Gate
        What was to be said against it.
    """

    version: str
    name: str
    folder: Path
    archive: Path
    digest: str
    changes: Changes
    gates: tuple[Gate, ...]


def plan(
    store: Store,
    version: str | None = None,
    exclude: Sequence[str] = (),
    measured_only: bool = False,
) -> ReleasePlan:
    """Say what publishing would do, and do nothing.

    Parameters
    ----------
    version : str, optional
        Default: 1.0.0, then what follows from the changes.
    exclude : sequence of str
        Paints to leave out, by nickname or part of a name.
    measured_only : bool
        Also leave out every paint whose numbers come from scans.

    Raises
    ------
    InputError
        Where no paint has a fit, nothing changed, or the version can't follow.
    """
    with store.snapshot() as session:
        named = [store.paints.find(paint).nickname for paint in exclude]
        excluded = tuple(dict.fromkeys(named + (store.fits.scan_made() if measured_only else [])))
        earlier = releases(store)
        held = contents(store, excluded)
        last = earlier[-1] if earlier else None
        changes = Changes.between(last.contents if last else {}, held.paints)
        if last is not None and not changes:
            raise InputError(
                None,
                None,
                f"nothing has changed since {last.version}",
                "fit again or add a paint first",
            )
        wanted = version or next_version(last.version if last else None, changes)
        checked_version(wanted, [row.version for row in earlier])
        fits = {TWO_FLUX: held.current, TRANSPORT: held.further}
        found = gates(session, fits, store.fits.trial(), partial(_numbers, held), last)
        return ReleasePlan(wanted, changes, tuple(found), excluded, held, tuple(earlier))


def publish(
    store: Store,
    version: str | None = None,
    note: str = "",
    created: str | None = None,
    exclude: Sequence[str] = (),
    force: str = "",
    measured_only: bool = False,
) -> Release:
    """Publish the current fits of a studio below its ``releases``, signed with its key.

    Parameters
    ----------
    version : str, optional
        Default: 1.0.0, then what follows from the changes.
    note : str
        For the changelog.
    created : str, optional
        UTC, ISO 8601; default now. The same studio and time give the same bytes.
    exclude : sequence of str
        Paints to leave out, by nickname or part of a name.
    force : str
        Why to publish though a gate stops it; the release says so.
    measured_only : bool
        Also leave out every paint whose numbers come from scans.

    Raises
    ------
    InputError
        As `plan`, and where a gate stops it and there is no reason to force it.
    """
    created = created or now()
    # The database's own lock lets one publisher in at a time; its commit is what publishes.
    with store.transaction() as session:
        made = plan(store, version, exclude, measured_only)
        if made.stopped and not force:
            stopping = [gate.line for gate in made.gates if gate.stops]
            more = f" (and {len(stopping) - 1} more)" if len(stopping) > 1 else ""
            found = Sentence(stopping[0], more)
            raise InputError(None, "the release", found, StudioDo.EXCLUDE_OR_FORCE())
        said = {
            "excluded": list(made.excluded),
            "forced": force if made.stopped else "",
            "findings": [gate.as_dict() for gate in made.gates],
        }
        name = f"paints-{made.version}"
        try:
            key = signing_key(store.studio)
            signed_for = store.keys.sign_with(public_of(key), name)
            issue = _Issue(made, name, created, note, said, key, signed_for)
            folder, digest = _put_in_place(store.studio.releases, issue)
        except OSError as error:
            raise _cannot(store.studio.releases, error) from error
        _record(session, made, name, created, note, digest, said)
    archive = folder.with_name(f"{name}.zip")
    return Release(made.version, name, folder, archive, digest, made.changes, made.gates)


def releases(store: Store) -> list[schema.Release]:
    """Every release published, the first first."""
    with store.snapshot() as session:
        return sorted(published(session), key=lambda row: version_key(row.version))


def find_release(store: Store, version: str) -> Path:
    """Return the place of a release that this studio published, by version or name.

    Raises
    ------
    InputError
        Where there is none, or its files are gone.
    """
    rows = releases(store)
    row = next((row for row in rows if version in (row.version, row.name)), None)
    if row is None:
        there = ", ".join(row.version for row in rows) or "none yet"
        raise InputError(
            None,
            version,
            f"no such release (this studio published: {there})",
            "give a version, the folder or zip of a release, or now",
        )
    for place in (store.studio.releases / row.name, store.studio.releases / f"{row.name}.zip"):
        if place.exists():
            return place
    raise InputError(
        store.studio.releases,
        row.name,
        "was published here, but its files are gone",
        "bring its folder or zip back there",
    )


def _numbers(held: Contents, model: str, paints: Sequence[str]) -> Numbers:
    """K and S of some of the paints by a model, and of their whites."""
    whites = {p: row.beside[1] for p, row in held.current.items() if len(row.beside) > 1}
    wanted = dict.fromkeys([*paints, *(whites[p] for p in paints if p in whites)])
    parts = [
        part.select(mine)
        for part in (held.beside if model == TRANSPORT else held.parts)
        if (mine := [paint for paint in part.paints if paint in wanted])
    ]
    return Numbers("now", Coefficients.concat(parts), whites)


def _record(
    session: OrmSession,
    made: ReleasePlan,
    name: str,
    created: str,
    note: str,
    digest: str,
    said: dict[str, Any],
) -> None:
    session.add(
        schema.Release(
            version=made.version,
            name=name,
            created=created,
            note=note,
            digest=digest,
            contents=dict(made.contents.paints),
            gates=said,
        )
    )
    session.flush()


def _history(earlier: Sequence[schema.Release]) -> list[Entry]:
    """Tell of the releases before, the newest first."""
    pairs = zip([{}, *(row.contents for row in earlier)], earlier, strict=False)
    none = {"excluded": [], "forced": "", "findings": []}
    return [
        Entry(
            row.version,
            row.created,
            Changes.between(old, row.contents),
            row.note,
            row.gates or none,
        )
        for old, row in pairs
    ][::-1]


@dataclass(frozen=True)
class _Issue:
    """What is written, and in whose name."""

    made: ReleasePlan
    name: str
    created: str
    note: str
    said: dict[str, Any]
    key: Ed25519PrivateKey
    studio: str


def _put_in_place(releases: Path, issue: _Issue) -> tuple[Path, str]:
    """Write folder, zip and the zip's hash beside the releases, then move them in."""
    releases.mkdir(parents=True, exist_ok=True)
    for left_over in releases.glob(f"{BUILDING}*"):
        shutil.rmtree(left_over)
    building, name = Path(tempfile.mkdtemp(prefix=BUILDING, dir=releases)), issue.name
    try:
        folder = building / name
        folder.mkdir()
        with Archive(building / f"{name}.zip", name) as packed:
            digest = _write(folder, packed, issue)
            archive = packed.finish()
        line = f"{archive.sha256}  {name}.zip\n"
        write_synced(building / f"{name}.zip.sha256", [line.encode()])
        sync_folder(folder)
        for part in (name, f"{name}.zip", f"{name}.zip.sha256"):
            _put_aside(releases / part)
            (building / part).rename(releases / part)
        sync_folder(releases)
    finally:
        shutil.rmtree(building)
    return releases / name, digest


def _write(folder: Path, packed: Archive, issue: _Issue) -> str:
    """Write every file of a release, tables first, and return the digest of its SHA256SUMS."""
    made, name, created, said = issue.made, issue.name, issue.created, issue.said

    def whole(file: str, pieces: Iterable[bytes]) -> Digest:
        digest = write_synced(folder / file, pieces)
        packed.add(folder / file)
        return digest

    code, held = installed_version("tintladder"), made.contents
    cautions = {
        paint: words
        for paint, row in held.current.items()
        if (words := caution(row.paint.pigments))
    }
    entry = Entry(made.version, created, made.changes, issue.note, said)
    digests = {
        table.file: whole(table.file, _csv(table, held.texts[table.name])) for table in TABLES
    }
    rest = {
        DESCRIPTOR: as_json(
            describe(name, made.version, created, code, digests, said, issue.studio)
        ),
        SCHEMA: as_json(json_schema()),
        "README.md": readme(
            name, made.version, list(held.paints), held.scale, cautions, held.curve
        ).encode(),
        "CHANGELOG.md": changelog([entry, *_history(made.earlier)]).encode(),
        "CITATION": citation("Paints", made.version, created, len(held.paints), code).encode(),
    }
    rest[PUBLIC_KEY] = as_pem(public_of(issue.key))
    digests |= {file: whole(file, [data]) for file, data in rest.items()}
    listed = sums(_hashes(digests))
    whole(SIGNATURE, [issue.key.sign(listed)])
    return whole(SUMS, [listed]).sha256


def _hashes(digests: dict[str, Digest]) -> dict[str, str]:
    return {file: digest.sha256 for file, digest in digests.items()}


def _csv(table: Table, texts: Texts) -> Iterator[bytes]:
    yield heading(table).encode()
    for text in texts():
        yield text.encode()


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
