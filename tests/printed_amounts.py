"""Amounts as they are printed, mixed by someone who knows nothing but what the page says."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from fractions import Fraction
from html import unescape

_FRACTIONS = {"¼": Fraction(1, 4), "½": Fraction(1, 2), "¾": Fraction(3, 4)}
_AMOUNT = r"\d+(?:\.\d+)?(?: [¼½¾])?|[¼½¾]"
HOLDS = re.compile(r"1 ([A-Z][\w ]*?) to (\d+) ([A-Z][\w ]*?)(?= by | \(|[,;:.)]|\n|$)")
"""What a tint says that it holds."""


def number(text: str) -> float:
    """A printed number, with its quarter if it has one."""
    return float(sum(_FRACTIONS.get(each) or Fraction(each) for each in text.split()))


def poured(
    portions: Iterable[tuple[float, str]], tints: Mapping[str, tuple[str, int, str]]
) -> dict[str, float]:
    """Units of each tube in portions (amount, what of); a tint has to be described."""
    made: dict[str, float] = {}
    for amount, of in portions:
        if of.endswith(" tint"):
            strong, parts, into = tints[of]
            shares = {strong: 1 / (1 + parts), into: parts / (1 + parts)}
        else:
            shares = {of: 1.0}
        for tube, share in shares.items():
            made[tube] = made.get(tube, 0.0) + amount * share
    return made


def in_words(text: str) -> list[tuple[float, str]]:
    """Portions of a line such as ``7.42 g Hull White, 2 ¼ spoons Dusk Violet tint``."""
    found = re.findall(rf"({_AMOUNT}) (?:g|ml|cm|spoons?|parts?) ([A-Z][\w ]*?)(?=,|$| \()", text)
    return [(number(amount), of) for amount, of in found]


def in_handout(page: str) -> list[dict[str, dict[str, float]]]:
    """Units of each tube by each column of each colour of a class handout."""
    colours = []
    for details in re.findall(r"<details>.*?</details>", page, re.S):
        columns: dict[str, dict[str, float]] = {"spoons": {}, "g": {}, "ml": {}}
        for head, cells in re.findall(r'<tr><th scope="row">(.*?)</th>(.*?)</tr>', details, re.S):
            said = unescape(re.sub(r"<[^>]*>", "", head))
            of = re.match(r"[A-Z][\w ]*?(?= \(|,|$)", said)
            assert of, said
            held = HOLDS.search(said)
            tints = {of[0]: (held[1], int(held[2]), held[3])} if held else {}
            for column, cell in zip(
                columns, re.findall(r"<td[^>]*>(.*?)</td>", cells), strict=True
            ):
                if cell != "0":
                    for tube, units in poured([(number(cell), of[0])], tints).items():
                        columns[column][tube] = columns[column].get(tube, 0.0) + units
        colours.append(columns)
    return colours
