"""Writes several files, all of them or none."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from pathlib import Path

from ...calibrate.errors import InputError


def write_whole(contents: Mapping[Path, bytes]) -> None:
    """Write files beside where they go, then move them there.

    Raises
    ------
    InputError
        Where a file can't be written; then none is left behind.
    """
    parts = {path: path.with_name(f".{path.name}.part") for path in contents}
    try:
        for path, part in parts.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            part.write_bytes(contents[path])
        for path, part in parts.items():
            part.replace(path)
    except OSError as error:
        for part in parts.values():
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
        raise InputError(
            path, None, f"can't be written ({error.strerror})", "check the folder, and try again"
        ) from error
