"""Keeps the files dropped on the page in the studio's folder, under their own names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from threading import Lock

from starlette.datastructures import UploadFile

from ...calibrate.errors import InputError
from ..cards.scanning import PICTURES
from ..common.files import beside
from ..store.studio import Studio

FOLDER = "dropped"
"""In the studio's folder."""
TEXTS = (".toml", ".txt", ".csv", ".xlsx", ".cgats", ".cxf", ".xml", ".it8")
PHOTOS = ",".join(PICTURES)
ACCEPTED = ",".join((*PICTURES, *TEXTS))
_LARGEST_TEXT = 30_000_000
_BLOCK = 1 << 20
_KEEPING = Lock()
"""Held while a file gets its name: two of one name keep both."""


def keep(
    studio: Studio, files: Sequence[UploadFile], kinds: tuple[str, ...] = (*PICTURES, *TEXTS)
) -> list[Path]:
    """Keep files as dropped; one that is there already, byte for byte, isn't kept twice.

    Parameters
    ----------
    kinds : tuple of str
        Endings of the names that are taken.

    Raises
    ------
    InputError
        Where there is none, or one is of a kind that nothing here reads, or too large for it.
    """
    if not files:
        raise InputError(None, None, "no file was chosen", "choose one, or drop it here")
    for file in files:
        name = plain_name(file.filename or "")
        suffix = Path(name).suffix.lower()
        if suffix not in kinds:
            raise InputError(
                name, None, "nothing here reads files of this kind",
                "drop a scan (TIFF, PNG, JPEG), readings (CGATS text, CSV, XLSX, CxF3) or a card's "
                "file (TOML)" if set(TEXTS) <= set(kinds) else f"drop {' or '.join(kinds)}",
            )  # fmt: skip
        if suffix in TEXTS and (file.size or 0) > _LARGEST_TEXT:
            raise InputError(
                name, None, f"is over {_LARGEST_TEXT // 1_000_000} MB", "is it a file of readings?"
            )
    return [_keep(studio.folder / FOLDER, plain_name(f.filename or ""), f) for f in files]


def keep_photo(studio: Studio, files: Sequence[UploadFile]) -> str:
    """Keep the photograph that was dropped, and return its name.

    Raises
    ------
    InputError
        As `keep`, and where it is none.
    """
    photo, *_ = keep(studio, files)
    if photo.suffix.lower() not in PICTURES:
        raise InputError(photo.name, None, "is no photograph", "drop a JPEG, PNG or TIFF")
    return photo.name


def kept(studio: Studio, names: Sequence[str]) -> list[Path]:
    """Return files that were kept earlier, by name.

    Raises
    ------
    InputError
        Where one isn't there.
    """
    found = [studio.folder / FOLDER / plain_name(name) for name in names]
    for path in found:
        if not path.is_file():
            raise InputError(path.name, None, "isn't there any more", "drop it again")
    return found


def plain_name(name: str) -> str:
    """Return a file's name without any folder, and without what no file's name may hold."""
    bare = re.split(r"[/\\]", name)[-1]
    return re.sub(r"[^\w. ()+-]+", "-", bare).lstrip(". ")[-120:] or "unnamed"


def _keep(folder: Path, name: str, file: UploadFile) -> Path:
    with _KEEPING:
        stem, suffix, number, path = Path(name).stem, Path(name).suffix, 1, folder / name
        while path.exists():
            if _same(path, file):
                return path
            number += 1
            path = folder / f"{stem}-{number}{suffix}"
        try:
            with beside(path) as (part,), part.open("xb") as made:
                file.file.seek(0)
                while block := file.file.read(_BLOCK):
                    made.write(block)
        except OSError as error:
            raise InputError(
                path, None, f"can't be written ({error.strerror})", "make room on the disk"
            ) from error
    return path


def _same(path: Path, file: UploadFile) -> bool:
    if path.stat().st_size != file.size:
        return False
    file.file.seek(0)
    with path.open("rb") as there:
        while block := there.read(_BLOCK):
            if block != file.file.read(_BLOCK):
                return False
    return True
