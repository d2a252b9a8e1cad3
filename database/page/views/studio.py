"""The first page, and the pages of the server itself."""

from __future__ import annotations

from starlette.responses import JSONResponse, Response

from ...cards.progress import cards_progress
from ...releases.publish import releases
from ..asked import Asked, go, view
from ..standing import to_do, verdicts
from ..uploads import ACCEPTED
from .tubes import add


@view
def home(asked: Asked) -> Response:
    """Where everything stands, and what to do next; of an empty studio, how to begin."""
    if not asked.begun:
        return asked.show("start.html", accepted=ACCEPTED)
    with asked.store() as store:
        tubes = store.paints.all()
        if not tubes:
            return asked.show("start.html", accepted=ACCEPTED)
        cards, fitted, published = cards_progress(store), verdicts(store), releases(store)
        sittings = {sitting.card for sitting in store.sittings.open()}
    todo = to_do(cards, fitted, tubes, published, sittings)
    return asked.show(
        "home.html", tubes=tubes, cards=cards, fitted=fitted, published=published, todo=todo,
        accepted=ACCEPTED,
    )  # fmt: skip


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
def alive(asked: Asked) -> Response:
    """Say that the server is there."""
    return JSONResponse({"studio": asked.studio.folder.name})
