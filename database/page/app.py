"""The page's application: which address shows what."""

from __future__ import annotations

import sys
import traceback
from collections import deque
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from ..common.one_page import page_text
from ..store.studio import Studio
from .asked import Asked
from .guard import Guard, TooLarge
from .jobs import Jobs
from .keys import Keys
from .pairing import Pairing
from .phone_door import MAY
from .remembered import Remembered
from .sitting_room import Room
from .views import (
    adopt,
    cards,
    changes,
    drying,
    fits,
    heap,
    kept,
    manual,
    mix,
    paper,
    phones,
    plate,
    practice,
    predict,
    questions,
    reading,
    releases,
    scanners,
    sitting,
    tubes,
)
from .views import studio as views_studio
from .worksheet import Searches

Endpoint = Callable[[Request], Awaitable[Response]]
GET, POST = ["GET"], ["POST"]
_STOPPED = 64
"""Searches that are remembered as stopped: those told so last."""
EASEL = (
    ("/", views_studio.home, GET),
    ("/tubes", tubes.tubes, GET),
    ("/tubes/{tube}", tubes.on_hand, POST),
    ("/jobs/{name}", views_studio.job, GET),
    ("/jobs/{name}/stop", views_studio.stop_job, POST),
    ("/alive", views_studio.alive, GET),
    ("/mix", mix.worksheet, GET),
    ("/mix/photo", mix.take_photo, POST),
    ("/mix/photos/{name}", mix.photo, GET),
    ("/mix/plate", plate.change_plate, POST),
    ("/mix/further", mix.try_further, POST),
    ("/mix/ways.png", mix.ways_picture, GET),
    ("/mix/keep", mix.keep_way, POST),
    ("/mix/stop", mix.stop_search, POST),
    ("/mix/steps", questions.steps, GET),
    ("/instead", questions.instead, GET),
    ("/keep", questions.keep_set, GET),
    ("/keep", questions.find_set, POST),
    ("/tubes/{tube}/neutral", questions.greys, GET),
    ("/heap", heap.heap, GET),
    ("/heap", heap.put_on, POST),
    ("/heap/photo", heap.take_photo, POST),
    ("/predict", predict.predict, GET),
    ("/kept", kept.all_kept, GET),
    ("/kept/{batch}/swatch", kept.take_swatch, POST),
    ("/drying", drying.drying, GET),
    ("/drying", drying.teach_now, POST),
    ("/practice", practice.practice, GET),
    ("/practice", practice.take, POST),
    ("/manual", manual.contents, GET),
    ("/manual/{topic}", manual.one, GET),
)
"""What a phone that was let in may see and do too."""
ROUTES = (
    *EASEL,
    ("/begin", views_studio.begin, POST),
    ("/habits", views_studio.keep_habits, POST),
    ("/tubes", tubes.new_tube, POST),
    ("/tubes/{tube}", tubes.tube, GET),
    ("/tubes/{tube}/label", tubes.change_label, POST),
    ("/tubes/{tube}/lots", tubes.change_lot, POST),
    ("/tubes/{tube}/weighed", tubes.weigh, POST),
    ("/cards", cards.cards, GET),
    ("/cards", cards.print_card, POST),
    ("/cards/new", cards.new_card, GET),
    ("/cards/{card}", cards.card, GET),
    ("/cards/{card}/weighed", cards.fill_card, POST),
    ("/cards/{card}/read", reading.read_card, POST),
    ("/cards/{card}/scans/{scan}.png", reading.overlay, GET),
    ("/cards/{card}/papers/{paper}", cards.paper, GET),
    ("/cards/{card}/sitting", sitting.sitting, GET),
    ("/cards/{card}/sitting", sitting.begin, POST),
    ("/cards/{card}/sitting/answer", sitting.answer, POST),
    ("/instrument.toml", sitting.template, GET),
    ("/read", reading.read_any, POST),
    ("/take-back", reading.take_back, POST),
    ("/scanners", scanners.scanners, GET),
    ("/scanners", scanners.characterise, POST),
    ("/scanners/{name}/overlay.png", scanners.overlay, GET),
    ("/fits", fits.fits, GET),
    ("/fits", fits.fit, POST),
    ("/paints/{paint}", fits.paint, GET),
    ("/fits/{kind}.png", fits.picture_of_all, GET),
    ("/paints/{paint}/next", fits.next_drawdown, GET),
    ("/paints/{paint}/{kind}.png", fits.paint_picture, GET),
    ("/publish", releases.preview, GET),
    ("/publish", releases.publish_now, POST),
    ("/releases", releases.all_releases, GET),
    ("/phones", phones.phones, GET),
    ("/phones", phones.change, POST),
    ("/changes", changes.changes, GET),
    ("/changes/{change}", changes.take_back, POST),
    ("/remove", changes.remove_it, POST),
    ("/rename", changes.rename_it, POST),
    ("/note", changes.note_it, POST),
    ("/releases/{version}.zip", releases.archive, GET),
    ("/releases/{version}/report", releases.report_page, GET),
    ("/adopt", adopt.release, GET),
    ("/adopt", adopt.adopt_now, POST),
    ("/adopt/file", adopt.take_release, POST),
    ("/compare", releases.comparison, GET),
    ("/compare.png", releases.comparison_picture, GET),
    ("/drying/{pair}/forget", drying.forget, POST),
    ("/practice/forget", practice.forget, POST),
    ("/paper", paper.papers, GET),
    ("/paper/wall", paper.for_the_wall, POST),
    ("/paper/pots", paper.for_pots, POST),
    ("/paper/picture", paper.for_a_picture, POST),
    ("/paper/{name}", paper.paper, GET),
)
_OWN = "tintladder.database.page"
_STATIC = {
    "page.css": (_OWN, "text/css"),
    "page.js": (_OWN, "text/javascript"),
    "sitting.js": (_OWN, "text/javascript"),
    "table.js": (_OWN, "text/javascript"),
    "easel.js": (_OWN, "text/javascript"),
    "photo.js": (_OWN, "text/javascript"),
    "predict.js": ("tintladder.database.paper.handout", "text/javascript"),
}
"""Styles and scripts: the package that each lies in, and its kind."""


