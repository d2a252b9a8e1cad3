"""Takes tubes, cards, recipes, batches, devices and papers out of use; for a day it can be undone.

What was read, fitted or published of them stays in the studio and can be traced; no list, fit or
mix takes it from then on.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path

from ...calibrate.cards.card import Card
from ...calibrate.errors import InputError
from ..cards.progress import named_card
from ..common.words import few
from ..store import schema
from ..store.changing.changes import KEPT
from ..store.store import Store

PAPERS = "paper"
"""Folder of printed papers, in the studio's."""
_REMOVED = ".removed"
"""Folder in it of those that were taken out of use, each for a day."""
_OUT = "say that it is used up instead; or remove these first"


def remove(store: Store, kind: str, name: str) -> schema.Change:
    """Take something out of use.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    name : str
        Of a card its number too; of a batch its number.

    Raises
    ------
    InputError
        Where there is no such thing, or others rest on it.
    """
    if kind not in KINDS:
        raise InputError(None, kind, f"expected one of {', '.join(KINDS)}", "name one of these")
    with store.transaction():
        return KINDS[kind](store, name)


def undo(store: Store, number: int | None = None) -> schema.Change:
    """Take the last change back, or one by its number.

    Raises
    ------
    InputError
        As `Changes.undo`; and where a file has taken the place of the one that was removed.
    """
    with store.transaction():
        _check_nicknames(store, number)
        change = store.changes.undo(number)
        if change.kind == "paper":
            here, there = (store.studio.folder / PAPERS / name for name in change.hidden["papers"])
            if here.exists():
                raise InputError(here, None, "was printed anew since", "remove that one first")
            if there.is_file():
                there.rename(here)
        return change


def _check_nicknames(store: Store, number: int | None) -> None:
    """Refuse to bring a tube back whose nickname is another's by now."""
    there = {paint.nickname_key: paint for paint in store.paints.all()}
    change = next((row for row in store.changes.recent() if number in (None, row.id)), None)
    for said in change.edited if change is not None else ():
        other = there.get(said["was"].get("nickname_key"))
        if other is not None and other.id != said["id"]:
            raise InputError(
                None, other.nickname, f"{other.nickname} is the nickname of {other.name} by now",
                "remove or rename that one first",
            )  # fmt: skip


def _tube(store: Store, name: str) -> schema.Change:
    paint = store.paints.find(name)
    mine = [card for card in store.cards.all() if paint.nickname in card.paints]
    shared = [card.name for card in mine if not _alone(card, paint.nickname)]
    recipes = [
        each.recipe.name for each in store.recipes.all() if paint.nickname in each.recipe.parts
    ]
    for what, names in (("is on card", shared), ("is in the recipe", recipes)):
        if names:
            raise InputError(None, paint.name, f"{what} {few(names)}", _OUT)
    return store.removals.paint(paint, [card.name for card in mine])


def _alone(card: Card, nickname: str) -> bool:
    """Whether a card is a ladder of one paint, so that it is of no use without it."""
    painted, whites = ({getattr(d, of) for d in card.drawdowns} for of in ("paint", "white"))
    return painted - whites - {None} == {nickname}


def _card(store: Store, name: str) -> schema.Change:
    _, card, _ = named_card(store, name)
    if any(sitting.card == card.name for sitting in store.sittings.open()):
        raise InputError(
            None, card.name, "is being measured", "go on with that sitting, or give it up"
        )
    return store.removals.card(card.name)


def _recipe(store: Store, name: str) -> schema.Change:
    return store.removals.recipe(name)


def _batch(store: Store, name: str) -> schema.Change:
    return store.removals.batch(_number(name))


def _device(store: Store, name: str) -> schema.Change:
    found = store.scanners.find(name)
    assert found is not None  # a name that isn't there was refused
    return store.removals.device(found.device.name)


def paper_named(store: Store, name: str) -> Path:
    """Return where a printed paper lies.

    Raises
    ------
    InputError
        Where there is none of that name.
    """
    folder = store.studio.folder / PAPERS
    there = [path.name for path in folder.glob("[!.]*") if path.is_file()]
    if name not in there:
        raise InputError(None, name, "is no paper that was printed here", "name one of them")
    return folder / name


def _paper(store: Store, name: str) -> schema.Change:
    here = paper_named(store, name)
    away = here.parent / _REMOVED
    away.mkdir(exist_ok=True)
    for old in away.iterdir():
        if old.stat().st_mtime < time.time() - 2 * KEPT.total_seconds():
            old.unlink()
    there = away / f"{time.time_ns()}-{here.name}"
    change = store.changes.record("paper", f"{name} was removed", {}, ())
    change.hidden = {"papers": [here.name, f"{_REMOVED}/{there.name}"]}
    here.rename(there)
    there.touch()
    return change


def _number(text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise InputError(None, text, "expected the number of a batch", "see the kept recipes")
    return int(text)


KINDS: Mapping[str, Callable[[Store, str], schema.Change]] = {
    "tube": _tube, "card": _card, "recipe": _recipe, "batch": _batch, "device": _device,
    "paper": _paper,
}  # fmt: skip
"""What can be taken out of use."""
