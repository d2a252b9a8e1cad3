"""Shows what recipes and batches the studio keeps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from .common import print_table

if TYPE_CHECKING:
    from .. import schema
    from ..recipe_store import Kept


def kept_as_dict(kept: Kept) -> dict[str, Any]:
    """Everything kept of a recipe, for machines."""
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
                "swatch_off_de00": swatch_off(row, batch),
            }
            for batch in kept.batches
        ],
    }


def swatch_off(recipe: schema.Recipe, batch: schema.Batch) -> float | None:
    """CIEDE2000 of a batch's dried swatch from what its recipe is expected to look like."""
    if batch.swatch is None:
        return None
    import numpy as np

    from ...calibrate.optics.colour import ciede2000

    return float(ciede2000(np.array(batch.swatch["lab"]), np.array(recipe.predicted["lab"])))


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
    from ...calibrate.optics.colour import in_words

    rows = []
    for each in kept:
        for batch in each.batches:
            off = swatch_off(each.recipe, batch)
            rows.append(
                (
                    each.recipe.name,
                    batch.made[:10],
                    ", ".join(
                        f"{grams:.2f} g {_lot(batch, p)}" for p, grams in batch.masses.items()
                    ),
                    "" if off is None else f"{off:.1f} off what was expected ({in_words(off)})",
                    batch.note,
                )
            )
    print_table(("batch of", "made", "of", "dried swatch", "note"), rows)


def _lot(batch: schema.Batch, paint: str) -> str:
    lot = (batch.lots or {}).get(paint)
    return f"{paint} (lot {lot})" if lot else paint
