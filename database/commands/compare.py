"""Compare two releases."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .common import JsonOption, ModelOption, StudioOption, open_store, print_table, say, working

if TYPE_CHECKING:
    from ..releases.compare import Comparison, Numbers

EXAMPLE = "tintladder compare 1.0.0 now"
_SHOWN = 40


def compare(
    old: Annotated[str, typer.Argument(help="A version, the folder or zip of a release, or now.")],
    new: Annotated[
        str, typer.Argument(help="What to compare it with, named in the same way.")
    ] = "now",
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw the comparison too, as a .png or .svg."),
    ] = None,
    model: ModelOption = None,
    as_json: JsonOption = False,
    studio: StudioOption = None,
) -> None:
    """Say what changed from one release to another.

    It compares paints, K and S, and what the changes look like.
    """
    with working("Comparing", as_json):
        from ..pictures.style import check_suffix
        from ..releases.compare import compare as made_of

        if picture is not None:
            check_suffix(picture)
        found = made_of(numbers_of(old, studio), numbers_of(new, studio), model)
        if picture is not None:
            _draw(found, picture)
    say(_as_dict(found, picture), as_json, lambda: _show(found, picture))


def numbers_of(text: str, studio: str | None) -> Numbers:
    """Return the numbers that the user means: now, a version, or a release anywhere."""
    from ..releases.compare import of_release, of_store
    from ..releases.load import load_release

    if text == "now":
        with open_store(studio) as store:
            return of_store(store)
    if Path(text).exists():
        return of_release(load_release(text))
    from ..releases.publish import find_release

    with open_store(studio) as store:
        return of_release(load_release(find_release(store, text)))


def _draw(found: Comparison, picture: Path) -> None:
    from ..pictures.compared import comparison_figure
    from ..pictures.style import save

    save(comparison_figure(found), picture)


def _as_dict(found: Comparison, picture: Path | None) -> dict[str, Any]:
    rows = found.table.astype(object).where(found.table.notna(), None).to_dict("records")
    return {
        "old": found.old,
        "new": found.new,
        "added": found.added,
        "removed": found.removed,
        "refitted": found.refitted,
        "surface_changed": found.surface_changed,
        "model": found.model,
        "unsaid": found.unsaid,
        "paints": rows,
        "picture": str(picture) if picture else None,
    }


def _show(found: Comparison, picture: Path | None) -> None:
    from ...calibrate.optics.colour import in_words
    from ..mixing.model_choice import SYMBOLS, WORDS

    k, s = SYMBOLS[found.model]
    for what, paints in (("Added", found.added), ("Removed", found.removed)):
        if paints:
            typer.echo(f"{what}: {', '.join(paints)}.")
    table = found.table[found.table["refitted"]].copy()
    if table.empty:
        same = "no paint that is in both was refitted"
        typer.echo(f"From {found.old} to {found.new} {same}.")
    else:
        most = table[["masstone_de00", "tint_de00"]].fillna(0.0).max(axis=1)
        table = table.assign(most=most).sort_values("most", ascending=False, kind="stable")
        print_table(
            ["Paint", "It looks", "Masstone", "Mid-tint", f"{k} moved", "at", f"{s} moved", "at"],
            [
                (
                    row["paint"],
                    in_words(row["most"]),
                    f"{row['masstone_de00']:.2f}",
                    f"{row['tint_de00']:.2f}",
                    f"{row['k_change']:.2g} u",
                    f"{row['k_nm']:g} nm",
                    f"{row['s_change']:.2g} u",
                    f"{row['s_nm']:g} nm",
                )
                for row in table.head(_SHOWN).to_dict("records")
            ],
        )
        typer.echo(
            "(masstone: the paint alone; mid-tint: 1 part to 4 of its white, by weight; both as "
            f"CIEDE2000. {k} and {s}: the largest change, over the larger standard uncertainty u.)"
        )
    typer.echo(f"Calculated by {WORDS[found.model]}.")
    if found.unsaid:
        typer.echo(f"Nothing is said of {', '.join(found.unsaid)}: no such fit on both sides.")
    if found.surface_changed:
        typer.echo(f"They were fitted with different surfaces: compare colours, not {k} and {s}.")
    if picture:
        typer.echo(f"Picture: {picture}")
