"""A mix as it is made, in words: amounts, tints and what is mixed beforehand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import zip_longest

from ..mixing.made import Made
from ..mixing.measures import Beforehand, Measure, Portions, Tint, amount_words
from ..mixing.order import Step
from ..mixing.prediction import mix_words
from ..mixing.steps.growing import Taken


def tint_words(tint: Tint, names: Mapping[str, str]) -> str:
    """Say what a tint is: ``Dusk Violet tint, 1 Dusk Violet to 9 Hull White``."""
    paint, into = (names.get(p, p) for p in (tint.paint, tint.into))
    return f"{tint.said(names)}, 1 {paint} to {tint.parts} {into}"


def of_what(made: Portions, paint: str, names: Mapping[str, str]) -> str:
    """Say what an amount is of: a tube's name, or its tint's."""
    tint = made.tint(paint)
    return names.get(paint, paint) if tint is None else tint.said(names)


def portion_words(made: Portions, paint: str, names: Mapping[str, str], held: bool = False) -> str:
    """Say an amount and what it is of: ``0.35 g Hull White``, ``2 spoons Dusk Violet tint``.

    Parameters
    ----------
    paint : str
        Nickname.
    names : mapping of nickname to name
    held : bool
        Whether a tint says what it holds.
    """
    tint = made.tint(paint)
    of = tint_words(tint, names) if tint is not None and held else of_what(made, paint, names)
    return f"{amount_words(made.amounts[paint], made.measure)} {of}"


def held_back(made: Made, step: Step) -> float:
    """Amount of a step to hold back until the colour is seen; 0 where it can't be measured."""
    whole = made.amounts[step.paint]
    rest = made.measure.rounded(whole * step.hold_back)
    return rest if 0 < rest < whole else 0.0


def beforehand_words(
    beforehand: Sequence[Beforehand], measure: Measure, names: Mapping[str, str]
) -> list[str]:
    """Say how tints are mixed, a sentence without its end for each."""
    said: list[str] = []
    begun = ""
    for step, after in zip_longest(beforehand, beforehand[1:]):
        tint = step.tint
        paint, into = (names.get(p, p) for p in (tint.paint, tint.into))
        strong, bulk, left = (amount_words(a, measure) for a in (step.strong, step.into, step.left))
        if tint.times == 1:
            begun = f"mix beforehand {strong} {paint} with {bulk} {into}"
        else:
            begun += f", then {strong} of that with {bulk} more {into}"
        if after is not None and after.tint == replace(tint, times=tint.times + 1):
            continue
        over = f"; {left} of it is left over" if step.left > measure.step / 2 else ""
        said.append(f"{begun}: that is {tint_words(tint, names)}{over}")
    return said


def surplus_words(made: Made) -> str:
    """Say what a batch holds beyond what was asked for; empty where it holds just that."""
    if not made.surplus:
        return ""
    over, whole = (amount_words(a, made.measure) for a in (made.surplus, made.total))
    return f"it makes {whole}, {over} more than asked: smaller steps can't be measured"


def parts_words(made: Made, names: Mapping[str, str]) -> str:
    """Say a recipe in parts: ``6 parts Rope Earth, 2 Dusk Violet tint (1 to 9 Hull White)``."""
    said = {**names, **{tint.paint: tint.holds(names) for tint in made.tints}}
    return mix_words(made.amounts, said)


def heap_words(name: str, heap: Made, names: Mapping[str, str]) -> str:
    """Say a heap that is mixed beforehand: ``Heap A, 21.4 g: 20.1 g Hull White, ...``."""
    held = ", ".join(portion_words(heap, paint, names) for paint in heap.amounts)
    return f"{name}, {amount_words(heap.total, heap.measure)}: {held}"


def taken_words(taken: Taken, heaps: Sequence[str], measure: Measure) -> str:
    """Say one step: what goes on the plate, what that makes, and what is taken off it."""

    def said(amount: float) -> str:
        return amount_words(measure.rounded(amount), measure)

    both = zip((taken.first, taken.second), heaps[taken.leg : taken.leg + 2], strict=True)
    put = ", ".join(f"{said(amount)} {name}" for amount, name in both if amount > 0)
    if taken.left > 0:
        put = f"To the {said(taken.left)} left add {put or 'nothing'}"
    return f"{put}: makes {said(taken.total)}; take {said(taken.take)}"
