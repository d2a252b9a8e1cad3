"""Shows what recipes and batches the studio keeps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from .common import print_table

if TYPE_CHECKING:
    from ..store import schema
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
                "lots": batch.lots,
                "note": batch.note,
                "swatch": batch.swatch,
                "swatch_off_de00": seen and seen.off,
            }
            for batch in kept.batches
            for seen in [dried(kept.of[batch.recipe_id], batch)]
        ],
    }


def show_kept(kept: list[Kept], names: dict[str, str]) -> None:
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
        show_batches(kept)


def show_batches(kept: list[Kept]) -> None:
    """List the batches of recipes."""
    from ..easel.swatches import dried

    rows = []
    for each in kept:
        for batch in each.batches:
            seen = dried(each.of[batch.recipe_id], batch)
            rows.append(
                (
                    each.recipe.name,
                    batch.made[:10],
                    ", ".join(
                        f"{grams:.2f} g {_lot(batch, p)}" for p, grams in batch.masses.items()
                    ),
                    "" if seen is None else f"{seen.off:.1f} off what was expected ({seen.words})",
                    batch.note,
                )
            )
    print_table(("batch of", "made", "of", "dried swatch", "note"), rows)


def _lot(batch: schema.Batch, paint: str) -> str:
    lot = (batch.lots or {}).get(paint)
    return f"{paint} (lot {lot})" if lot else paint
