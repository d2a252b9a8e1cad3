"""Says steps from one colour to another, for machines and for people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.steps import SteppedWay


def steps_as_dict(way: SteppedWay) -> dict[str, Any]:
    """Everything said, for machines."""
    from .recipe_shown import made_as_dict

    found, basis = way.found, way.basis
    named = list(zip(found.names, found.heaps, found.used.tolist(), strict=True))
    return {
        "from": _end(way, 0),
        "to": _end(way, 1),
        "straight": way.straight,
        "departs_de00": found.departs,
        "step_de00": float(found.apart.mean()),
        "uneven": found.uneven,
        "heaps": [
            {"name": name, "used": used, "made_of": made_as_dict(heap, 0.0)}
            for name, heap, used in named
            if name
        ],
        "steps": [
            {
                "left": taken.left,
                "add": {
                    name: amount
                    for name, amount in zip(
                        found.names[taken.leg : taken.leg + 2],
                        (taken.first, taken.second),
                        strict=True,
                    )
                    if amount > 0
                },
                "makes": taken.total,
                "take": taken.take,
                "lab": [float(x) for x in taken.lab],
                "band_de00": float(band),
            }
            for taken, band in zip(found.taken, way.band, strict=True)
        ],
        "left_over": found.left_over,
        "calculated": basis.calculated,
    } | basis.said  # fmt: skip


def _end(way: SteppedWay, nth: int) -> dict[str, Any]:
    target = way.ends[nth]
    return {
        "said": target.said,
        "words": target.words,
        "lab": [float(x) for x in target.lab],
        "off_de00": way.off[nth],
    }


def show_steps(way: SteppedWay) -> None:
    """Say it to people."""
    start, end = way.ends
    typer.echo(
        f"From {start.words} ({start.said}) to {end.words} ({end.said}), matched "
        f"{way.basis.manner.viewing.words}."
    )
    for line in way.words:
        typer.echo(line)
    show_plate(way)
    typer.echo(in_terminal(way.basis.calculated))


def show_plate(way: SteppedWay) -> None:
    """Say what is mixed beforehand, and then each step on the plate."""
    from ..common.words import colour_words
    from ..easel.made_words import beforehand_words, heap_words, taken_words

    found, names, measure = way.found, way.basis.names, way.found.heaps[0].measure
    typer.echo("\nMix beforehand:")
    for name, heap in zip(found.names, found.heaps, strict=True):
        if name:
            typer.echo(f"{heap_words(name, heap, names)}.")
            for line in beforehand_words(heap.beforehand, measure, names):
                typer.echo(f"   {line[:1].upper()}{line[1:]}.")
    typer.echo("\nThen, on one plate:")
    for nth, (taken, band) in enumerate(zip(found.taken, way.band, strict=True), 1):
        typer.echo(
            f"{nth}. {taken_words(taken, found.names, measure)}: {colour_words(taken.lab)}, sure "
            f"to within {band:.1f}."
        )
    if way.left_words:
        typer.echo(f"\n{way.left_words}")
