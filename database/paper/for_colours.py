"""What to set out, on paper: the page for one painter, and the handout for a class."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..easel.setting_out import ANY, Choice, Wanted, tubes_for
from ..mixing.setout import SetOut, set_out
from .handout.lesson import lesson
from .setout import print_setout

if TYPE_CHECKING:
    from ..store.store import Store


def setout_paper(store: Store, found: SetOut, wanted: Wanted, page: str = "a4") -> bytes:
    """Print what to set out; a PDF."""
    names = {paint.nickname: paint.name for paint in store.paints.all()}
    return print_setout(found, names, f"Set out for {wanted.name}", wanted.remark, page)


def handout(
    store: Store,
    wanted: Wanted,
    choice: Choice = ANY,
    each: float = 5.0,
    people: int = 10,
    title: str = "What we mix today",
    note: str = "",
    whose: str = "one studio's own tubes",
) -> tuple[SetOut, str]:
    """Make the page for a class, each of whom mixes `each` ml of every colour.

    Returns
    -------
    found : SetOut
        Of one person.
    page : str
        As `lesson` makes it.
    """
    coefficients, targets, must = tubes_for(store, wanted, choice)
    paints = {paint.nickname: paint for paint in store.paints.all()}
    names = {nickname: paint.name for nickname, paint in paints.items()}
    # Everyone mixes as much of each, however much of a photograph it covers.
    ml = each * len(wanted.targets)
    found = set_out(coefficients, targets, must=must, ml=ml, names=names)
    remark = f"{wanted.remark[:1].upper()}{wanted.remark[1:]}." if wanted.remark else ""
    intro = " ".join(filter(None, (note, remark)))
    return found, lesson(found, coefficients, paints, title, people, intro, whose)
