"""Gives tubes, recipes, devices and papers other names, and recipes and batches other notes."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ...calibrate.errors import InputError
from ..cards.scan_files import overlay_of_scanner
from ..common.files import write_whole
from ..common.words import few
from ..store import schema
from ..store.changing.changes import Edit
from ..store.paint_names import check_nickname, nickname_key
from ..store.store import Store
from .removing import paper_named


def rename(store: Store, kind: str, name: str, to: str) -> schema.Change:
    """Give something another name; for a day that can be taken back.

    Parameters
    ----------
    kind : str
        One of `KINDS`; of a tube its nickname is meant.

    Raises
    ------
    InputError
        Where there is no such thing, or the name is taken or can't stand.
    """
    if kind not in KINDS:
        raise InputError(None, kind, f"expected one of {', '.join(KINDS)}", "name one of these")
    with store.transaction():
        return KINDS[kind](store, name, to.strip())


def note(store: Store, kind: str, name: str, words: str) -> schema.Change:
    """Note something else of a recipe, or of a batch by its number.

    Raises
    ------
    InputError
        Where there is none.
    """
    with store.transaction():
        if kind == "batch":
            row: schema.Batch | schema.Recipe = store.removals.batch_row(int(name))
        else:
            row = store.removals.recipes(name)[-1]
        said = f"What is noted of {kind} {name} was changed"
        return store.changes.record(kind, said, edits=[Edit(row, {"note": words.strip()[:200]})])


def _tube(store: Store, name: str, to: str) -> schema.Change:
    paint, key = store.paints.find(name), nickname_key(check_nickname(to))
    taken = next((p for p in store.paints.all() if p.nickname_key == key and p is not paint), None)
    if taken is not None:
        raise InputError(None, to, f"is the nickname of {taken.name}", "choose another")
    cards = [card.name for card in store.cards.all() if paint.nickname in card.paints]
    recipes = [e.recipe.name for e in store.recipes.all() if paint.nickname in e.recipe.parts]
    fitted = ["its fit"] if paint.nickname in store.fits.current() else []
    rests = [f"card {card}" for card in cards] + [f"recipe {each}" for each in recipes] + fitted
    if rests:
        raise InputError(
            None, paint.nickname, f"stands in {few(rests)}, which know it by that nickname",
            "change its name instead, which is shown everywhere",
        )  # fmt: skip
    edit = Edit(paint, {"nickname": to, "nickname_key": key})
    return store.changes.record("tube", f"{paint.nickname} was renamed {to}", edits=[edit])


def _recipe(store: Store, name: str, to: str) -> schema.Change:
    rows = store.removals.recipes(name)
    key = store.recipes.checked_name(to)
    if key != rows[0].name and store.recipes.find(key) is not None:
        raise InputError(None, to, "is the name of another recipe", "choose another")
    words = f"The recipe {rows[0].name} was renamed {key}"
    return store.changes.record("recipe", words, edits=[Edit(row, {"name": key}) for row in rows])


def _device(store: Store, name: str, to: str) -> schema.Change:
    found = store.scanners.find(name)
    assert found is not None  # a name that isn't there was refused
    if not to or store.removals.device_row(to) is not None:
        raise InputError(None, to or "its name", "is taken, or empty", "choose another")
    row = store.removals.device_row(found.device.name)
    change = store.changes.record(
        "device", f"{name} was renamed {to}", edits=[Edit(row, {"name": to})]
    )
    seen, now = (overlay_of_scanner(store.studio, each) for each in (found.device.name, to))
    if seen.is_file() and not now.exists():
        # Both names lead to it, so that taking the change back finds it too.
        write_whole({now: seen.read_bytes()})
    return change


def _paper(store: Store, name: str, to: str) -> schema.Change:
    here = paper_named(store, name)
    to = to if to.endswith(here.suffix) else to + here.suffix
    if not to.removesuffix(here.suffix) or to.startswith(".") or {"/", "\\"} & set(to):
        raise InputError(None, to, "can't be the name of a paper", "choose a plain word")
    there = here.with_name(to)
    if there.exists():
        raise InputError(None, to, "is another paper", "choose another name")
    change = store.changes.record("paper", f"{name} was renamed {to}")
    change.hidden = {"papers": [here.name, to]}
    here.rename(there)
    return change


KINDS: Mapping[str, Callable[[Store, str, str], schema.Change]] = {
    "tube": _tube, "recipe": _recipe, "device": _device, "paper": _paper,
}  # fmt: skip
"""What can be given another name."""
