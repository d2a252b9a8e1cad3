"""What a table of a release is made of: columns of a kind, a key, and keys into other tables."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Kind = Literal["string", "integer", "number", "boolean", "object", "array"]


@dataclass(frozen=True)
class Column:
    """A column. A number may be empty (not read) unless it is `required`.

    One that came with a later layout (`since`) may be empty whatever it is.
    """

    name: str
    kind: Kind
    meaning: str
    required: bool = False
    words: tuple[str, ...] = ()
    since: int = 1


@dataclass(frozen=True)
class Table:
    """A table.

    Attributes
    ----------
    key : tuple of str
        Columns that tell its rows apart; none where rows may be alike.
    foreign : mapping of own columns to (table, its columns)
    since : int
        The first layout that has it.
    """

    name: str
    meaning: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    foreign: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = ()
    since: int = 1

    @property
    def file(self) -> str:
        """Name of its file."""
        return f"{self.name}.csv"

    def in_layout(self, layout: int) -> Table:
        """Return it as an earlier layout had it."""
        return replace(
            self,
            columns=tuple(c for c in self.columns if c.since <= layout),
            # The first layout held one model.
            key=tuple(k for k in self.key if k != "model" or layout > 1),
        )


def text(name: str, meaning: str, words: tuple[str, ...] = ()) -> Column:
    """A word or several; one of `words` where those are given."""
    return Column(name, "string", meaning, bool(words), words)


def key(name: str, meaning: str) -> Column:
    """A word that is never empty."""
    return Column(name, "string", meaning, True)


def count(name: str, meaning: str) -> Column:
    """A whole number."""
    return Column(name, "integer", meaning, True)


def number(name: str, meaning: str, required: bool = False, since: int = 1) -> Column:
    """A number."""
    return Column(name, "number", meaning, required, since=since)


def truth(name: str, meaning: str) -> Column:
    """A truth."""
    return Column(name, "boolean", meaning, True)
