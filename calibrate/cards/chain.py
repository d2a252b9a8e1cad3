"""Steps taken from one another: what each holds in the end, and what can't be."""

from __future__ import annotations

from dataclasses import replace

from .card import Drawdown
from .toml_text import Table, closest


def contents(drawdowns: list[Drawdown], tables: list[Table], balance_g: float) -> list[set[str]]:
    """Paints in each drawdown, its chain followed down to fresh steps.

    Raises
    ------
    InputError
        For a step said twice, taken from an unknown one, in a circle, or taken more than there was.
    """
    at: dict[str, int] = {}
    for i, (d, table) in enumerate(zip(drawdowns, tables, strict=True)):
        twice = at.setdefault(d.step.lower(), i)
        if twice != i:
            raise table.error(
                "step", f"{d.step} is also drawdown {twice + 1}", "give each step a name of its own"
            )
    steps = {d.step: i for i, d in enumerate(drawdowns)}
    parents: list[int | None] = []
    taken = [0.0] * len(drawdowns)
    for d, table in zip(drawdowns, tables, strict=True):
        parent = None
        if d.taken_from is not None:
            if d.taken_from not in steps:
                raise table.error(
                    "from", f"there is no step {d.taken_from}", closest(d.taken_from, steps)
                )
            parent = steps[d.taken_from]
            taken[parent] += d.taken_g or 0.0
            whole = sum(drawdowns[parent].masses.values()) + (drawdowns[parent].taken_g or 0.0)
            # Weighing the same paint twice may differ by the balance's last digit.
            if taken[parent] > whole + balance_g:
                raise table.error(
                    "grams",
                    f"{taken[parent]:g} g are taken of step {d.taken_from}, of which {whole:g} g "
                    "were weighed",
                    "check the grams of both steps",
                )
        parents.append(parent)
    held = []
    for i, table in enumerate(tables):
        paints: set[str] = set()
        seen: set[int] = set()
        link: int | None = i
        while link is not None:
            if link in seen:
                raise table.error(
                    "from",
                    "the steps are taken from each other in a circle",
                    "begin with a fresh step",
                )
            seen.add(link)
            paints |= set(drawdowns[link].masses)
            link = parents[link]
        held.append(paints)
    return held


def ladder(d: Drawdown, paints: set[str], table: Table) -> Drawdown:
    """Refuse a drawdown of which a fit could make nothing, or the wrong thing.

    Returns
    -------
    Drawdown
        A masstone whose paint wasn't said belongs to the one paint it holds.

    Raises
    ------
    InputError
        For a step of a paint that it doesn't hold, and a ladder without white.
    """
    if d.paint is None and len(paints) == 1:
        return replace(d, paint=next(iter(paints)))
    if d.paint is not None and d.paint not in paints:
        raise table.error(
            "paint",
            f"there is no {d.paint} in this step (it holds {', '.join(sorted(paints))})",
            "set paint anew in this drawdown, or correct its masses",
        )
    if len(paints) > 1 and d.white is None:
        raise table.error(
            "white",
            "a ladder needs its white, and none is said",
            'write white = "PAINT" at the top, or purpose = "check" for mixtures',
        )
    return d
