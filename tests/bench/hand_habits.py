"""Habits of a painter at the plate that should simply work: what doesn't, and what was said."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from .hand_table import Table

PHOTO = Path(__file__).parents[2] / "measurements" / "boatyard" / "photos" / "slipway.jpg"
WHITE_AT, GREY_AT, BLACK_AT = (44, 405), (82, 405), (121, 406)
"""Where the reference cards lie in the demo's photograph, px."""
_CARD_PX = 30


def faults() -> list[tuple[str, str]]:
    """Each habit that fails, and in what way."""
    found: list[tuple[str, str]] = []
    for habit in (_plates, _undo, _colours, _photograph, _units):
        with tempfile.TemporaryDirectory() as name:
            table = Table.laid(Path(name) / "demo")
            try:
                found += habit(table)
            except AssertionError as fault:
                found.append((habit.__doc__ or "", str(fault)))
    return found


def _plates(table: Table) -> Iterator[tuple[str, str]]:
    """One plate a recipe: what was mixed for one colour isn't on the plate of the next."""
    table.heap("#7d99a8", {"HULL": 5, "ANCHOR": 0.5})
    plate: dict[str, Any] = table.asked("next", "BUOY 3:1", "--add", "BUOY=1")["plate"]
    if set(plate) != {"BUOY"}:
        yield "the plate of another colour is carried over", str(plate)


def _undo(table: Table) -> Iterator[tuple[str, str]]:
    """An addition is undone, also the first; a plate is emptied."""
    table.heap("#7d99a8", {"HULL": 5})
    table.asked("next", "#7d99a8", "--add", "ANCHOR=0.5")
    said = table.run("next", "#7d99a8", "--undo", "--json")
    if said.status or said.json["plate"] != {"HULL": 5.0}:
        yield "the second addition can't be undone", said.err or said.out[:200]
    for how, target in (("--undo", "#405060"), ("--clear", "#604050")):
        # A plate of its own, for to undo what emptied one is to have it back.
        table.asked("next", target, "--add", "HULL=5")
        said = table.run("next", target, how, "--json")
        after: dict[str, Any] = table.asked("next", target, "--add", "BUOY=1")["plate"]
        if said.status or set(after) != {"BUOY"}:
            yield f"next {how} leaves no empty plate", f"{said.err.strip()}; then: {after}"


def _colours(table: Table) -> Iterator[tuple[str, str]]:
    """A colour as people write it is taken, or what would be is said in one line."""
    for typed in ("teal", "62 -18 -9", "rgb(125, 153, 168)"):
        said = table.run("recipe", typed, "--tubes", "2", "--json")
        if said.status:
            yield f"{typed!r} is no colour", said.err
    said = table.run("recipe", "the colour of the sea", "--tubes", "2")
    if said.status != 2 or len(said.err.strip().splitlines()) != 1 or "#" not in said.err:
        yield "what is no colour isn't told the forms that are", said.err


def _photograph(table: Table) -> Iterator[tuple[str, str]]:
    """The reference cards in a photograph are no colours of the picture."""
    at = [",".join(map(str, each)) for each in (GREY_AT, WHITE_AT, BLACK_AT)]
    said = table.asked("setout", PHOTO, "--grey", at[0], "--white", at[1], "--black", at[2])
    for colour in said["colours"]:
        x, y = colour["at"]
        for card in (GREY_AT, WHITE_AT, BLACK_AT):
            if max(abs(x - card[0]), abs(y - card[1])) < _CARD_PX:
                yield "a reference card is set out as a colour", f"{colour['said']} at {x},{y}"


def _units(table: Table) -> Iterator[tuple[str, str]]:
    """Amounts with their unit are taken, or refused in one line; mixed units never in silence."""
    said = table.run("next", "#7d99a8", "--clear", "--add", "HULL=5g,ANCHOR=0.5g", "--json")
    if said.status and len(said.err.strip().splitlines()) != 1:
        yield "grams with their unit", said.err
    said = table.run("next", "#7d99a8", "--clear", "--add", "HULL=5ml,ANCHOR=0.5g", "--json")
    if said.status == 0 and said.json["plate"].get("HULL") == 5.0:
        yield "millilitres taken for grams", said.out[:200]
