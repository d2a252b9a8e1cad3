"""The first page, and the pages of the server itself."""

from __future__ import annotations

from starlette.responses import JSONResponse, Response

from ....calibrate.errors import InputError
from ...cards.new_tube import figure
from ...easel.habits import GRAMS, remember, weighing
from ...fits.standing import Do, ToDo, studio_standing
from ...mixing.viewing import LIGHTS
from ..asked import Asked, go, shown, view
from ..pairing import Pairing
from ..uploads import ACCEPTED
from ..worksheet import SCALES
from .tubes import add

_MEASURES = {
    GRAMS: "a scale", "syringe": "a syringe", "spoons": "spoons",
    "lengths": "lengths squeezed from the tube", "parts": "whole parts",
}  # fmt: skip
"""What paint is measured with, in words."""
_FINISHES = {
    "": "not said: gloss for colours seen",
    "gloss": "gloss",
    "satin": "satin",
    "matt": "matt",
}
"""The shine of paintings, in words."""
_BUTTONS = {
    Do.FIT: ("Fit", "/fits", True),
    Do.PUBLISH: ("Look at what would be published", "/publish", False),
    Do.MIX: ("Mix a colour", "/mix", False),
    Do.PLAN_CARD: ("Plan a card", "/cards/new", False),
    Do.GO_ON_READING: ("Go on with it", "/cards/{card}/sitting", False),
    Do.SAY_GRAMS: ("Say what you weighed", "/cards/{card}", False),
    Do.READ_CARD: ("Scan it or read it", "/cards/{card}#read", False),
}
"""What its button says, where that leads, and whether it does it at once."""


@view
def home(asked: Asked) -> Response:
    """Where everything stands, and what to do next; of an empty studio, how to begin."""
    if asked.phone:
        if not asked.begun:
            raise InputError(
                None, None, "this studio has no tubes yet", "begin where the page was opened"
            )
        return go("/mix")
    if not asked.begun:
        return asked.show("start.html", accepted=ACCEPTED)
    with asked.store() as store:
        standing, works = studio_standing(store), weighing(store)
    if not standing.tubes:
        return asked.show("start.html", accepted=ACCEPTED)
    return asked.show(
        "home.html", standing=standing, how=_how, accepted=ACCEPTED, works=works,
        scales=sorted({*SCALES, works.measuring.step}), measures=_MEASURES, finishes=_FINISHES,
        lights=LIGHTS, seen=shown(works),
    )  # fmt: skip


@view
def keep_habits(asked: Asked) -> Response:
    """Remember how the painter works."""
    scale = figure("scale", asked.text("scale"), "0.1", "g")
    with asked.store() as store, store.transaction():
        asked.still(weighing(store), "how you work")
        said = [asked.text(name) or None for name in ("measure", "finish", "light")]
        remember(store, scale, *said)
    return go("/", at="habits")


def _how(todo: ToDo) -> tuple[str, str, bool]:
    """A thing to do as a button, its path, and whether it does it at once."""
    button, path, posts = _BUTTONS[todo.do]
    return button, path.format(card=todo.card.number if todo.card else ""), posts


@view
def begin(asked: Asked) -> Response:
    """Add the white and the first colour, and go on to their card."""
    with asked.store(create=True) as store, store.transaction():
        white = add(asked, store, "white_")
        colour = add(asked, store, "colour_")
    return go("/cards/new", {"tube": colour, "white": white})


@view
def job(asked: Asked) -> Response:
    """How far some work is."""
    found = asked.jobs.get(asked.path("name"))
    if asked.by_script:
        if found is None:
            return JSONResponse({"lost": True}, 404)
        said = {"words": found.words, "path": found.path, "fault": found.fault}
        return JSONResponse(said)
    if found is not None and found.path is not None:
        return go(found.path)
    return asked.show("job.html", 200 if found else 404, job=found)


@view
def stop_job(asked: Asked) -> Response:
    """Have some work stop."""
    name = asked.path("name")
    if asked.jobs.stop(name) is None:
        raise InputError(None, None, "this work ended long ago", "see where everything stands")
    return go(f"/jobs/{name}")


@view
def alive(asked: Asked) -> Response:
    """Say that the server is there, and how many phones are in."""
    pairing: Pairing | None = asked.request.app.state.pairing
    said = {"studio": asked.studio.folder.name}
    return JSONResponse(said | ({"phones": len(pairing.phones)} if pairing else {}))
