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
    before: tuple[str, ...] = ()
    for best in found.sets:
        rows.append(
            (
                f"{len(best.tubes)}",
                ", ".join(names[p] for p in best.tubes),
                f"{count - best.missed} of {count}",
                f"{best.mean:.1f}",
                f"{best.difference.max():.1f}",
                _changed(before, best.tubes, answer),
            )
        )
        before = best.tubes
    print_table(["tubes", "keep", "near enough", "off on average", "worst", "what changes"], rows)
    smallest, last = found.smallest, found.sets[-1]
    if smallest is None:
        typer.echo(
            f"No {len(last.tubes)} tubes make all of them near enough: with those {last.missed} "
            f"{'colours stay' if last.missed > 1 else 'colour stays'} out of reach."
        )
    else:
        typer.echo(f"{len(smallest.tubes)} tubes are enough, and no fewer.".replace(
            ", and no fewer", "" if not smallest.exact else ", and no fewer"
        ))  # fmt: skip
    typer.echo(_proof(answer))
    typer.echo(in_terminal(answer.basis.calculated))


def _changed(before: tuple[str, ...], now: tuple[str, ...], answer: Keep) -> str:
    """Say which tubes come in and which go, from one number of tubes to the next."""
    names = answer.basis.names
    come = [names[p] for p in now if p not in before]
    go = [names[p] for p in before if p not in now]
    said = f"{' and '.join(come)} comes in" if len(come) == 1 else f"{', '.join(come)} come in"
    return said + (f", {', '.join(go)} {'goes' if len(go) == 1 else 'go'}" if go else "")


def _proof(answer: Keep) -> str:
    """Say how sure it is that no other set does better."""
    found = answer.found
    guessed = [best for best in found.sets if not best.exact]
    if not guessed:
        return (
            f"Every set of so many tubes was compared. All {len(answer.basis.read.paints)} "
            f"together are off by {found.bound:.1f} on average."
        )
    gap = guessed[-1].mean - found.bound
    size = len(guessed[-1].tubes)
    those = f"{size} tubes" if size > 1 else "one tube"
    return (
        "There are too many sets to compare them all: those that seem to matter most were. No "
        f"{those} can do better by more than {gap:.1f} on average."
    )
