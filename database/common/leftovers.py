"""What a run that was killed leaves behind: known by its name, and cleared away once it is old."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

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
