"""The files of a release: hashed, packed into one canonical zip, and read back with care."""

from __future__ import annotations

import hashlib
import os
import shutil
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from ...calibrate.errors import InputError

SUMS = "SHA256SUMS"
SIGNATURE = "SHA256SUMS.sig"
"""What signs the sums, and so isn't among them."""
LARGEST = 4 * 2**30
"""Bytes that a zip may unpack to."""
HIGHEST_RATIO = 250
"""Unpacked to packed bytes; tables of figures stay under 30 (measured on our own releases)."""
_LEVEL = 1
"""Of compression: figures gain 7 % from the highest, at six times the time (measured)."""
_PIECE = 2**20
_EPOCH = (1980, 1, 1, 0, 0, 0)


def sha256(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


@dataclass(frozen=True)
class Digest:
    """What a file holds, in short."""

    sha256: str
    size: int


def digest_of(path: Path) -> Digest:
    """Read a file through."""
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            digest.update(piece)
            size += len(piece)
    return Digest(digest.hexdigest(), size)


def sums(digests: Mapping[str, str]) -> bytes:
    """Return the text of SHA256SUMS over files by name, as ``sha256sum -c`` reads it."""
    lines = (f"{digests[name]}  {name}\n" for name in sorted(digests) if name != SUMS)
    return "".join(lines).encode()


class Archive:
    """A zip that is packed while the next file is being written: one timestamp, one permission.

    Parameters
    ----------
    path : Path
        Of the zip.
    folder : str
        Name of the one folder in it.
    """

    def __init__(self, path: Path, folder: str) -> None:
        self._path, self._folder = path, folder
        self._file = path.open("wb")
        self._zip = zipfile.ZipFile(self._file, "w", zipfile.ZIP_DEFLATED)
        # Compressing leaves the interpreter free; one thread keeps the files in their order.
        self._worker = ThreadPoolExecutor(1)
        self._waiting: list[Future[None]] = []

    def add(self, path: Path) -> None:
        """Pack a file that is written; in the background."""
        self._waiting.append(self._worker.submit(self._add, path))

    def _add(self, path: Path) -> None:
        info = zipfile.ZipInfo(f"{self._folder}/{path.name}", _EPOCH)
        info.compress_type = zipfile.ZIP_DEFLATED
        # What is written in pieces takes its level from here, not from the archive.
        info._compresslevel = _LEVEL  # type: ignore[attr-defined]
        info.create_system = 3
        info.external_attr = (stat.S_IFREG | 0o644) << 16
        info.file_size = path.stat().st_size
        with path.open("rb") as whole, self._zip.open(info, "w") as part:
            shutil.copyfileobj(whole, part, _PIECE)

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, *_: object) -> None:
        self._worker.shutdown(cancel_futures=True)
        # After a failure the zip is of no use, but it must let go of its file.
        with suppress(OSError, ValueError):
            self._zip.close()
        self._file.close()

    def finish(self) -> Digest:
        """Wait until all is packed and the disk has it."""
        for future in self._waiting:
            future.result()
        self._zip.close()
        self._file.flush()
        os.fsync(self._file.fileno())
        return digest_of(self._path)


def write_synced(path: Path, pieces: Iterable[bytes]) -> Digest:
    """Write a file a piece at a time, and wait until the disk has it."""
    digest, size = hashlib.sha256(), 0
    with path.open("wb") as file:
        for piece in pieces:
            file.write(piece)
            digest.update(piece)
            size += len(piece)
        file.flush()
        os.fsync(file.fileno())
    return Digest(digest.hexdigest(), size)


def sync_folder(folder: Path) -> None:
    """Wait until the disk has a folder's names, where the system knows how."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def read_files(path: str | Path) -> dict[str, bytes]:
    """Read every file of a release, folder or zip, by its name in it.

    Raises
    ------
    InputError
        Where there is no release, or a zip is damaged, climbs out of its folder, or swells.
    """
    place = Path(path)
    if place.is_dir():
        return _folder(place)
    if not place.is_file():
        wrong = "it is no file" if place.exists() else "no such release"
        raise InputError(path, None, wrong, "give its folder or its zip")
    try:
        with zipfile.ZipFile(place) as archive:
            names = _safe_names(archive, place)
            return {name: archive.read(info) for name, info in names.items()}
    except (
        zipfile.BadZipFile,
        EOFError,
        OSError,
        RuntimeError,
        NotImplementedError,
        IndexError,  # a member without a name
        struct.error,
        zlib.error,
    ) as error:
        raise InputError(
            path, None, f"expected the zip of a release ({error})", "fetch it again, or its folder"
        ) from error
    except ValueError as error:
        raise InputError(
            path, None, f"the zip is damaged ({error})", "fetch it again, or its folder"
        ) from error


def _folder(place: Path) -> dict[str, bytes]:
    files = {}
    for path in sorted(place.rglob("*")):
        name = path.relative_to(place).as_posix()
        if path.is_symlink():
            raise InputError(place, name, "a release holds no links", "fetch it again")
        if path.is_file():
            files[name] = path.read_bytes()
    return files


def _safe_names(archive: zipfile.ZipFile, place: Path) -> dict[str, zipfile.ZipInfo]:
    infos = [info for info in archive.infolist() if not info.is_dir()]
    packed, unpacked = place.stat().st_size, sum(info.file_size for info in infos)
    if unpacked > LARGEST or unpacked > HIGHEST_RATIO * packed:
        raise InputError(
            place,
            None,
            f"{packed} bytes would unpack to {unpacked}, no release does that",
            "do not open it; fetch it again from where you trust",
        )
    names: dict[str, zipfile.ZipInfo] = {}
    folders = set()
    for info in infos:
        path = PurePosixPath(info.filename)
        link = stat.S_ISLNK(info.external_attr >> 16)
        if link or path.is_absolute() or ".." in path.parts or "\\" in info.filename:
            raise InputError(
                place,
                info.filename,
                "climbs out of the release's folder",
                "do not open it; fetch it again from where you trust",
            )
        name = path.relative_to(path.parts[0]).as_posix()
        folders.add(path.parts[0])
        if len(path.parts) < 2 or len(folders) > 1 or name in names:
            raise InputError(
                place, info.filename, "expected one folder, each file in it once", "fetch it again"
            )
        names[name] = info
    return names
