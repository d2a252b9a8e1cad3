"""The first of a list of names, and how many more there are."""

from __future__ import annotations

from collections.abc import Sequence


def few(names: Sequence[str], shown: int = 6) -> str:
    """Name the first so many, and say how many more there are."""
    more = f" and {len(names) - shown} more" if len(names) > shown else ""
    return ", ".join(names[:shown]) + more


def either(words: Sequence[str]) -> str:
    """``A``, ``A or B``, ``A, B or C``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
