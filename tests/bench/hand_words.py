"""Amounts as they are printed, parsed back from words, pages and paper, and mixed literally."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from .hand_table import WHITE, Table, apart

NEAR = 0.5
_FOUND_BY_TINT = 2.0
_QUARTERS = {"¼": 0.25, "½": 0.5, "¾": 0.75}
_VALUE = r"(\d+(?:\.\d+)?(?: ?[¼½¾])?|[¼½¾])"
_UNIT = r"(g|ml|spoons?|cm|parts?)"


def number(words: str) -> float:
    """A number with quarters, as spoons are printed."""
    quarters = sum(_QUARTERS.get(mark, 0.0) for mark in words)
    whole = re.match(r"\d+(?:\.\d+)?", words)
    return (float(whole[0]) if whole else 0.0) + quarters


Tint = tuple[float, float, str]
"""Parts of the colour, parts of what it is let down with, and nickname of that."""


@dataclass(frozen=True)
class Amount:
    """So much of a tube, or of a tint of it that is mixed beforehand.

    Attributes
    ----------
    value : float
    unit : str
    paint : str
    tinted : bool
    tint : Tint or None
        What the words beside it say the tint is of.
    """

    value: float
    unit: str
    paint: str
    tinted: bool = False
    tint: Tint | None = None


@dataclass(frozen=True)
class Printed:
    """One mix as a face printed it, and what it claims.

    Attributes
    ----------
    face : str
    amounts : sequence of Amount
    tints : mapping of nickname to Tint
        As the face says; what it names a tint without a ratio is 1:9 in white.
    aim : sequence of float
        L*, a*, b* that the answer is judged against.
    off : float
        From the aim, as claimed.
    moved : float
        What rounding costs, as claimed beside it.
    finish : str or None
        The finish the answer states.
    words : str
        For a reader of the figures.
    asked_g : float or None
        How much was asked for, where the amounts are grams of it.
    """

    face: str
    amounts: Sequence[Amount]
    tints: Mapping[str, Tint]
    aim: Sequence[float]
    off: float
    finish: str | None
    words: str
    moved: float = 0.0
    asked_g: float | None = None

    def tint_of(self, amount: Amount) -> Tint:
        """What a tint is of, as the face says."""
        return amount.tint or self.tints.get(amount.paint, (1.0, 9.0, WHITE))

    def literal(self, table: Table, by_weight: bool) -> dict[str, float]:
        """Grams of each tube, if it is mixed as it stands; a tint by weight or in the unit."""
        grams: dict[str, float] = {}
        for each in self.amounts:
            weighed = each.unit in ("g", "part")
            density = table.densities[each.paint]
            if not each.tinted:
                more = {each.paint: each.value * (1 if weighed else density)}
            else:
                colour, white, into = self.tint_of(each)
                if weighed or by_weight:
                    volume = colour / density + white / table.densities[into]
                    size = each.value * (1 if weighed else (colour + white) / volume)
                    share = {each.paint: colour, into: white}
                else:
                    size = each.value
                    share = {each.paint: colour * density, into: white * table.densities[into]}
                more = {p: size * s / (colour + white) for p, s in share.items()}
            for paint, g in more.items():
                grams[paint] = grams.get(paint, 0.0) + g
        return grams

    def excess(self, table: Table) -> float:
        """How much farther than claimed it lands, CIEDE2000: the kinder reading of a tint."""
        ways = {by: self.literal(table, by) for by in (True, False)}
        lands = min(apart(table.lab(grams, self.finish), self.aim) for grams in ways.values())
        return max(lands - self.off - self.moved, 0.0)

    def hidden_tint(self, table: Table) -> str | None:
        """A tube that is right only as a 1:9 tint, yet isn't named one."""
        if self.excess(table) < _FOUND_BY_TINT:
            return None
        for i, each in enumerate(self.amounts):
            if each.tinted or each.paint == WHITE:
                continue
            amounts = [*self.amounts[:i], replace(each, tinted=True), *self.amounts[i + 1 :]]
            if replace(self, amounts=amounts).excess(table) < NEAR:
                return each.paint
        return None


def _names(table: Table) -> str:
    return "|".join(re.escape(name) for name in sorted(table.names, key=len, reverse=True))


def amounts_in(text: str, table: Table) -> list[Amount]:
    """Every amount of a tube in words, in their order."""
    found = re.findall(rf"{_VALUE} {_UNIT} ({_names(table)})( tint)?", text)
    return [
        Amount(number(value), unit.rstrip("s"), table.names[name], bool(tint))
        for value, unit, name, tint in found
    ]


def tints_in(text: str, table: Table) -> dict[str, Tint]:
    """Tints to be mixed beforehand, as said."""
    names = _names(table)
    found = re.findall(rf"({names}) tint, (\d+) (?:{names}) to (\d+) ({names})", text)
    return {
        table.names[name]: (float(colour), float(white), table.names[into])
        for name, colour, white, into in found
    }