def make_app(studio: Studio, keys: Keys, pairing: Pairing | None = None) -> Starlette:
    """Make the page of a studio.

    Parameters
    ----------
    studio : Studio
        It need not exist yet; the first tube makes it.
    keys : Keys
        What lets browsers in.
    pairing : Pairing, optional
        What lets phones of the network in; none comes in without.
    """
    app = Starlette(
        lifespan=_until_stopped,
        routes=[
            *(Route(path, work, methods=methods) for path, work, methods in EASEL),
            *(
                Route(path, _own(work), methods=methods)
                for path, work, methods in ROUTES[len(EASEL) :]
            ),
            *(Route(f"/{name}", _static, methods=GET) for name in _STATIC),
        ],
        middleware=[Middleware(Guard, keys=keys, pairing=pairing)],
        exception_handlers={
            HTTPException: _not_there, TooLarge: _too_large, Exception: _our_fault,
        },
    )  # fmt: skip
    app.state.studio = studio
    app.state.pairing = pairing
    app.state.jobs = Jobs()
    app.state.room = Room()
    app.state.searches = Searches()
    app.state.stopped = deque[str](maxlen=_STOPPED)
    app.state.looks = Remembered(2)
    app.state.read = Remembered(1)
    app.state.numbers = Remembered(4)
    return app


def _own(work: Endpoint) -> Endpoint:
    """Make an endpoint that answers no phone."""

    async def endpoint(request: Request) -> Response:
        if getattr(request.state, "phone", None) is None:
            return await work(request)
        return _asked(request).wrong(403, f"that isn't done from a phone. {MAY}")

    return endpoint


@asynccontextmanager
async def _until_stopped(app: Starlette) -> AsyncIterator[None]:
    """Once the server is stopped, what waits is not begun; what was begun is ended.

    An instrument's line is let go.
    """
    yield
    app.state.room.close()
    app.state.jobs.close()


def _static(request: Request) -> Response:
    name = request.url.path.removeprefix("/")
    package, kind = _STATIC[name]
    return PlainTextResponse(page_text(package, name), media_type=kind)


async def _not_there(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return _asked(request).wrong(error.status_code, f"{request.url.path}: there is no such page")


async def _too_large(request: Request, error: Exception) -> Response:
    return _asked(request).wrong(413, "that is too large; scan at a lower resolution")


async def _our_fault(request: Request, error: Exception) -> Response:
    traceback.print_exception(error, file=sys.stderr)
    said = " ".join(f"{type(error).__name__}: {error}".split())
    return _asked(request).wrong(500, f"our fault, not yours ({said}); nothing was half-written")


def _asked(request: Request) -> Asked:
    return Asked(request, FormData())
