"""Tubes: which there are, what their labels say, and what was weighed of them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from starlette.responses import Response

from ....calibrate.errors import InputError
from ....calibrate.fit.problem.tube import typical_density
from ...cards.new_tube import (
    add_lot,
    add_tube,
    figure,
    known_paint,
    lot_as_typed,
    pigments_of,
    suggested_nickname,
)
from ...common.words import UNKNOWN
from ...store import schema
from ...store.paints_file import NewLot, NewPaint
from ...store.schema import FINISHES, ORDINARY
from ...store.store import Store
from ..asked import Asked, Changed, go, shown, view
from ..uploads import ACCEPTED

SYRINGE = "2"
"""ml of paint that are weighed, unless something else is said."""


@view
def tubes(asked: Asked) -> Response:
    """Which tubes there are."""
    with asked.store() as store:
        paints, fitted = store.paints.all(), store.fits.current()
    return asked.show(
        "tubes.html", tubes=paints, fitted=fitted, accepted=ACCEPTED, finishes=FINISHES
    )


@view
def new_tube(asked: Asked) -> Response:
    """Add a tube."""
    with asked.store(create=True) as store, store.transaction():
        added = add(asked, store)
    return go("/tubes", at=f"tube-{added}")


def add(asked: Asked, store: Store, prefix: str = "") -> str:
    """Add the tube that a form's fields describe; a lot of a paint that is here joins it.

    Returns
    -------
    str
        Its nickname.

    Raises
    ------
    InputError
        For what can't be a tube.
    """
    name, maker = asked.text(f"{prefix}name"), asked.text(f"{prefix}maker")
    if not name:
        raise InputError(None, "name", "a tube needs a name", "give it as on the label")
    size, tube = asked.text(f"{prefix}size"), _typed(asked, prefix)
    more: dict[str, Any] = {
        "price": tube.price, "density": tube.density, "volume_solids": tube.volume_solids,
    }  # fmt: skip
    if tube.lot and (known := known_paint(store, name, maker)) is not None:
        return add_lot(store, known, tube.lot, size, **more).nickname
    nickname = suggested_nickname(store, name, maker)
    return add_tube(
        store, name, maker, asked.text(f"{prefix}pigments") or UNKNOWN,
        asked.text(f"{prefix}nickname") or nickname, size, lot=tube.lot,
        range=asked.text(f"{prefix}range"), finish=_finish(asked, prefix), **more,
    ).nickname  # fmt: skip


def _finish(asked: Asked, prefix: str = "") -> str:
    return asked.one_of(f"{prefix}finish", FINISHES) or ORDINARY


def _typed(asked: Asked, prefix: str = "", **more: Any) -> NewLot:
    said = {key: asked.text(prefix + key) for key in ("lot", "size", "price", "density", "solids")}
    return lot_as_typed(**said, **more)


@view
def tube(asked: Asked) -> Response:
    """All that is said of one tube, to be changed."""
    with asked.store() as store:
        paint = store.paints.find(asked.path("tube"))
        fitted = paint.nickname in store.fits.current()
    return asked.show(
        "tube.html", paint=paint, fitted=fitted, finishes=FINISHES, label=shown(_label(paint)),
        lots=[(lot, shown(_figures(lot))) for lot in paint.lots], used=paint.current_lot,
        typical=typical_density(paint.pigments, paint.binder), weighed=asked.text("weighed"),
        syringe=SYRINGE,
        seen=shown([_figures(lot) for lot in paint.lots]),
    )  # fmt: skip


def _label(paint: schema.Paint) -> dict[str, Any]:
    keys = ("name", "maker", "range", "pigments", "binder", "finish", "note")
    return {key: getattr(paint, key) for key in keys}


def _figures(lot: schema.Lot) -> dict[str, Any]:
    keys = ("lot", "size_ml", "price", "density", "volume_solids", "opened", "on_hand", "note")
    return {key: getattr(lot, key) for key in keys}


@view
def on_hand(asked: Asked) -> Response:
    """Say that a tube is on hand, or out."""
    nickname, wanted = asked.path("tube"), asked.text("on_hand") == "yes"
    with asked.store() as store, store.transaction():
        if store.paints.find(nickname).on_hand != (asked.text("seen") == "yes"):
            raise Changed(f"whether {nickname} is on hand")
        changed = _undoable(store, lambda: store.paints.set_on_hand(nickname, wanted))
    return go("/tubes", changed, at=f"tube-{nickname}")


def _undoable(store: Store, do: Callable[[], object]) -> dict[str, int]:
    """Do something; return the change that it made, by which a page offers to take it back."""
    before = {row.id for row in store.changes.recent()}
    do()
    made = [row.id for row in store.changes.recent() if row.id not in before]
    return {"changed": made[0]} if made else {}


@view
def change_label(asked: Asked) -> Response:
    """Take what is now said of a label."""
    name = asked.text("name")
    if not name:
        raise InputError(None, "name", "a tube needs a name", "give it as on the label")
    with asked.store() as store, store.transaction():
        paint = store.paints.find(asked.path("tube"))
        asked.still(_label(paint), f"what is said of {paint.nickname}")
        label = NewPaint(
            paint.nickname, name, asked.text("maker"), asked.text("range"),
            pigments_of(asked.text("pigments") or UNKNOWN), asked.text("binder"),
            _finish(asked), asked.text("note"),
        )  # fmt: skip
        changed = _undoable(store, lambda: store.paints.change(paint.nickname, label))
    return go(f"/tubes/{paint.nickname}", {"kept": "label", **changed}, at="label")


@view
def change_lot(asked: Asked) -> Response:
    """Take what is now said of one tube; or add a further one, in use from today."""
    with asked.store() as store, store.transaction():
        paint = store.paints.find(asked.path("tube"))
        if asked.text("do") == "add":
            if not asked.text("lot"):
                raise InputError(
                    None, "lot", "a further tube needs a name", "give its lot, or any word"
                )
            store.paints.add_lot(paint.nickname, _typed(asked, opened=date.today()))
            return go(f"/tubes/{paint.nickname}", {"kept": "lots"}, at="lots")
        was = asked.text("was")
        there = next((lot for lot in paint.lots if lot.lot == was), None)
        asked.still(there and _figures(there), f"that tube of {paint.nickname}")
        said = _typed(
            asked, opened=_day(asked.text("opened")), on_hand=asked.text("on_hand") == "yes",
            note=asked.text("note"),
        )  # fmt: skip
        changed = _undoable(store, lambda: store.paints.change_lot(paint.nickname, was, said))
    return go(f"/tubes/{paint.nickname}", {"kept": "lots", **changed}, at="lots")


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise InputError(
            "opened", text, "expected a day such as 2026-03-01", "leave it out if unknown"
        ) from None


@view
def weigh(asked: Asked) -> Response:
    """Find a tube's density from a syringe of its paint on a scale."""
    ml = figure("paint in the syringe", asked.text("ml") or SYRINGE, SYRINGE, "ml")
    full = figure("what the scale shows", asked.text("grams"), "2.72", "g")
    empty = figure("the empty syringe", asked.text("empty"), "1.3", "g") or 0.0
    if not ml or full is None or full <= empty:
        raise InputError(
            None, "what the scale shows",
            f"expected grams above {empty:g} for some millilitres of paint",
            "weigh the full syringe; the empty one counts 0 if the scale was set to zero with it",
        )  # fmt: skip
    with asked.store() as store, store.transaction():
        paint = store.paints.find(asked.path("tube"))
        asked.still([_figures(lot) for lot in paint.lots], f"the tubes of {paint.nickname}")
        density = (full - empty) / ml
        changed = _undoable(store, lambda: store.paints.set_density(paint.nickname, density))
        said = {"weighed": f"{density:.2f}", **changed}
    return go(f"/tubes/{paint.nickname}", said, at="weigh")
