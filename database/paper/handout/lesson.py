"""A class handout: one page that opens on a phone, with no install and no network."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
from markupsafe import Markup

from ....calibrate.optics.coefficients import Coefficients
from ....calibrate.optics.colour import in_words
from ....calibrate.optics.display import hex_code, lab_to_srgb
from ....calibrate.optics.spectra import Array
from ...common.cautions import caution
from ...common.one_page import hash_of, page_environment, page_text
from ...mixing.batch import by_volume
from ...mixing.measures import SPOONS, amount_words, snap
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


def lesson(
    found: SetOut,
    coefficients: Coefficients,
    paints: Mapping[str, Paint],
    title: str,
    people: int,
    intro: str = "",
    whose: str = "one studio's own tubes",
) -> str:
    """Make the handout of a set-out.

    Parameters
    ----------
    found : SetOut
        Its heaps are one person's.
    coefficients : Coefficients
        Of the tubes set out, at least.
    paints : mapping of nickname to Paint
    title : str
    people : int
        To begin with; the page asks.
    intro : str
        A line below the title.
    whose : str
        Whose tubes were measured.

    Returns
    -------
    str
        HTML that needs nothing else. The same set-out gives the same bytes.
    """
    few = coefficients.select(list(found.tubes))
    palette = Palette(few)
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
    style, script = page_text(__package__, "lesson.css"), page_text(__package__, "lesson.js")
    calculated = json.dumps(numbers(palette), separators=(",", ":"))
    return (
        page_environment(__package__)
        .get_template("lesson.html")
        .render(
            title=title,
            intro=intro,
            tubes=tubes,
            colours=[_colour(dab, palette, paints, people) for dab in found.dabs],
            people=people,
            trust=TRUST.format(whose=whose),
            cautions=caution_lines(),
            numbers=Markup(calculated.replace("<", "\\u003c")),
            style=Markup(style),
            script=Markup(script),
            style_hash=hash_of(style),
            script_hash=hash_of(script),
        )
    )


def _colour(dab: Dab, palette: Palette, paints: Mapping[str, Paint], people: int) -> dict[str, Any]:
    parts = dab.recipe.parts
    spoons = snap(palette, parts, dab.target.lab, SPOONS)
    volumes = by_volume(palette.coefficients, dab.grams)
    off = dab.recipe.difference
    near = f"off by {off:.1f}, {in_words(off)}"
    if not dab.reached:
        near = f"these tubes come no nearer: {near}"
    return {
        "words": dab.target.words,
        "lab": json.dumps([round(float(x), 3) for x in dab.target.lab]),
        "shown": _shown(dab.target.lab),
        "made": _shown(dab.recipe.lab),
        "near": f"{near[:1].upper()}{near[1:]}, sure to within {dab.recipe.band:.1f} (CIEDE2000).",
        "why": dab.recipe.why[:1].upper() + dab.recipe.why[1:],
        "spoons_said": "Any spoon will do, level; by spoons it moves by "
        f"{spoons.moved:.1f}, {in_words(spoons.moved)}.",
        "steps": [
            {
                "name": paints[step.paint].name,
                "held": _held(step.hold_back),
                "spoons": amount_words(spoons.amounts[step.paint], SPOONS).rsplit(" ", 1)[0],
                "grams": f"{dab.grams[step.paint]:.4g}",
                "grams_said": f"{people * dab.grams[step.paint]:.3g}",
                "ml": f"{volumes[step.paint]:.4g}",
                "ml_said": f"{people * volumes[step.paint]:.3g}",
            }
            for step in dab.order.steps
        ],
    }


def _held(share: float) -> str:
    if not share:
        return ""
    return f"hold back {'half' if share > 0.4 else 'a quarter'}, look, then the rest"


def _shown(colour: Array) -> str:
    return hex_code(lab_to_srgb(colour)[0][0])
