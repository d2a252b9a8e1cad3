"""Says which tubes to keep, for machines and for people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from .common import print_table
from .remedies import in_terminal

if TYPE_CHECKING:
    from ..easel.tubes.keep import Keep


def keep_as_dict(answer: Keep) -> dict[str, Any]:
    """Everything said, for machines."""
    found, smallest = answer.found, answer.found.smallest
    return {
        "colours": len(answer.colours),
        "within_de00": answer.within,
        "smallest": None if smallest is None else list(smallest.tubes),
        "sets": [
            {
                "tubes": list(best.tubes),
                "missed": best.missed,
                "mean_de00": best.mean,
                "worst_de00": float(best.difference.max()),
                "exact": best.exact,
                "above_bound_de00": best.mean - found.bound,
            }
            for best in found.sets
        ],
        "all_tubes_mean_de00": found.bound,
        "calculated": answer.basis.calculated,
    } | answer.basis.said


def show_keep(answer: Keep) -> None:
    """Say it to people."""
    found, names, count = answer.found, answer.basis.names, len(answer.colours)
    of = "colours that stand for all that your tubes make" if answer.wanted is None else "colours"
    typer.echo(
        f"For {count} {of}, matched {answer.basis.manner.viewing.words}; a mix may be off by "
        f"CIEDE2000 {answer.within:g}."
    )
    rows: list[tuple[str, ...]] = []
    for nth, best in enumerate(found.sets):
        rows.append(
            (
                f"{len(best.tubes)}",
                ", ".join(names[p] for p in best.tubes),
                f"{count - best.missed} of {count}",
                f"{best.mean:.1f}",
                f"{best.difference.max():.1f}",
                answer.changed_words(nth),
            )
        )
    print_table(["tubes", "keep", "near enough", "off on average", "worst", "what changes"], rows)
    typer.echo(answer.enough_words)
    typer.echo(answer.proof_words)
    typer.echo(in_terminal(answer.basis.calculated))
