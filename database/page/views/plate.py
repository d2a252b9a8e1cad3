"""The plate of the worksheet: what is on it, what to add, and every step taken back."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from ....calibrate.errors import InputError, Sentence
from ...easel.additions import AdditionRequest, addition_question, start_over_words
from ...easel.basis import nickname
from ...easel.densities import added_grams
from ...easel.heap import guess_words
from ...easel.plate import OnPlate, goal_of, on_plate, plate_of, set_plate, undo
from ...easel.recipe import Amounts, Ways
from ...mixing.measures import amount_words
from ...mixing.recipes import Recipe
from ...mixing.target import Target
from ...store.store import Store
from ..asked import Asked, Changed, shown, view
from ..table import grams_of_table
from ..worksheet import address, chosen_of, habits_of, searches_of, target_of


def goal_for(asked: Asked, store: Store) -> str:
    """What the plate is for."""
    target = target_of(asked, store)
    if target is None:
        raise InputError("plate", None, "nothing is aimed at", "begin at the top")
    kept = store.recipes.find(asked.text("target")) if not asked.text("again") else None
    return goal_of(target, asked.text("again") or (kept.name if kept else ""))


def plate_step(asked: Asked, store: Store, said: dict[str, Any]) -> bool:
    """Say what is on the plate and what to add; the last step of the worksheet."""
    target: Target | None = said["target"]
    if target is None:
        return False
    there = plate_of(store, goal_for(asked, store))
    plate = on_plate(there.additions)
    amounts: Amounts | None = said["amounts"]
    recipe: Recipe | None = said["way"]
    ways: Ways | None = said["ways"]
    if not (plate or (amounts and asked.text("mixing"))):
        said["plate_seen"] = seen_of(there)
        return False
    scale = habits_of(asked, store).measuring.scale
    found, grams, scanned = None, amounts.batch.grams if amounts else {}, list[str]()
    guess: list[str | Sentence] = []
    wet, said_of = None, dict[str, Any]()
    film = ways is not None and ways.basis.manner.film is not None
    if plate and not film:
        wanted = AdditionRequest(
            ways.answer.target if ways else target, tuple(there.additions), dab=there.dab,
            wanted=amounts.grams if amounts else None, scale=scale,
        )  # fmt: skip
        question = addition_question(store, wanted)
        searches = searches_of(asked)
        answer = question.answer(searches.answer(question.heap) if question.heap else None)
        found, wet = answer.found, answer.wet
        said_of = {
            "dab_first": answer.dab_first, "unsure": answer.unsure,
            "first": found if answer.dab_first else answer.first, "rest": answer.rest,
        }  # fmt: skip
        said["plate_basis"] = answer.basis
        said_of["over"] = start_over_words(answer, scale) if found.start_over else ""
        guess += guess_words(answer.likely, said["names"]) if answer.likely else []
        scanned = answer.basis.scanned(plate)
        # Whatever really went on is typed over it.
        more = answer.first.additions
        grams = more | {
            paint: 0.0 for paint in (recipe.parts if recipe else ()) if paint not in more
        }
    elif plate:
        grams = {p: max(g - plate.get(p, 0.0), 0.0) for p, g in grams.items()}
    said["plate_seen"] = seen_of(there)
    said["plate"] = {
        "additions": there.additions, "seen": seen_of(there), "sum": plate, "next": found,
        "wet": wet, **said_of,
        "grams": {p: round(g, 3) for p, g in grams.items()}, "dab": guess,
        "began_unknown": there.dab is not None, "scanned": scanned, "undoable": there.undoable,
        "weighed": lambda grams: amount_words(grams, scale),
    }  # fmt: skip
    return True


def seen_of(plate: OnPlate) -> str:
    """What a form carries of the plate that it showed."""
    return shown([plate.number, plate.additions])


@view
def change_plate(asked: Asked) -> Response:
    """Add to the plate, take the last step back, or begin with an empty one."""
    # The database's lock keeps two windows from writing the plate at once.
    with asked.store() as store, store.transaction():
        return asked.once(store, lambda: _changed(asked, store))


def _changed(asked: Asked, store: Store) -> str:
    what, goal = asked.text("do"), goal_for(asked, store)
    plate = plate_of(store, goal)
    # An addition is based on what was shown too: another window may have made it already.
    if seen_of(plate) != asked.text("seen"):
        raise Changed("the plate")
    if what == "add":
        set_plate(store, goal, [*plate.additions, _added(asked, store)], plate.dab)
    elif what == "clear":
        set_plate(store, goal, [])
    elif what != "undo" or undo(store, goal) is None:
        raise InputError("plate", what, "expected to add, undo or clear", "use its buttons")
    return address(chosen_of(asked), at="plate")


def _added(asked: Asked, store: Store) -> dict[str, float]:
    typed = {
        key.removeprefix("g:"): str(value).strip().replace(",", ".")
        for key, value in asked.form.multi_items()
        if key.startswith("g:") and str(value).strip()
    } or grams_of_table(asked, store)
    if not typed:
        raise InputError("plate", None, "nothing was added", "say how many grams went on")
    mix = ",".join(f"{name}={grams}" for name, grams in typed.items())
    return added_grams(store, mix, lambda name: nickname(store, name))


def on_plate_shown(asked: Asked, store: Store) -> dict[str, float]:
    """Grams on the plate, if they are those that the form showed."""
    plate = plate_of(store, goal_for(asked, store))
    if seen_of(plate) != asked.text("seen"):
        raise Changed("the plate")
    if not plate.additions:
        raise InputError("plate", None, "is empty", "say what went on")
    return on_plate(plate.additions)
