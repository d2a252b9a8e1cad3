"""TOML written by hand: syntax errors with their line, unknown keys with the closest spelling."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Collection
from typing import Any

from ..errors import InputError
from ..plain_text import plain_all


def load(text: str, file: str, plain: bool = True) -> dict[str, Any]:
    """Read TOML.

    Parameters
    ----------
    text : str
    file : str
        What an error names.
    plain : bool
        Whether control characters are taken out of its texts.

    Returns
    -------
    dict
        As `tomllib` gives it.

    Raises
    ------
    InputError
        Naming the line at fault.
    """
    try:
        document: dict[str, Any] = tomllib.loads(text.removeprefix("\ufeff"))
        return dict(plain_all(document)) if plain else document
    except (ValueError, RecursionError) as problem:
        said = str(problem) if isinstance(problem, ValueError) else "nested too deep"
        place = re.search(r"\s*\(at (?:(line \d+), column \d+|end of document)\)", said)
        where = (place[1] or "at its end") if place else None
        if place:
            said = said[: place.start()]
        raise InputError(file, where, f"not TOML: {said}", _do(text, where)) from None


def _do(text: str, where: str | None) -> str:
    """Say what to write instead, by what stands on the line at fault."""
    lines = text.splitlines()
    number = int(where.split()[1]) if where and where.startswith("line ") else 0
    line = lines[number - 1] if 0 < number <= len(lines) else ""
    if re.search(r"=\s*\d{1,2}[./]\d{1,2}[./]\d{2,4}", line):
        return "write a date year first, as in 2026-05-07"
    if re.search(r"=\s*\d+,\d", line):
        return "write decimals after a point, as in 10.5"
    return "write KEY = VALUE, words in quotes, and names with spaces in quotes"


def closest(word: str, among: Collection[str]) -> str:
    """Say the closest of some words, or all of them.

    Parameters
    ----------
    word : str
    among : collection of str
        Words to choose from.

    Returns
    -------
    str
    """
    near = difflib.get_close_matches(word, among, n=1)
    if not near:
        near = [known for known in among if known.lower() == word.lower()]
    if near:
        return f"did you mean {near[0]}?"
    return f"use one of {', '.join(sorted(among))}"


class Table:
    """One table of a TOML file: its values, checked as they are taken.

    Parameters
    ----------
    values : dict
    file : str
    place : str
        What the table is called in a message; empty at the top of the file.
    """

    def __init__(self, values: Any, file: str, place: str = "") -> None:
        self.file = file
        self.place = place
        if not isinstance(values, dict):
            raise self.error(None, "expected a table of keys and values", "write KEY = VALUE in it")
        self.values: dict[str, Any] = values

    def error(self, key: str | None, expected: str, do: str) -> InputError:
        """Make the error for a key of this table.

        Parameters
        ----------
        key : str or None
            Within this table.
        expected : str
            What should stand there.
        do : str
            What to do.

        Returns
        -------
        InputError
        """
        return InputError(self.file, ", ".join(p for p in (self.place, key) if p), expected, do)

    def check_keys(self, known: Collection[str], elsewhere: Collection[str], where: str) -> None:
        """Refuse keys that aren't known; `elsewhere` are keys that belong `where`.

        Parameters
        ----------
        known : collection of str
            Keys of this table.
        elsewhere : collection of str
            Keys of another table.
        where : str
            That table, in words.
        """
        for key in self.values:
            if key in elsewhere and key not in known:
                raise self.error(key, "this key is in the wrong place", f"put it {where}")
            if key not in known:
                raise self.error(key, "unknown key", closest(key, known))

    def text(self, key: str) -> str | None:
        """Return a text that isn't empty, or None where the key isn't set."""
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, str) or not value.strip():
            raise self.error(
                key, f"expected a text, found {shown(value)}", 'write it in quotes "..."'
            )
        return " ".join(value.split())

    def choice(self, key: str, among: Collection[str]) -> str | None:
        """Return one of some words, or None where the key isn't set.

        Parameters
        ----------
        key : str
            Within this table.
        among : collection of str
            Words to choose from.

        Returns
        -------
        str or None
        """
        value = self.text(key)
        if value is not None and value not in among:
            raise self.error(key, f"found {shown(value)}", closest(value, among))
        return value

    def flag(self, key: str) -> bool | None:
        """Return true or false, or None where the key isn't set."""
        value = self.values.get(key)
        if value is not None and not isinstance(value, bool):
            raise self.error(
                key, f"expected true or false, found {shown(value)}", "write it without quotes"
            )
        return value

    def number(self, key: str, *, zero: bool = False) -> float | None:
        """Return a positive number (or zero where allowed), or None where the key isn't set.

        Parameters
        ----------
        key : str
            Within this table.
        zero : bool
            Whether 0 is allowed.

        Returns
        -------
        float or None
        """
        value = self.values.get(key)
        if value is None:
            return None
        least = "a number of 0 or more" if zero else "a number above 0"
        result = math.nan
        if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e9:
            result = float(value)
        if not (result > 0 or (zero and result == 0)):
            raise self.error(
                key, f"expected {least}, found {shown(value)}", "write it as in 12.5, without unit"
            )
        return result

    def count(self, key: str, least: int = 1) -> int | None:
        """Return a whole number, or None where the key isn't set.

        Parameters
        ----------
        key : str
            Within this table.
        least : int
            The least allowed.

        Returns
        -------
        int or None
        """
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= 1000:
            raise self.error(
                key,
                f"expected a whole number from {least}, found {shown(value)}",
                "write it as in 2, without quotes",
            )
        return value

    def tables(self, key: str, name: str) -> list[Table]:
        """Return the tables written ``[[key]]``, called by ``name`` and their number.

        Parameters
        ----------
        key : str
            Within this table.
        name : str
            What an error calls each.

        Returns
        -------
        list of Table
        """
        value = self.values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.error(
                key, f"expected {name}s one by one", f"begin each with [[{key}]] on a line"
            )
        return [Table(item, self.file, f"{name} {i}") for i, item in enumerate(value, start=1)]


def shown(value: Any) -> str:
    """Return a value as a message shows it: short, whatever it is."""
    try:
        text = repr(value)
    except ValueError:  # a whole number of thousands of digits
        text = "a very long number"
    return text if len(text) <= 40 else text[:37] + "..."
