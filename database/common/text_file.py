"""Reads a text file that the user names."""

from __future__ import annotations

from pathlib import Path

from ...calibrate.errors import InputError

LARGEST = 5_000_000
"""Bytes; cards and lists of paints are far smaller."""


def read_text(path: Path) -> str:
    """Read UTF-8 text, with or without a byte order mark.

    Raises
    ------
    InputError
        Where there is no such file, or it isn't text.
    """
    if not path.exists():
        raise InputError(path, None, "no such file", "check the name and the folder")
    try:
        if path.stat().st_size > LARGEST:
            raise InputError(
                path, None, f"more than {LARGEST // 10**6} MB", "is it the right file?"
            )
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(path, None, "isn't UTF-8 text", "save it as UTF-8") from error
    except OSError as error:
        raise InputError(
            path,
            None,
            f"can't be opened ({error.strerror})",
            "check that it is a file you may read",
        ) from error
