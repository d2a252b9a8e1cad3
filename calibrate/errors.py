"""The one error that users see, and what each face of it words for itself.

A command line and a page ask by different names, and have a different thing to do. So what the user
can do is a code with arguments (`Remedy`), and what was asked by name is a `Field`; a face has its
own words for both. Without a face they read in words that hold anywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path

from .plain_text import without_controls


class RemedyCode(Enum):
    """What a user can do, as a code; its value says it for no face, arguments in braces."""

    def __call__(self, **arguments: object) -> Remedy:
        """Return the remedy with its arguments."""
        return Remedy(self, arguments)


@dataclass(frozen=True)
class Remedy:
    """What the user can do, for each face to word.

    Attributes
    ----------
    arguments : mapping of name to value
        What the words of the code name in braces.
    """

    code: RemedyCode
    arguments: Mapping[str, object] = field(default_factory=dict)

    def __str__(self) -> str:
        return str(self.code.value).format(**self.arguments)


@dataclass(frozen=True)
class Field:
    """Something that the user was asked by name: an option, a field of a form, an argument.

    Attributes
    ----------
    name : str
        In small letters, words apart by hyphens.
    given : str
        What was given there; empty where it is not to be repeated.
    """

    name: str
    given: str = ""

    def __str__(self) -> str:
        return f"{self.name.replace('-', ' ')} {self.given}".rstrip()


Face = Callable[["Remedy | Field"], str]
"""How a face words a remedy and what it asks by name; `str` is no face."""


class Sentence:
    """Words with remedies and fields among them.

    Parameters
    ----------
    *parts : str or Remedy or Field or Sentence

    Examples
    --------
    >>> print(Sentence("the unit is percent by ", Field("unit"), " alone"))
    the unit is percent by unit alone
    """

    def __init__(self, *parts: str | Remedy | Field | Sentence) -> None:
        self.parts: tuple[str | Remedy | Field, ...] = tuple(
            each
            for part in parts
            for each in (part.parts if isinstance(part, Sentence) else (part,))
        )

    def said(self, face: Face = str) -> str:
        """Return the line as a face says it."""
        return "".join(part if isinstance(part, str) else face(part) for part in self.parts)

    def __str__(self) -> str:
        return self.said()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sentence) and self.parts == other.parts

    def __hash__(self) -> int:
        return hash(str(self))


class InputError(Exception):
    """Input that can't be used, said in one line.

    Parameters
    ----------
    file : str or Path or Field or None
        The file (or field) at fault; None where there is none.
    where : str or Field or None
        The place in it: a line, a row, a patch, a key such as ``drawdown 3, masses.OCHRE``.
    expected : str or Sentence
        What was expected, and what was found instead.
    do : str or Remedy or Sentence
        What the user can do about it.

    Examples
    --------
    >>> print(InputError("card.toml", "line 3", "expected a mass in g", "write it as 2.5"))
    card.toml, line 3: expected a mass in g; write it as 2.5
    """

    def __init__(
        self,
        file: str | Path | Field | None,
        where: str | Field | None,
        expected: str | Sentence,
        do: str | Remedy | Sentence,
    ) -> None:
        self.file = str(file) if isinstance(file, Path) else file
        self.where = where
        self.expected = expected
        self.do = do
        super().__init__(self.said())

    def said(self, face: Face = str) -> str:
        """Return the error in one line, as a face says it."""
        place = ", ".join(Sentence(part).said(face) for part in (self.file, self.where) if part)
        expected = Sentence(self.expected).said(face).rstrip(".")
        line = f"{place}: {expected}" if place else expected
        return " ".join(without_controls(f"{line}; {Sentence(self.do).said(face)}").split())


class CalibrateDo(RemedyCode):
    """Remedies for cards, files of readings, instruments, scans and fits."""

    ADD_PAINT = "add the paint to the studio, or mend its nickname in the card"
    CHECK_UNIT = "check whether the file is in percent, and say so, or read the patch again"
    FIT_TOGETHER = "fit all paints together"
    GIVE_TILES = "give a file of certified values of the tiles"
    LEAVE_OUT_STRIP = "leave the grey strip out"
    LOOK_AT_TILE = (
        "clean the tile, see that it is the right one, and read it again; if it is clean and "
        "right, say so"
    )
    MORE_TUBES = "name more tubes, or say that they are on hand"
    NAME_SAMPLES = "name samples STEP/black and STEP/white as on the card, or give the right card"
    PLUG_IN = "plug the instrument in, and look again"
    RIGHT_CARD = "give the right card"
    SAY_GEOMETRY = "say which: di:8, 8:di or 45:0 (of a sphere also specular included or excluded)"
    SAY_ONLY = "say which is meant: {choices}"
    SAY_SPECULAR = "say whether it is included or excluded"
    SAY_UNIT = "say which: percent or fraction"
    SAY_WEIGHED = "Say what differed from card {card}, by its number on this sheet."
    SCANNED_CARD = "give the card that was scanned"
    SCAN = "if it shows a card, read it as a scan"
    WITHOUT_STEP = "paint it, or scan the card without step {step}"
