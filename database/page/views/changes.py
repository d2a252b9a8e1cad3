"""What was removed, renamed or edited, and how it is taken back."""

from __future__ import annotations

from starlette.responses import Response

from ....calibrate.errors import InputError
from ...care.removing import remove, undo
from ...care.renaming import note, rename
from ..asked import Asked, go, view

LISTS = {
    "tube": "/tubes", "card": "/cards", "recipe": "/kept", "batch": "/kept",
    "device": "/scanners", "paper": "/paper",
}  # fmt: skip
"""Where each kind of thing is listed."""


@view
def changes(asked: Asked) -> Response:
    """What can be taken back."""
    with asked.store() as store:
        return asked.show("changes.html", changes=store.changes.recent())


@view
def take_back(asked: Asked) -> Response:
    """Take one change back."""
    number = asked.path("change")
    if not number.isdigit():
        raise InputError(None, number, "expected the number of a change", "choose one of those")
    with asked.store() as store:
        made = undo(store, int(number))
    return go(LISTS[made.kind], {"back": made.id})


@view
def remove_it(asked: Asked) -> Response:
    """Take something out of use."""
    with asked.store() as store:
        made = remove(store, asked.text("kind"), asked.text("name"))
    return go(LISTS[made.kind], {"changed": made.id})


@view
def rename_it(asked: Asked) -> Response:
    """Give something another name."""
    with asked.store() as store:
        made = rename(store, asked.text("kind"), asked.text("name"), asked.text("to"))
    return go(LISTS[made.kind], {"changed": made.id})


@view
def note_it(asked: Asked) -> Response:
    """Note something else of a recipe or a batch."""
    with asked.store() as store:
        made = note(
            store, asked.one_of("kind", ("recipe", "batch")), asked.text("name"), asked.text("note")
        )
    return go("/kept", {"changed": made.id})
