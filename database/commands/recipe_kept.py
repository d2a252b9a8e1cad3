"""Shows what recipes and batches the studio keeps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from .common import print_table

if TYPE_CHECKING:
    from ..mixing.measures import Measure
    from ..store.recipes import Kept


def kept_as_dict(kept: Kept) -> dict[str, Any]:
    """Everything kept of a recipe, for machines."""
    from ..easel.swatches import dried

    row = kept.recipe
    return {
        "name": row.name,
        "kept": row.created,
        "parts": row.parts,
        "target": row.target,
        "predicted": row.predicted,
        "note": row.note,
        "batches": [
            {
                "made": batch.made,
                "grams": batch.masses,
                "portions": batch.portions,
                "lots": batch.lots,
                "note": batch.note,
                "swatch": batch.swatch,
                "swatch_off_de00": seen and seen.off,
            }
            for batch in kept.batches
            for seen in [dried(kept.of[batch.recipe_id], batch)]
        ],
    }


def show_kept(kept: list[Kept], names: dict[str, str], scale: Measure) -> None:
    """List kept recipes and their batches."""
    if not kept:
        typer.echo('No recipe is kept yet. Keep one: tintladder recipe "62,-18,-9" --keep sea')
        return
    print_table(
        ("recipe", "kept", "parts of 100 by weight", "for", "batches", "note"),
        [
            (
                each.recipe.name,
                each.recipe.created[:10],
                ", ".join(f"{100 * v:.3g} {names.get(p, p)}" for p, v in each.recipe.parts.items()),
                str(each.recipe.target.get("said", "")),
                str(len(each.batches) or ""),
                each.recipe.note,
            )
            for each in kept
        ],
    )
    if any(each.batches for each in kept):
        typer.echo("")
        show_batches(kept, names, scale)


def show_batches(kept: list[Kept], names: dict[str, str], scale: Measure) -> None:
    """List the batches of recipes."""
    from ..easel.batches import batch_words
    from ..easel.swatches import dried

    rows = []
    for each in kept:
        for batch in each.batches:
            seen = dried(each.of[batch.recipe_id], batch)
            rows.append(
                (
                    each.recipe.name,
                    batch.made[:10],
                    "; ".join(batch_words(batch, names, scale)),
                    "" if seen is None else f"{seen.off:.1f} off what was expected ({seen.words})",
                    batch.note,
                )
            )
    print_table(("batch of", "made", "of", "dried swatch", "note"), rows)
