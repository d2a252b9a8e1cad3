"""What changes from one release to the next, and the version that follows from it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ...calibrate.errors import InputError

FIRST = "1.0.0"
_VERSION = re.compile(r"(0|[1-9]\d*)\.(0|[1-9]\d*)\.(0|[1-9]\d*)")


@dataclass(frozen=True)
class Changes:
    """Nicknames by what became of them."""

    added: tuple[str, ...] = ()
    refitted: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    reworded: tuple[str, ...] = ()
    remade: tuple[str, ...] = ()
    """Whose numbers now mean something else: of another scale or model."""

    @classmethod
    def between(cls, old: Mapping[str, Any], new: Mapping[str, Any]) -> Changes:
        """Compare what two releases hold, as the studio remembers it."""
        both = [paint for paint in new if paint in old]
        return cls(
            added=tuple(paint for paint in new if paint not in old),
            refitted=tuple(p for p in both if new[p]["fit"] != old[p]["fit"]),
            left_out=tuple(paint for paint in old if paint not in new),
            reworded=tuple(p for p in both if new[p]["words"] != old[p]["words"]),
            remade=tuple(p for p in both if _other_meaning(old[p], new[p])),
        )

    def __bool__(self) -> bool:
        return any((self.added, self.refitted, self.left_out, self.reworded))

    @property
    def lines(self) -> list[str]:
        """The changes in words, a line for each kind."""
        kinds = {
            "Added": self.added,
            "Refitted": self.refitted,
            "Left out": self.left_out,
            "Reworded": self.reworded,
            "Numbers of another meaning": self.remade,
        }
        return [f"{kind}: {', '.join(paints)}." for kind, paints in kinds.items() if paints]


def _other_meaning(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    # Of its first releases a studio did not remember what their numbers mean.
    return "meaning" in old and "meaning" in new and old["meaning"] != new["meaning"]


def version_key(version: str) -> tuple[int, ...]:
    """Return a version as numbers that sort.

    Raises
    ------
    InputError
        Where it isn't three numbers with dots.
    """
    if not _VERSION.fullmatch(version):
        raise InputError(
            None, f"version {version!r}", "expected three numbers such as 1.2.0", "write it so"
        )
    return tuple(int(part) for part in version.split("."))


def next_version(last: str | None, changes: Changes) -> str:
    """Choose a version by what changed.

    Major where the meaning of numbers did, minor for paints added, refitted or left out, patch for
    words alone.
    """
    if last is None:
        return FIRST
    major, minor, patch = version_key(last)
    if changes.remade:
        return f"{major + 1}.0.0"
    if changes.added or changes.refitted or changes.left_out:
        return f"{major}.{minor + 1}.0"
    return f"{major}.{minor}.{patch + 1}"


def checked_version(wanted: str, published: Sequence[str]) -> str:
    """Return a version that may follow those published.

    Raises
    ------
    InputError
        Where it was published already, or a later one was.
    """
    key = version_key(wanted)
    if wanted in published:
        raise InputError(
            None,
            f"version {wanted}",
            "is published already, and what is published never changes",
            "leave the version out, or give a higher one",
        )
    highest = max(published, key=version_key, default=None)
    if highest is not None and key < version_key(highest):
        raise InputError(
            None, f"version {wanted}", f"expected one above {highest}", "give a higher one"
        )
    return wanted
