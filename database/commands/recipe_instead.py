"""Says what stands in for a tube that is gone, for machines and for people."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import typer

from .common import print_table

if TYPE_CHECKING:
    from ..easel.recipe import Amounts
    from ..easel.tubes.stand_in import InPlace

_SHOWN = 4
"""Tubes that are shown as stand-ins."""


def instead_as_dict(answer: InPlace, measured: Sequence[Amounts]) -> dict[str, Any]:
    """Everything said, for machines."""
    from .recipe_shown import as_dict

    return {
        "gone": answer.gone,
        "stand_ins": [
            {
                "paints": list(found.paints),
                "parts": found.parts,
                "difference_de00": found.difference,
                "lights_de00": dict(lights),
            }
            for found, lights in zip(answer.found, answer.lights, strict=True)
        ],
        "lacks": answer.lacks,
    } | as_dict(answer.ways, measured)


def show_instead(answer: InPlace, measured: Sequence[Amounts], last: Sequence[str]) -> None:
    """Say it to people; `last` is said at the end."""
    from ..mixing.viewing import LIGHTS
    from .recipe_shown import show

    names = answer.ways.basis.names
    typer.echo(f"What stands in for {names[answer.gone]}, and how far that parts from the mix:")
    columns = ["instead of it", *(f"in {words} ({light})" for light, words in LIGHTS.items())]
    rows = [
        (
            " and ".join(names[p] for p in found.paints) or "nothing: the rest alone",
            *(_off(lights[light]) for light in LIGHTS),
        )
        for found, lights in list(zip(answer.found, answer.lights, strict=True))[:_SHOWN]
    ]
    print_table(columns, rows)
    typer.echo(answer.cannot_words + "\n")
    show(answer.ways, measured, last)


def _off(difference: float) -> str:
    from ...calibrate.optics.colour import in_words

    return f"{difference:.1f} ({in_words(difference)})"
