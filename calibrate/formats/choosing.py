"""Which readings of a file are meant, where it holds several of one sample that aren't repeats."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from ..errors import CalibrateDo, Field, InputError
from .cells import normal, number
from .marks import Mark, is_count

_WHOLE = ("statistic", "geometry", "specular", "condition")
"""Kinds of which a session has one, whichever samples they are of."""
KINDS = {
    "light": "illumination",
    "order": "the second readings are all darker or all brighter than the first, so no repeats",
}
"""What some kinds are called, where that is another word."""
_STATISTICS = ("average", "spread", "difference")
_LAST = {"sheet": 8, "table": 9}
"""What is asked for only where nothing nearer tells readings apart."""
_MOST_SHOWN = 4
_NO_COLUMN = ("name", "heading", "title", "sheet", "table", "reading")
_FEW = 6
"""A column of numbers with more different ones than these is no setting."""


@dataclass(frozen=True)
class Reading:
    """One spectrum of a file.

    Attributes
    ----------
    cells : list of W str
    table : int
        Which of the file's tables it stands in.
    """

    where: str
    name: str
    cells: list[str] = field(repr=False)
    table: int = 0
    marks: tuple[Mark, ...] = ()

    def mark(self, about: tuple[str, str]) -> Mark | None:
        """Return what is said of it about something, the nearest first."""
        return next((mark for mark in self.marks if _about(mark) == about), None)


def _about(mark: Mark) -> tuple[str, str]:
    """What two marks must share to be of one thing."""
    return mark.kind, "" if mark.kind in (*_WHOLE, "side") else normal(mark.heading)


@dataclass
class Choice:
    """What was said of which readings are meant, and what of it was used.

    Parameters
    ----------
    only : str or None
        Words or HEADING=WORD, with commas between.
    specular : str or None
        As the user says it of the file.
    """

    only: str | None = None
    specular: str | None = None

    def __post_init__(self) -> None:
        self._used: set[tuple[str, str]] = set()
        self._parts: list[tuple[str, str]] = []
        for part in filter(None, map(str.strip, (self.only or "").split(";"))):
            heading, equals, word = part.partition("=")
            self._parts.append((normal(heading), word.strip()) if equals else ("", part))

    def among(self, readings: Sequence[Reading]) -> None:
        """Take a comma for part of a word where there is such a word, else for one between two."""
        words = {normal(mark.word) for reading in readings for mark in reading.marks}
        listed = [part for part in self._parts if "," in part[1] and normal(part[1]) not in words]
        for whole in listed:
            first, *more = whole[1].split(",")
            at = self._parts.index(whole)
            parts = [(whole[0], first.strip())]
            for each in more:
                heading, equals, word = each.strip().partition("=")
                parts.append((normal(heading), word.strip()) if equals else ("", heading))
            self._parts[at : at + 1] = parts

    def picks(self, mark: Mark) -> bool:
        """Whether a mark is among what was said to be meant."""
        fits = False
        called = (normal(mark.heading), normal(mark.kind), normal(KINDS.get(mark.kind, "")))
        for heading, word in self._parts:
            plain = normal(word)
            if plain in (normal(mark.word), normal(mark.value)) and heading in ("", *called):
                self._used.add((heading, word))
                fits = True
        return fits or (mark.kind == "specular" and mark.value == self.specular)

    def check_used(self, readings: Sequence[Reading], file: str) -> None:
        """Refuse words that no reading is marked by."""
        for heading, word in self._parts:
            if (heading, word) not in self._used:
                there = dict.fromkeys(
                    f"{m.heading}={m.word}" for r in readings for m in r.marks if m.word
                )
                shown = ", ".join(list(there)[: 2 * _MOST_SHOWN]) or "nothing tells them apart"
                raise InputError(
                    file,
                    Field("only", word),
                    f"no reading is marked by that ({shown})",
                    "give one of these, or leave it out",
                )


def chosen(
    readings: Sequence[Reading], choice: Choice, file: str
) -> tuple[list[Reading], list[str], list[str]]:
    """Choose among readings that differ in more than chance.

    Parameters
    ----------
    readings : sequence of Reading
    choice : Choice
    file : str
        What an error names.

    Returns
    -------
    list of Reading
        Of which those with one name are repeats.
    left_out : list of str
        What was left out unasked, in words.
    taken : list of str
        What was chosen of several, in words.

    Raises
    ------
    InputError
        Where several are there and nothing says which is meant.
    """
    choice.among(readings)
    kept, left_out, taken = list(readings), list[str](), list[str]()
    abouts = dict.fromkeys(_about(mark) for reading in readings for mark in reading.marks)
    for about in sorted(abouts, key=_rank):
        if about[0] in ("repeat", "unit"):
            continue
        values: dict[str, list[Reading]] = {}
        for reading in kept:
            mark = reading.mark(about)
            values.setdefault(mark.value if mark else "", []).append(reading)
        if about[0] == "statistic":
            kept = _singles(values, kept, choice, left_out, file)
            continue
        marks = [mark for reading in kept if (mark := reading.mark(about))]
        picked = [mark.value for mark in marks if choice.picks(mark)]
        if len(values) < 2:
            continue
        if picked:
            gone = len(kept)
            kept = [r for r in kept if (m := r.mark(about)) and m.value in picked]
            first = next(m for r in kept if (m := r.mark(about)))
            if gone > len(kept):
                taken.append(f"{first.heading} {first.word}")
        elif about[0] == "side" and set(values) <= {"black", "white"}:
            kept = [_over(reading, about) for reading in kept]
        elif about[0] in _WHOLE or _splits(about, kept):
            raise _asked(about, kept, values, file)
    return kept, left_out, taken


def _rank(about: tuple[str, str]) -> int:
    """In which order is asked: first what a session has one of, last what tells nothing."""
    return _WHOLE.index(about[0]) if about[0] in _WHOLE else _LAST.get(about[0], len(_WHOLE))


def _over(reading: Reading, about: tuple[str, str]) -> Reading:
    """Name a reading after what it lies over, as the patches of a card are named."""
    mark = reading.mark(about)
    if mark is None or reading.name.lower().endswith(("/black", "/white")):
        return reading
    return replace(reading, name=f"{reading.name}/{mark.value}")


def _singles(
    values: dict[str, list[Reading]],
    kept: list[Reading],
    choice: Choice,
    left_out: list[str],
    file: str,
) -> list[Reading]:
    """Leave out what was calculated from readings where these are there too."""
    about = ("statistic", "")
    picked = [r for r in kept if (m := r.mark(about)) and choice.picks(m)]
    if picked:
        return picked
    single = [*values.get("single", ()), *values.get("", ())]
    stays = single or values.get("average", [])
    if not stays:
        raise InputError(
            file,
            None,
            f"it holds {_and(f'{value}s' for value in values)} alone",
            "export the readings themselves, or their averages",
        )
    gone = {id(r) for r in stays}
    for value in _STATISTICS:
        out = [r for r in values.get(value, ()) if id(r) not in gone]
        if out:
            places = [r.where for r in out[:_MOST_SHOWN]]
            more = ", ..." if len(out) > len(places) else ""
            shown = ", ".join(dict.fromkeys(places))
            left_out.append(f"{len(out)} {value}{'s' if len(out) > 1 else ''} ({shown}{more})")
    return [r for r in kept if id(r) in gone]


def _splits(about: tuple[str, str], kept: Sequence[Reading]) -> bool:
    """Whether readings of one sample differ in something that isn't a count or a chance."""
    by_name: dict[str, set[str]] = {}
    for reading in kept:
        mark = reading.mark(about)
        by_name.setdefault(reading.name, set()).add(mark.value if mark else "")
    if all(len(found) < 2 for found in by_name.values()):
        return False
    if about[0] != "other":
        return True
    times = Counter(value for found in by_name.values() for value in found)
    numbers = [number(value) for value in times]
    if all(value is not None for value in numbers):
        crossed = len(times) <= _FEW and min(times.values()) >= max(2, len(by_name) // 2)
        return crossed and not is_count(times)
    # Texts that are different in every row name the row; they set nothing.
    return len(times) < len(kept) or len(kept) <= _MOST_SHOWN


def _asked(
    about: tuple[str, str],
    kept: Sequence[Reading],
    values: dict[str, list[Reading]],
    file: str,
) -> InputError:
    """Say what tells readings apart, and which there are."""
    marks = [mark for reading in kept if (mark := reading.mark(about))]
    heading = marks[0].heading
    if about[0] in _LAST:
        there = list(dict.fromkeys(mark.value for mark in marks))[:_MOST_SHOWN]
        numbers = list(dict.fromkeys(mark.word for mark in marks))[:_MOST_SHOWN]
        return InputError(
            file,
            None,
            f"several {heading}s hold readings of the same samples: {', '.join(there)}",
            CalibrateDo.SAY_ONLY(choices=_or([f'"{heading}={n}"' for n in numbers])),
        )
    shown: dict[str, str] = {}
    for reading in kept:
        mark = reading.mark(about)
        shown.setdefault(mark.value if mark else "", mark.word if mark else "")
    counts = [
        f"{len(values[value])} {'are' if len(values[value]) > 1 else 'is'} {word or 'unmarked'}"
        for value, word in list(shown.items())[:_MOST_SHOWN]
    ]
    words = [word for word in shown.values() if word]
    kind = f"{KINDS.get(about[0], about[0])}: ".removeprefix("other: ")
    choices = _or([f'"{heading}={word}"' for word in words[:_MOST_SHOWN]])
    return InputError(
        file,
        heading if heading in _NO_COLUMN else f"column {heading}",
        f"{kind}of its readings {_and(counts)}",
        CalibrateDo.SAY_ONLY(choices=choices),
    )


def _and(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def _or(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last
