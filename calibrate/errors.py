"""The one error that users see."""

from __future__ import annotations

from pathlib import Path


class InputError(Exception):
    """Input that can't be used, said in one line.

    Parameters
    ----------
    file : str or Path or None
        The file (or option) at fault; None where there is none.
    where : str or None
        The place in it: a line, a row, a patch, a key such as ``drawdown 3, masses.OCHRE``.
    expected : str
        What was expected, and what was found instead.
    do : str
        What the user can do about it.

    Examples
    --------
    >>> print(InputError("card.toml", "line 3", "expected a mass in g", "write it as 2.5"))
    card.toml, line 3: expected a mass in g; write it as 2.5
    """

    def __init__(self, file: str | Path | None, where: str | None, expected: str, do: str) -> None:
        self.file = None if file is None else str(file)
        self.where = where
        self.expected = expected
        self.do = do
        place = ", ".join(part for part in (self.file, where) if part)
        line = f"{place}: {expected}" if place else expected
        super().__init__(" ".join(f"{line.rstrip('.')}; {do}".split()))
