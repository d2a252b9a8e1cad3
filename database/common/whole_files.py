"""Writes files whole or not at all: beside where they go, then moved there in one step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from secrets import token_hex

from ...calibrate.errors import InputError, Remedy
from .leftovers import PART


@contextmanager
def beside(*paths: Path) -> Iterator[list[Path]]:
    """Give a place beside each path; what is written there by the end moves to the paths.

    After a failure nothing is left there, and the paths are as they were. Folders are made.
    """
    # A name that no other run has: what two write at once is one's or the other's, never both.
    parts = [path.with_name(f".{path.name}-{token_hex(4)}{PART}") for path in paths]
    try:
        for path in paths:
            path.parent.mkdir(parents=True, exist_ok=True)
        yield parts
        for path, part in zip(paths, parts, strict=True):
            part.replace(path)
    finally:
        for part in parts:
            with suppress(OSError):
                part.unlink(missing_ok=True)


def write_whole(
    contents: Mapping[Path, bytes],
    do: str | Remedy = "check the folder, and try again",
    owner_alone: bool = False,
) -> None:
    """Write several files: none moves to its place before all are written.

    Where they are to be their owner's alone, they are so from the first byte on.

    Raises
    ------
    InputError
        Where a file can't be written; `do` says what to do about it.
    """
    at = next(iter(contents))
    try:
        with beside(*contents) as parts:
            for path, part in zip(contents, parts, strict=True):
                at = path
                if owner_alone:
                    part.touch(0o600, exist_ok=False)
                part.write_bytes(contents[path])
    except OSError as error:
        raise InputError(at, None, f"can't be written ({error.strerror})", do) from error
