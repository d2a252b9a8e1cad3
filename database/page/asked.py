"""What a view is given, and what it answers with."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property, wraps
from importlib.resources import files
from typing import Any
from urllib.parse import quote, urlencode

from jinja2 import Environment, FunctionLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from ...calibrate.errors import InputError
from ...calibrate.optics.colour import in_words, surely_in_words
from ..common.stopping import Stopped, stoppable
from ..common.words import few
from ..easel.basis import names_of
from ..easel.looks import PaintLook, looks_key, paint_looks
from ..fits.learning import taught_before
from ..fits.out_of_date import outdated_paints
from ..pictures.swatch import swatch
from ..store.schema import Change
from ..store.store import Store
from ..store.studio import Studio
from .glance import glance
from .jobs import Jobs, Work
from .pairing import Phone
from .remedies import on_page
from .remembered import Remembered

_FIELDS = 2000


class Changed(InputError):
    """Something that another window changed since this one showed it."""

    def __init__(self, what: str) -> None:
        super().__init__(
            None, None, f"{what} was changed elsewhere since this page was opened",
            "nothing of yours was kept; load the page again to see how it stands, then repeat it",
        )  # fmt: skip


def shown(said: Any) -> str:
    """Return what a form carries of what it showed, to tell whether another window changed it."""
    return hashlib.sha256(json.dumps(said, sort_keys=True, default=str).encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Paints:
    """What every view says of paints."""

    names: Mapping[str, str] = field(default_factory=dict)
    looks: Mapping[str, PaintLook] = field(default_factory=dict)
    out_of_date: Mapping[str, str] = field(default_factory=dict)
    taught: bool = False


class Asked:
    """One request, with its form read.

    Attributes
    ----------
    request : Request
    form : FormData
    """

    def __init__(self, request: Request, form: FormData) -> None:
        self.request = request
        self.form = form

    @property
    def studio(self) -> Studio:
        """The studio that is served."""
        found: Studio = self.request.app.state.studio
        return found

    @property
    def jobs(self) -> Jobs:
        """The server's jobs."""
        found: Jobs = self.request.app.state.jobs
        return found

    @property
    def phone(self) -> Phone | None:
        """The phone that asks; None where this machine's own browser does."""
        found: Phone | None = getattr(self.request.state, "phone", None)
        return found

    def store(self, create: bool = False) -> Store:
        """Open the studio's database, for this request alone."""
        return Store.open(self.studio, create)

    @cached_property
    def _paints(self) -> Paints:
        """What every view says of paints; looks are remembered until a fit or the light changes."""
        if not self.begun:
            return Paints()
        with self.store() as store, store.snapshot():
            looks: Remembered = self.request.app.state.looks
            old = outdated_paints(store)
            return Paints(
                names_of(store), looks.of(looks_key(store), lambda: paint_looks(store)), old,
                bool(old and taught_before(store)),
            )  # fmt: skip

    @cached_property
    def changed(self) -> Change | None:
        """The change that was just made, so that it can be taken back where it shows."""
        number = self.text("changed")
        if not (number.isascii() and number.isdigit() and self.begun):
            return None
        with self.store() as store:
            return next((row for row in store.changes.recent() if row.id == int(number)), None)

    @property
    def looks(self) -> Mapping[str, PaintLook]:
        """How every fitted paint looks, by nickname."""
        return self._paints.looks

    @property
    def names(self) -> Mapping[str, str]:
        """Name of every paint, by nickname."""
        return self._paints.names

    @property
    def out_of_date(self) -> Mapping[str, str]:
        """Why each fit in use no longer holds, by nickname; those that hold aside."""
        return self._paints.out_of_date

    @property
    def out_of_date_said(self) -> Mapping[str, list[str]]:
        """Names of the paints whose fits no longer hold, by why."""
        found: dict[str, list[str]] = {}
        for paint, why in self.out_of_date.items():
            found.setdefault(why, []).append(self.names.get(paint, paint))
        return found

    @property
    def taught(self) -> bool:
        """Whether those fits learnt from cards of mixtures."""
        return self._paints.taught

    @property
    def begun(self) -> bool:
        """Whether the studio is there; the first tube makes it."""
        database = self.studio.database
        return database is None or database.exists()

    def path(self, name: str) -> str:
        """Return a part of the path."""
        return str(self.request.path_params[name])

    def text(self, name: str) -> str:
        """Return what was typed into a field, or the query says; empty where there is none."""
        found = self.form.get(name, self.request.query_params.get(name, ""))
        return found.strip() if isinstance(found, str) else ""

    def texts(self, name: str) -> list[str]:
        """Return every value of a field, or of the query."""
        found = self.form.getlist(name) or self.request.query_params.getlist(name)
        return [value.strip() for value in found if isinstance(value, str) and value.strip()]

    def number(self, name: str, default: int, low: int, high: int) -> int:
        """Return the whole number in a field.

        Raises
        ------
        InputError
            For any other text, and for one out of bounds.
        """
        text = self.text(name) or str(default)
        if not re.fullmatch(r"\d{1,6}", text) or not low <= int(text) <= high:
            raise InputError(name, text, f"expected {low} to {high}", "choose one of these")
        return int(text)

    def one_of(self, name: str, known: Sequence[str]) -> str:
        """Return what was chosen of what a field offers; empty where nothing was.

        Raises
        ------
        InputError
            For anything else.
        """
        text = self.text(name)
        if text and text not in known:
            raise InputError(name, text, f"expected {' or '.join(known)}", "choose one of these")
        return text

    def still(self, said: Any, what: str) -> None:
        """Refuse a form that showed something else than there is now.

        Raises
        ------
        Changed
            Naming what it showed.
        """
        if self.text("seen") != shown(said):
            raise Changed(what)

    def once(self, store: Store, do: Callable[[], str]) -> Response:
        """Carry a form out, unless that was done when it was sent before.

        Parameters
        ----------
        store : Store
            Within a transaction, so that neither happens without the other.
        do : callable
            Does it, and returns the path to go on to.
        """
        name = self.text("once")
        if name and not re.fullmatch(r"[0-9a-f]{32}", name):
            raise InputError("once", name, "expected 32 hexadecimal digits", "load the page again")
        path = store.sent.of(name) if name else None
        if path is None:
            path = do()
            if name:
                store.sent.keep(name, path)
        return go(path)

    def uploads(self, name: str) -> list[UploadFile]:
        """Return the files of a field."""
        return [f for f in self.form.getlist(name) if isinstance(f, UploadFile) and f.filename]

    def show(self, template: str, status: int = 200, **said: Any) -> Response:
        """Answer with a page."""
        page = _environment().get_template(template)
        made = page.render(
            studio=self.studio.folder.name, here=self.request.url.path, asked=self, **said
        )
        return HTMLResponse(made, status)

    def job(self, title: str, back: str, work: Work) -> Response:
        """Begin some work and answer with the page that watches it."""
        return go(self.jobs.start(title, back, work))

    @property
    def search(self) -> str:
        """What the page's script calls a search that it may have stopped."""
        return str(self.request.headers.get("x-search", ""))

    @property
    def by_script(self) -> bool:
        """Whether the page's script asks, and wants a line of JSON where something is wrong."""
        return self.request.headers.get("accept") == "application/json"

    def wrong(self, status: int, line: str) -> Response:
        """Answer with one line that says what is wrong."""
        if self.by_script:
            return JSONResponse({"line": line}, status)
        return self.show("wrong.html", status, line=line)


