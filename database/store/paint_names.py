"""How paints are named and found: a nickname, or any part of a name that fits only one."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from difflib import get_close_matches

from ...calibrate.errors import InputError
from ..common.remedies import StudioDo
from .schema import Paint

LONGEST = 24
_NICKNAME = re.compile(rf"[^\W_][\w-]{{0,{LONGEST - 1}}}")


def nickname_key(nickname: str) -> str:
    """Spell a nickname in the one case that makes it unique."""
    return nickname.casefold()


def check_nickname(nickname: str, file: str | None = None, where: str | None = None) -> str:
    """Return a nickname that can stand on a card, in a recipe and on a command line.

    Raises
    ------
    InputError
        Where it has a space, a sign or more than `LONGEST` characters.
    """
    if not _NICKNAME.fullmatch(nickname):
        raise InputError(
            file,
            where,
            f"expected a nickname of up to {LONGEST} letters, digits, - and _, got {nickname!r}",
            "choose one word, such as OCHRE",
        )
    return nickname


def suggest_nickname(name: str, maker: str, taken: Collection[str]) -> str:
    """Suggest a free nickname: the name's first word, told apart by the maker's, then a number."""
    words = [re.sub(r"[\W_]+", "", word).upper() for word in name.split()]
    first = next((word for word in words if word), "PAINT")[: LONGEST - 6]
    initials = "".join(word[0] for word in re.findall(r"[^\W_]+", maker)).upper()[:3]
    used = {nickname_key(nickname) for nickname in taken}
    choices = [first, *([f"{first}-{initials}"] if initials else [])]
    choices += [f"{first}-{number}" for number in range(2, len(used) + 3)]
    return next(choice for choice in choices if nickname_key(choice) not in used)


def find_paint(paints: Sequence[Paint], text: str) -> Paint:
    """Find the one paint that a text means.

    Raises
    ------
    InputError
        Where it fits several, naming them; or none, naming the closest.
    """
    wanted = text.strip().casefold()
    for paint in paints:
        if paint.nickname_key == wanted:
            return paint
    fitting = [p for p in paints if wanted and wanted in f"{p.nickname}\n{p.name}".casefold()]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise InputError(
            None,
            f"paint {text!r}",
            f"fits {len(fitting)} paints: {_listed(fitting)}",
            "give the nickname of one",
        )
    if not paints:
        raise InputError(
            None, f"paint {text!r}", "the studio has no tubes yet", StudioDo.ADD_TUBE()
        )
    by_word = {word.casefold(): p for p in paints for word in (p.name, *p.name.split())}
    by_word |= {p.nickname_key: p for p in paints}
    close = {by_word[word].nickname: by_word[word] for word in _close(wanted, by_word)}
    raise InputError(
        None,
        f"paint {text!r}",
        "fits no tube" + (f"; closest: {_listed(list(close.values()))}" if close else ""),
        StudioDo.SEE_TUBES_OR_ADD(),
    )


def _close(wanted: str, words: Collection[str]) -> list[str]:
    return get_close_matches(wanted, words, n=3, cutoff=0.6)


def _listed(paints: Sequence[Paint]) -> str:
    some = ", ".join(f"{p.nickname} ({p.name})" for p in paints[:6])
    return some + (", ..." if len(paints) > 6 else "")
