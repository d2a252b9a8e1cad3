"""Says where each card stands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from .common import open_store, print_table, say
from .remedies import in_terminal

if TYPE_CHECKING:
    from datetime import date

    from ..cards.progress import CardProgress


def list_cards(as_json: bool, studio: str | None) -> None:
    """List the cards: printed, painted, dry enough from about when, read, fitted."""
    from ..cards.progress import cards_progress

    with open_store(studio) as store:
        found = cards_progress(store)
    say([_as_dict(card) for card in found], as_json, lambda: _show(found))


def _as_dict(card: CardProgress) -> dict[str, Any]:
    def said(day: date | None) -> str | None:
        return None if day is None else day.isoformat()

    return {
        "number": card.number,
        "card": card.name,
        "purpose": card.purpose,
        "layout": card.layout,
        "paints": list(card.paints),
        "printed": said(card.printed),
        "painted": said(card.painted),
        "dry_from": said(card.dry_from),
        "read": [said(day) for day in card.read],
        "scans": card.scans,
        "read_too_early": card.early,
        "read_wet": card.wet,
        "as_printed": card.as_printed,
        "fitted": card.fitted,
        "remarks": [in_terminal(remark) for remark in card.remarks],
    }


def _show(found: list[CardProgress]) -> None:
    if not found:
        typer.echo("No cards yet. Print one: tintladder card TUBE")
        return
    print_table(
        ("No.", "Card", "Paints", "Printed", "Painted", "Dry from about", "Read", "Fitted"),
        [
            (
                str(card.number),
                card.name,
                ", ".join(card.paints),
                str(card.printed or ""),
                str(card.painted or "not yet said"),
                str(card.dry_from or ""),
                _read(card),
                _fitted(card),
            )
            for card in found
        ],
    )
    for card in found:
        for remark in card.remarks:
            typer.echo(f"{card.name}: {in_terminal(remark)}.")


def _read(card: CardProgress) -> str:
    if not card.read:
        return "not yet"
    by = ", scanned" if card.scans == len(card.read) else ""
    return f"{card.read[-1]}{by}{', too early' if card.early else ''}"


def _fitted(card: CardProgress) -> str:
    if card.purpose == "check":
        return "judges fits" if card.fitted else "not yet"
    return "yes" if card.fitted else "not yet"