View = Callable[[Asked], Response]


def view(work: View) -> Callable[[Request], Awaitable[Response]]:
    """Make an endpoint of a view: read the form, work in a thread, turn bad input into a line.

    Where there is no studio yet every page leads to the first; looking makes none.
    """

    @wraps(work)
    async def endpoint(request: Request) -> Response:
        form = FormData()
        if request.method == "POST":
            form = await request.form(max_files=100, max_fields=_FIELDS)
        try:
            asked = Asked(request, form)
            if request.method != "POST" and not (asked.begun or _always(request.url.path)):
                return go("/")
            try:
                with stoppable(lambda: asked.search in request.app.state.stopped):
                    answer = await run_in_threadpool(work, asked)
            except Stopped:
                return asked.wrong(409, "the search was stopped; nothing was kept")
            except InputError as error:
                status = 409 if isinstance(error, Changed) else 400
                return asked.wrong(status, on_page(error))
            if asked.by_script and isinstance(answer, RedirectResponse):
                # A script isn't told the part behind #, were it sent there itself.
                return JSONResponse({"path": answer.headers["location"]})
            return answer
        finally:
            await form.close()

    return endpoint


def _always(path: str) -> bool:
    """Whether a page is there before the studio is; a job may be making it just now."""
    return path in ("/", "/alive", "/adopt", "/phones") or path.startswith(("/jobs/", "/manual"))


def go(path: str, query: Mapping[str, Any] | None = None, at: str = "") -> Response:
    """Answer with another page to go to."""
    asked = f"?{urlencode(query, doseq=True)}" if query else ""
    return RedirectResponse(path + asked + (f"#{at}" if at else ""), 303)


def _text(name: str) -> str:
    return (files("tintladder.database.page") / "templates" / name).read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FunctionLoader(_text), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, auto_reload=False,
    )  # fmt: skip
    made.globals["few"] = few
    made.filters |= {
        "in_words": in_words, "surely_in_words": surely_in_words,
        "path": lambda text: quote(str(text), safe=""),
        "on_page": on_page, "swatch": swatch, "glance": glance,
    }  # fmt: skip
    return made
