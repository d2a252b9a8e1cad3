"""Colours and ratios as they stand on paper: the mixing chart, tube labels and pot labels."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pymupdf
from tintladder.calibrate.optics.spectra import Array

from .hand_table import WHITE, Table, apart
from .hand_words import Amount, amounts_in

_SRGB_TO_D50 = np.array([
    [0.4360747, 0.3850649, 0.1430804],
    [0.2225045, 0.7168786, 0.0606169],
    [0.0139322, 0.0971045, 0.7141733],
])  # fmt: skip
"""Linear sRGB to XYZ, Bradford adapted to D50 (from memory; rows add up to D50)."""
_EDGE = 0.004
"""A channel as near to 0 or 1 as this was clipped."""


def lab_of_srgb(colour: Any) -> Array:
    """L*, a*, b* under D50 of sRGB in 0 to 1."""
    c = np.asarray(colour, dtype=float)
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    t = _SRGB_TO_D50 @ linear / _SRGB_TO_D50.sum(axis=1)
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def hex_lab(text: str) -> Array:
    """L*, a*, b* of a colour such as #7d99a8."""
    return lab_of_srgb([int(text[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def clipped(colour: Any) -> bool:
    """Whether it lies on the edge of what a screen shows."""
    return bool((np.asarray(colour) < _EDGE).any() or (np.asarray(colour) > 1 - _EDGE).any())


@dataclass(frozen=True)
class Square:
    """A printed square: its colour, what stands below it, and the heading above."""

    page: int
    x: float
    y: float
    colour: tuple[float, float, float]
    label: str
    heading: str


def squares(file: Path) -> Iterator[Square]:
    """Every filled square of a PDF."""
    with pymupdf.open(file) as document:
        for number, page in enumerate(document):
            lines = [
                (span["bbox"], span["text"].strip())
                for block in page.get_text("dict")["blocks"]
                for line in block.get("lines", ())
                for span in line["spans"]
            ]
            frames = [d["rect"] for d in page.get_drawings() if d["type"] == "s"]
            for drawn in page.get_drawings():
                if drawn["type"] != "f" or drawn["fill"] is None:
                    continue
                r = drawn["rect"]
                feet = [f.y1 for f in frames if abs(f.x0 - r.x0) < 1 and abs(f.y0 - r.y0) < 1]
                if not feet:
                    continue
                below = [t for b, t in lines if abs(b[0] - r.x0) < 1.5 and 0 <= b[1] - feet[0] < 6]
                above = [(b[1], t) for b, t in lines if b[1] < r.y0 and -260 < b[0] - r.x0 < 3]
                yield Square(
                    number, r.x0, r.y0, drawn["fill"], " ".join(below),
                    "\n".join(t for _, t in sorted(above)),
                )  # fmt: skip


def ratio(label: str) -> tuple[float, float] | None:
    """Parts of ``2.3 : 1``."""
    found = re.fullmatch(r"(\d+(?:\.\d+)?) : (\d+(?:\.\d+)?)", label)
    return (float(found[1]), float(found[2])) if found else None


@dataclass(frozen=True)
class OnPaper:
    """A square's colour as printed, and the mix that its words say, in grams."""

    face: str
    colour: tuple[float, float, float]
    grams: Mapping[str, float]
    words: str

    def off(self, table: Table) -> float:
        """Between the printed colour and the literal mix: the kinder of seen and read."""
        printed = lab_of_srgb(self.colour)
        return min(apart(table.lab(self.grams, f), printed) for f in ("gloss", None))


def of_chart(file: Path, table: Table) -> Iterator[OnPaper]:
    """Each square of the mixing chart that isn't clipped."""
    names = "|".join(map(re.escape, table.names))
    upper: dict[tuple[int, float, str], dict[str, float]] = {}
    for square in squares(file):
        pairs = re.findall(rf"^({names}) \+ ({names})$", square.heading, re.M)
        if not pairs:
            continue
        one, other = (table.names[name] for name in pairs[-1])
        key = (square.page, round(square.x), f"{one}+{other}")
        if key not in upper:
            shares = ratio(square.label)
            if shares is None:  # alone: the first square of a row is the first tube
                first = not any(k[0] == square.page and k[2] == key[2] for k in upper)
                shares = (1.0, 0.0) if first else (0.0, 1.0)
            upper[key] = {one: shares[0], other: shares[1]}
            grams = dict(upper[key])
        else:
            let_down = ratio(square.label)
            if let_down is None:
                continue
            pair = upper[key]
            whole = sum(pair.values())
            grams = {p: g / whole * let_down[1] for p, g in pair.items()}
            grams[WHITE] = grams.get(WHITE, 0.0) + let_down[0]
        if not clipped(square.colour):
            yield OnPaper("chart", square.colour, grams, f"{key[2]} {square.label}")


def of_labels(file: Path, table: Table) -> Iterator[OnPaper]:
    """Masstone and tint of each tube's label."""
    names = "|".join(map(re.escape, table.names))
    for square in squares(file):
        found = re.findall(rf"^({names})$", square.heading, re.M)
        shares = ratio(square.label)
        if not found or clipped(square.colour) or not (shares or square.label == "masstone"):
            continue
        paint = table.names[found[-1]]
        grams = {paint: 1.0} if shares is None else {paint: shares[1], WHITE: shares[0]}
        yield OnPaper("labels", square.colour, grams, f"{paint} {square.label}")


def of_pots(file: Path, table: Table) -> tuple[tuple[float, float, float], list[Amount]]:
    """The colour of a page's only pot label, and its amounts."""
    (square, *_) = squares(file)
    with pymupdf.open(file) as document:
        text = "\n".join(page.get_text() for page in document)
    return square.colour, amounts_in(text, table)
