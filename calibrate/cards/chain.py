"""Steps taken from one another: what each holds in the end, and what can't be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from .card import Drawdown
from .toml_text import Table, closest


def contents(
    drawdowns: Sequence[Drawdown], tables: Sequence[Table], balance_g: float
) -> list[set[str]]:
    """Paints in each drawdown, its chain followed down to a fresh step.

    Parameters
    ----------
    drawdowns : sequence of N Drawdown
    tables : sequence of N Table
        Where each was read from, for messages.
    balance_g : float

    Returns
    -------
    list of set of str

    Raises
    ------
    InputError
        For a step said twice, taken from an unknown one, in a circle, or taken more than there was,
        and one that is neither painted nor taken from.
    """
    parents = _parents(drawdowns, tables)
    held = []
    for i, table in enumerate(tables):
        chain = [i]
        while (parent := parents[chain[-1]]) is not None:
            if parent in chain:
                raise table.error(
                    "from", "the steps are taken in a circle", "begin with a fresh step"
                )
            chain.append(parent)
        held.append({paint for link in chain for paint in drawdowns[link].masses})
    for i, (d, table) in enumerate(zip(drawdowns, tables, strict=True)):
        if not d.over and i not in parents:
            raise table.error(
                "over",
                f"step {d.step} is painted over nothing, and no step is taken from it",
                'write over = ["black", "white"], or take a step from it',
            )
    taken = [0.0] * len(drawdowns)
    for d, parent, table in zip(drawdowns, parents, tables, strict=True):
        if parent is None:
            continue
        taken[parent] += d.taken_g or 0.0
        whole = sum(drawdowns[parent].masses.values()) + (drawdowns[parent].taken_g or 0.0)
        # Weighing the same paint twice may differ by the balance's last digit.
        if taken[parent] > whole + balance_g * (1 + 1e-9):
            raise table.error(
                "grams",
                f"{taken[parent]:g} g are taken of step {d.taken_from}, of which {whole:g} g "
                "were weighed",
                "check the grams of both steps",
            )
    return held


def _parents(drawdowns: Sequence[Drawdown], tables: Sequence[Table]) -> list[int | None]:
    """Index of the step that each was taken from, None for a fresh one."""
    first: dict[str, int] = {}
    for i, (d, table) in enumerate(zip(drawdowns, tables, strict=True)):
        if (before := first.setdefault(d.step.lower(), i)) != i:
            raise table.error(
                "step", f"{d.step} is also drawdown {before + 1}", "give each step its own name"
            )
    steps = {d.step: i for i, d in enumerate(drawdowns)}
    for d, table in zip(drawdowns, tables, strict=True):
        if d.taken_from is not None and d.taken_from not in steps:
            do = closest(d.taken_from, steps)
            raise table.error("from", f"there is no step {d.taken_from}", do)
    return [None if d.taken_from is None else steps[d.taken_from] for d in drawdowns]


def ladder(d: Drawdown, paints: set[str], table: Table) -> Drawdown:
    """Refuse a drawdown of which a fit could make nothing, or the wrong thing.

    Parameters
    ----------
    d : Drawdown
        The drawdown.
    paints : set of str
        All that it holds, its chain included.
    table : Table
        Where it stands in the file.

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
