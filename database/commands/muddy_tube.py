"""Says what greys a tube, for machines and for people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from .common import print_table
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.tubes.neutral import Neutral

_SHOWN = 4
"""Partners that are shown."""


def neutral_as_dict(answer: Neutral) -> dict[str, Any]:
    """Everything said, for machines."""
    from ..mixing.tubes.greying import warmth
    from .recipe_steps import steps_as_dict

    ladder, best = answer.ladder, answer.partners[0]
    return {
        "tube": answer.tube,
        "leans": {
            paint: {"words": words, "warmth": warmth(words)}
            for paint, words in answer.leans.items()
        },
        "partners": [
            {"paint": p.paint, "parts": p.parts, "chroma": p.chroma, "lab": p.lab.tolist()}
            for p in answer.partners
        ],
        "neutral": {
            "partner": best.paint,
            "parts": best.parts,
            "ladder": []
            if ladder is None
            else [
                {"white": white, "lab": [float(x) for x in taken.lab]}
                for white, taken in zip(answer.whites, ladder.found.taken, strict=False)
            ],
            "steps": None if ladder is None else steps_as_dict(ladder),
        },
        "calculated": answer.basis.calculated,
    } | answer.basis.said


def show_neutral(answer: Neutral) -> None:
    """Say it to people."""
    from ..common.words import GREY_CHROMA
    from .recipe_steps import show_plate

    names, best = answer.basis.names, answer.partners[0]
    tube = names[answer.tube]
    if answer.tube in answer.leans:
        typer.echo(f"{tube} in a tint is {_lean_words(answer.leans[answer.tube])}.")
    clean = "a clean grey" if best.chroma < GREY_CHROMA else "the nearest to a grey on hand"
    in_tints = "" if answer.white is None else ", from the mix itself to its palest tint"
    typer.echo(
        f"{names[best.paint]} greys it cleanest: {_ratio(answer, 0)}, by weight, make {clean}: "
        f"chroma {best.chroma:.1f} at the most{in_tints}. Matched "
        f"{answer.basis.manner.viewing.words}."
    )
    rows = [
        (
            names[p.paint],
            _ratio(answer, nth),
            f"{p.chroma:.1f}",
            _lean_words(answer.leans.get(p.paint, "")),
        )
        for nth, p in enumerate(answer.partners[:_SHOWN])
    ]
    print_table(["partner", "ratio by weight", "chroma at most", "in a tint it is"], rows)
    if answer.ladder is not None:
        typer.echo(
            f"\nNeutral tints in {len(answer.ladder.found.taken)} steps that look equal, the last "
            f"{names[answer.white or '']} alone."
        )
        show_plate(answer.ladder)
    typer.echo(in_terminal(answer.basis.calculated))


def _lean_words(leans: str) -> str:
    """Say where a tube leans, and whether that is warm or cool."""
    from ..mixing.tubes.greying import warmth

    return f"{leans} ({warm})" if (warm := warmth(leans)) else leans


def _ratio(answer: Neutral, nth: int) -> str:
    """Say a ratio in tenths: ``6.4 parts Dusk Violet, 3.6 Resin Yellow``."""
    from ..mixing.prediction import mix_words

    parts = answer.partners[nth].parts
    scarce = min(parts.values())
    digits = 1 if scarce > 0.05 else 2
    return mix_words({p: round(10 * s, digits) for p, s in parts.items()}, answer.basis.names)
