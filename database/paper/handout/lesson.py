"""A class handout: one page that opens on a phone, with no install and no network."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup

from ....calibrate.optics.colour import in_words, surely_in_words
from ....calibrate.optics.display import hex_code, lab_to_srgb
from ....calibrate.optics.spectra import Array
from ...common.one_page import hash_of, page_environment, page_text
from ...common.words import caution
from ...easel.record import Record
from ...mixing.made import Made
from ...mixing.measures import Tint, figure
from ...mixing.palette import Palette
from ...mixing.setout import Dab, SetOut
from ...releases.words import caution_lines
from ...store.schema import Paint
from .numbers import numbers

TRUST = (
    "Predicted from the K and S of {whose}, measured from drawdown cards. The same colour of "
    "another maker, or of another tube, will differ. A screen shows colours only nearly, and some "
    "not at all. Mix a little, let it dry, look, then mix the rest."
)


@dataclass(frozen=True)
class Heap:
    """One colour as it is made, by each measure of the page.

    Attributes
    ----------
    spoons : Made
        A handy batch.
    grams, ml : Made
        What one person mixes.
    """

    spoons: Made
    grams: Made
    ml: Made


def lesson(
    found: SetOut,
    heaps: Sequence[Heap],
    palette: Palette,
    paints: Mapping[str, Paint],
    title: str,
    people: int,
    intro: str = "",
    whose: str = "one studio's own tubes",
    record: Record | None = None,
) -> str:
    """Make the handout of a set-out.

    Parameters
    ----------
    found : SetOut
        Its heaps are one person's.
    heaps : sequence of Heap
        Of each of its colours.
    palette : Palette
        The tubes set out, at least.
    paints : mapping of nickname to Paint
    people : int
        To begin with; the page asks.
    intro : str
        A line below the title.
    whose : str
        Whose tubes were measured.
    record : Record, optional
        What its colours rest on.

    Returns
    -------
    str
        HTML that needs nothing else. The same set-out gives the same bytes.
    """
    palette = palette.select(list(found.tubes))
    few = palette.coefficients
    masstones = palette.lab(np.eye(len(found.tubes)))
    tubes = [
        {
            "name": paints[p].name,
            "maker": paints[p].maker,
            "pigments": " ".join(paints[p].pigments),
            "caution": caution(paints[p].pigments),
            "scan_made": bool(few.scan_made[i]),
            "shown": _shown(masstones[i]),
        }
        for i, p in enumerate(found.tubes)
    ]
    style = page_text(__package__, "lesson.css")
    script = "\n".join(
        page_text(__package__, name) for name in ("predict.js", "lesson.js", "practice.js")
    )
    calculated = json.dumps(numbers(palette), separators=(",", ":"))
    return (
        page_environment(__package__)
        .get_template("lesson.html")
        .render(
            title=title,
            intro=intro,
            tubes=tubes,
            colours=[
                _colour(dab, heap, {p: paints[p].name for p in found.tubes}, people)
                for dab, heap in zip(found.dabs, heaps, strict=True)
            ],
            people=people,
            trust=TRUST.format(whose=whose),
            record="" if record is None else record.words,
            cautions=caution_lines(),
            numbers=Markup(calculated.replace("<", "\\u003c")),
            style=Markup(style),
            script=Markup(script),
            style_hash=hash_of(style),
            script_hash=hash_of(script),
        )
    )


def _colour(dab: Dab, heap: Heap, names: Mapping[str, str], people: int) -> dict[str, Any]:
    off, band = heap.grams.difference, heap.grams.band(dab.recipe.band)
    near = f"off by {off:.1f}, {surely_in_words(off, band)}"
    if not dab.reached:
        near = f"these tubes come no nearer: {near}"
    return {
        "words": dab.target.words,
        "lab": json.dumps([round(float(x), 3) for x in dab.target.lab]),
        "shown": _shown(dab.target.lab),
        "made": _shown(heap.grams.lab),
        "near": f"{near[:1].upper()}{near[1:]}, sure to within {band:.1f} (CIEDE2000).",
        "why": dab.recipe.why[:1].upper() + dab.recipe.why[1:],
        "spoons_said": "Any spoon will do, level, for a handy batch in the same ratio; by spoons "
        f"it moves by {heap.spoons.moved:.1f}, {in_words(heap.spoons.moved)}.",
        "steps": [
            row
            for step in dab.order.steps
            for row in _rows(step.paint, _held(step.hold_back), heap, names, people)
        ],
    }


def _rows(
    paint: str, held: str, heap: Heap, names: Mapping[str, str], people: int
) -> list[dict[str, Any]]:
    """What goes in of a paint: a row for itself, and one for each tint of it that is measured."""
    measured = {"spoons": heap.spoons, "grams": heap.grams, "ml": heap.ml}
    by: dict[tuple[Tint, str] | None, dict[str, Made]] = {}
    for column, made in measured.items():
        tint = made.tint(paint)
        what = None if tint is None else (tint, made.measure.by)
        by.setdefault(what, {})[column] = made
    rows = []
    for what, columns in by.items():
        row: dict[str, Any] = {"name": names[paint], "held": held, "tint": ""}
        if what is not None:
            tint, how = what
            row |= {"name": tint.said(names), "tint": _stirred(tint, how, names)}
        for column in measured:
            row[column] = _cell(columns.get(column), paint, 1 if column == "spoons" else people)
        rows.append(row)
    return rows


def _stirred(tint: Tint, how: str, names: Mapping[str, str]) -> str:
    again = ": 1 to 9, then 1 of that to 9 more" if tint.times > 1 else ""
    return (
        f"1 {names[tint.paint]} to {tint.parts} {names[tint.into]} {how}, mixed beforehand{again}"
    )


def _cell(made: Made | None, paint: str, people: int) -> dict[str, str] | None:
    """An amount for so many people, and what the script needs for any other number."""
    if made is None:
        return None
    each = made.amounts[paint]
    digits = len(f"{made.measure.step:g}".partition(".")[2])
    said = figure(people * each, made.measure)
    return {"said": said, "each": f"{each:.{digits}f}", "digits": str(digits)}


def _held(share: float) -> str:
    if not share:
        return ""
    return f"hold back {'half' if share > 0.4 else 'a quarter'}, dry a dab and look, then the rest"


def _shown(colour: Array) -> str:
    return hex_code(lab_to_srgb(colour)[0][0])
