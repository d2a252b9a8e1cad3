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
    from .recipe_steps import show_plate

    names = answer.basis.names
    tube = names[answer.tube]
    if answer.tube in answer.leans:
        typer.echo(f"{tube} in a tint is {answer.lean_words(answer.tube)}.")
    typer.echo(answer.words)
    rows = [
        (
            names[p.paint],
            answer.ratio_words(nth),
            f"{p.chroma:.1f}",
            answer.lean_words(p.paint),
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