def of_recipe(text: str, said: Mapping, table: Table, asked_g: float) -> Iterator[Printed]:
    """Every mix in the words of ``recipe``: each way, and the other measures of the first."""
    aim, finish = said["target"]["lab"], said["viewing"].get("finish")
    starts = [m.start() for m in re.finditer(r"(?m)^\d+\. ", text)]
    for start, end in zip(starts, [*starts[1:], len(text)], strict=True):
        way = text[start:end]
        head = way.partition(": ")[0]
        off = re.search(r"ff by CIEDE2000 (\d+\.\d+)", way)
        assert off, way
        tints = tints_in(way, table)
        yield Printed(
            "recipe", amounts_in(head, table), tints, aim, float(off[1]), finish,
            " ".join(way.split("\n")[0].split()), asked_g=asked_g,
        )  # fmt: skip
        for line in way.splitlines():
            cost = re.search(r"\((\d+\.\d+)\)", line)
            if cost and re.match(r"(by |in )", line):
                cells = re.split(r" {2,}", line)
                yield Printed(
                    "measures", amounts_in(cells[1], table), tints_in(line, table), aim,
                    float(off[1]), finish, " ".join(line.split()), moved=float(cost[1]),
                )  # fmt: skip


def of_setout(text: str, said: Mapping, table: Table) -> Iterator[Printed]:
    """Every mix in the words of ``setout``."""
    blocks = re.findall(r"(?ms)^\d+\. .*?(?=^\d+\. |\n\n|\Z)", text)
    for block, colour in zip(blocks, said["colours"], strict=False):
        off = re.search(r"ff by CIEDE2000 (\d+\.\d+)", block)
        assert off, block
        yield Printed(
            "setout", amounts_in(block, table), tints_in(block, table), colour["lab"],
            float(off[1]), said["viewing"].get("finish"), " ".join(block.split()),
        )  # fmt: skip


def of_setout_page(text: str, said: Mapping, table: Table) -> Iterator[Printed]:
    """Every mix on the printed page of ``setout``: first and then."""
    blocks = re.findall(r"(?ms)^\d+\. .*?(?=^wanted|^One tube|^Printed|\Z)", text)
    for block, colour in zip(blocks, said["colours"], strict=False):
        line = " ".join(block.split())
        off = re.search(r"CIEDE2000 (\d+\.\d+)\), sure", line)
        assert off, block
        yield Printed(
            "setout_page", amounts_in(line, table), tints_in(line, table), colour["lab"],
            float(off[1]), said["viewing"].get("finish"), line,
        )  # fmt: skip


def of_lesson(text: str, said: Mapping, table: Table) -> Iterator[Printed]:
    """Every mix of the handout, by each of its columns."""
    names = _names(table)
    blocks = re.findall(r"(?ms)^\d+\. [^\n]*\nOff by.*?(?=^\d+\. |^How far|\Z)", text)
    for block, colour in zip(blocks, said["colours"], strict=False):
        off = re.search(r"Off by (\d+\.\d+)", block)
        moved = re.search(r"by spoons it moves by (\d+\.\d+)", block)
        rows = re.findall(rf"(?m)^(({names})( tint)?[^\n]*)\n{_VALUE}\n{_VALUE}\n{_VALUE}$", block)
        assert off and rows, block
        for i, unit in enumerate(("spoon", "g", "ml"), 3):
            amounts = [
                Amount(
                    number(row[i]), unit, table.names[row[1]], bool(row[2]),
                    tints_in(row[0], table).get(table.names[row[1]]),
                )
                for row in rows
            ]  # fmt: skip
            costs = float(moved[1]) if moved and unit == "spoon" else 0.0
            yield Printed(
                f"lesson_{unit}", amounts, tints_in(block, table), colour["lab"],
                float(off[1]), said["viewing"].get("finish"),
                f"{block.splitlines()[0]} {amounts}", moved=costs,
            )  # fmt: skip


def of_mix_page(text: str, said: Mapping, table: Table, asked_g: float) -> Iterator[Printed]:
    """The way that the page lays out, in grams and in its other measures."""
    off = re.search(r"Against the target: [\w ]+ \(CIEDE2000 (\d+\.\d+)\)", text)
    order = re.search(r"(?s)In this order\n(.*?)\nonce the", text)
    others = re.search(r"(?s)Costs in colour\n(.*?)\n(?:The density|Keep it)", text)
    assert off and order, text[:2000]
    aim, finish = said["target"]["lab"], said["viewing"].get("finish")
    yield Printed(
        "page", amounts_in(order[1], table), tints_in(order[1], table), aim, float(off[1]),
        finish, " ".join(order[1].split()), asked_g=asked_g,
    )  # fmt: skip
    lines = others[1].split("\n") if others else []
    for name, line, cost in zip(lines[::3], lines[1::3], lines[2::3], strict=False):
        moved = re.search(r"\((\d+\.\d+)\)", cost)
        if moved:
            yield Printed(
                "page_measures", amounts_in(line, table), tints_in(line, table), aim,
                float(off[1]), finish, f"{name}: {line}", moved=float(moved[1]),
            )  # fmt: skip
