"""What to set out, on paper: the page for one painter, and the handout for a class."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from ..easel.habits import BY_SCALE
from ..easel.record import record_of
from ..easel.setting_out import SetOutRequest, SettingOut, setout_question
from ..mixing.measures import SPOONS, SYRINGE, Measure
from ..mixing.setout import SetOut
from .handout.lesson import Heap, lesson
from .setout import print_setout

if TYPE_CHECKING:
    from ..store.store import Store


def setout_paper(answer: SettingOut, page: str = "a4") -> bytes:
    """Print what to set out; a PDF."""
    return print_setout(answer, f"Set out for {answer.wanted.name}", answer.wanted.remark, page)


def handout(
    store: Store,
    request: SetOutRequest,
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
    wanted = request.wanted
    # Everyone mixes as much of each, however much of a photograph it covers.
    alike = replace(wanted, shares=None, places=None)
    asked = replace(request, wanted=alike, ml=each * len(wanted.targets), area=None)
    paints = {paint.nickname: paint for paint in store.paints.all()}
    answer = setout_question(store, asked).answer()
    remark = f"{wanted.remark[:1].upper()}{wanted.remark[1:]}." if wanted.remark else ""
    seen = f"Colours are matched and shown {answer.basis.manner.viewing.words}."
    cards = wanted.cards_words
    cards = f"{cards[:1].upper()}{cards[1:]}." if cards else ""
    intro = " ".join(filter(None, (note, remark, cards, seen)))
    said = lesson(
        answer.found,
        heaps_of(answer, asked.measuring.scale),
        answer.basis.palette,
        paints,
        title,
        people,
        intro,
        whose,
        record_of(
            answer.basis, answer.found.tubes, band="beside each colour: CIEDE2000, 95 of 100 times"
        ),
    )
    return answer.found, said


def heaps_of(answer: SettingOut, weighed: Measure = BY_SCALE.scale) -> list[Heap]:
    """Return every colour as one person of a class makes it, by each measure."""
    return [
        Heap(answer.by(dab, SPOONS, handy=True), answer.by(dab, weighed), answer.by(dab, SYRINGE))
        for dab in answer.found.dabs
    ]
