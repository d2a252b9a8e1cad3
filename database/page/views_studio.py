"""The first page, the tubes, and the pages of the server itself."""

from __future__ import annotations

from starlette.responses import JSONResponse, Response

from ...calibrate.errors import InputError
from ..card_progress import cards_progress
from ..cautions import UNKNOWN
from ..new_tube import add_tube, suggested_nickname
from ..release import releases
from ..store import Store
from .asked import Asked, Changed, go, view
from .standing import to_do, verdicts
from .uploads import ACCEPTED


@view
def home(asked: Asked) -> Response:
    """Where everything stands, and what to do next; of an empty studio, how to begin."""
    if not asked.begun:
        return asked.show("start.html", accepted=ACCEPTED)
    with asked.store() as store:
        tubes = store.paints()
        if not tubes:
            return asked.show("start.html", accepted=ACCEPTED)
        cards, fitted, published = cards_progress(store), verdicts(store), releases(store)
    todo = to_do(cards, fitted, tubes, published)
    return asked.show(
        "home.html", tubes=tubes, cards=cards, fitted=fitted, published=published, todo=todo,
        accepted=ACCEPTED,
    )  # fmt: skip


@view
def begin(asked: Asked) -> Response:
    """Add the white and the first colour, and go on to their card."""
    with asked.store(create=True) as store, store.transaction():
        white = _add(asked, store, "white_")
        colour = _add(asked, store, "colour_")
    return go("/cards/new", {"tube": colour, "white": white})


@view
def tubes(asked: Asked) -> Response:
    """Which tubes there are."""
    with asked.store() as store:
        paints, fitted = store.paints(), store.current_fits()
    return asked.show("tubes.html", tubes=paints, fitted=fitted, accepted=ACCEPTED)


@view
def new_tube(asked: Asked) -> Response:
    """Add a tube."""
    with asked.store(create=True) as store, store.transaction():
        added = _add(asked, store)
    return go("/tubes", at=f"tube-{added}")


def _add(asked: Asked, store: Store, prefix: str = "") -> str:
    name, maker = asked.text(f"{prefix}name"), asked.text(f"{prefix}maker")
    if not name:
        raise InputError(None, "name", "a tube needs a name", "give it as on the label")
    nickname = suggested_nickname(store, name, maker)
    pigments = asked.text(f"{prefix}pigments") or UNKNOWN
    return add_tube(
        store, name, maker, pigments, asked.text(f"{prefix}nickname") or nickname,
        asked.text(f"{prefix}size"), lot=asked.text(f"{prefix}lot"),
    ).nickname  # fmt: skip


@view
def on_hand(asked: Asked) -> Response:
    """Say that a tube is on hand, or out."""
    nickname, wanted = asked.path("tube"), asked.text("on_hand") == "yes"
    with asked.store() as store, store.transaction():
        if store.find_paint(nickname).on_hand != (asked.text("seen") == "yes"):
            raise Changed(f"whether {nickname} is on hand")
        store.set_on_hand(nickname, wanted)
    return go("/tubes", at=f"tube-{nickname}")


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
