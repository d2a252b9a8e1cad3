"""The page's application: which address shows what."""

from __future__ import annotations

import sys
import traceback
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.resources import files

from starlette.applications import Starlette
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from ..studio import Studio
from . import (
    views_adopt,
    views_cards,
    views_fits,
    views_foretell,
    views_heap,
    views_kept,
    views_mix,
    views_paper,
    views_reading,
    views_releases,
    views_scanners,
    views_sitting,
    views_studio,
    views_tubes,
)
from .asked import Asked
from .guard import Guard, TooLarge
from .jobs import Jobs
from .sitting_room import Room
from .worksheet import Searches

GET, POST = ["GET"], ["POST"]
ROUTES = (
    ("/", views_studio.home, GET),
    ("/begin", views_studio.begin, POST),
    ("/tubes", views_tubes.tubes, GET),
    ("/tubes", views_tubes.new_tube, POST),
    ("/tubes/{tube}", views_tubes.tube, GET),
    ("/tubes/{tube}", views_tubes.on_hand, POST),
    ("/tubes/{tube}/label", views_tubes.change_label, POST),
    ("/tubes/{tube}/lots", views_tubes.change_lot, POST),
    ("/tubes/{tube}/weighed", views_tubes.weigh, POST),
    ("/jobs/{name}", views_studio.job, GET),
    ("/alive", views_studio.alive, GET),
    ("/cards", views_cards.cards, GET),
    ("/cards", views_cards.print_card, POST),
    ("/cards/new", views_cards.new_card, GET),
    ("/cards/{card}", views_cards.card, GET),
    ("/cards/{card}/weighed", views_cards.fill_card, POST),
    ("/cards/{card}/read", views_reading.read_card, POST),
    ("/cards/{card}/scans/{scan}.png", views_reading.overlay, GET),
    ("/cards/{card}/papers/{paper}", views_cards.paper, GET),
    ("/cards/{card}/sitting", views_sitting.sitting, GET),
    ("/cards/{card}/sitting", views_sitting.begin, POST),
    ("/cards/{card}/sitting/answer", views_sitting.answer, POST),
    ("/instrument.toml", views_sitting.template, GET),
    ("/read", views_reading.read_any, POST),
    ("/take-back", views_reading.take_back, POST),
    ("/scanners", views_scanners.scanners, GET),
    ("/scanners", views_scanners.characterise, POST),
    ("/scanners/{name}/overlay.png", views_scanners.overlay, GET),
    ("/fits", views_fits.fits, GET),
    ("/fits", views_fits.fit, POST),
    ("/paints/{paint}", views_fits.paint, GET),
    ("/fits/{kind}.png", views_fits.picture_of_all, GET),
    ("/paints/{paint}/next", views_fits.next_drawdown, GET),
    ("/paints/{paint}/{kind}.png", views_fits.paint_picture, GET),
    ("/publish", views_releases.preview, GET),
    ("/publish", views_releases.publish_now, POST),
    ("/releases", views_releases.all_releases, GET),
    ("/releases/{version}.zip", views_releases.archive, GET),
    ("/releases/{version}/report", views_releases.report_page, GET),
    ("/adopt", views_adopt.release, GET),
    ("/adopt", views_adopt.adopt_now, POST),
    ("/adopt/file", views_adopt.take_release, POST),
    ("/compare", views_releases.comparison, GET),
    ("/compare.png", views_releases.comparison_picture, GET),
    ("/mix", views_mix.worksheet, GET),
    ("/mix/photo", views_mix.take_photo, POST),
    ("/mix/photos/{name}", views_mix.photo, GET),
    ("/mix/plate", views_mix.change_plate, POST),
    ("/mix/further", views_mix.try_further, POST),
    ("/mix/ways.png", views_mix.ways_picture, GET),
    ("/mix/keep", views_mix.keep_way, POST),
    ("/heap", views_heap.heap, GET),
    ("/heap", views_heap.put_on, POST),
    ("/heap/photo", views_heap.take_photo, POST),
    ("/foretell", views_foretell.foretell, GET),
    ("/kept", views_kept.all_kept, GET),
    ("/kept/{batch}/swatch", views_kept.take_swatch, POST),
    ("/paper", views_paper.papers, GET),
    ("/paper/wall", views_paper.for_the_wall, POST),
    ("/paper/pots", views_paper.for_pots, POST),
    ("/paper/picture", views_paper.for_a_picture, POST),
    ("/paper/{name}", views_paper.paper, GET),
)
_STATIC = {"page.css": "text/css", "page.js": "text/javascript", "sitting.js": "text/javascript"}


def make_app(studio: Studio) -> Starlette:
    """Make the page of a studio.

    Parameters
    ----------
    studio : Studio
        It need not exist yet; the first tube makes it.
    """
    app = Starlette(
        lifespan=_until_stopped,
        routes=[
            *(Route(path, work, methods=methods) for path, work, methods in ROUTES),
            *(Route(f"/{name}", _static, methods=GET) for name in _STATIC),
        ],
        middleware=[Middleware(Guard)],
        exception_handlers={
            HTTPException: _not_there, TooLarge: _too_large, Exception: _our_fault,
        },
    )  # fmt: skip
    app.state.studio = studio
    app.state.jobs = Jobs()
    app.state.room = Room()
    app.state.searches = Searches()
    return app


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
    text = (files("tintladder.database.page") / name).read_text(encoding="utf-8")
    return PlainTextResponse(text, media_type=_STATIC[name])


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
