"""What the mixing worksheet is aimed at, and the searches that it remembers."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from concurrent.futures import Future
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any, Protocol, TypeVar
from urllib.parse import urlencode

from ...calibrate.errors import InputError
from ..common.stopping import Stopped, go_on
from ..easel.asked_colour import is_there, kept_target, parse_target
from ..easel.habits import Habits, habits, weighing
from ..easel.photographed import open_photo
from ..easel.recipe import kept_named
from ..mixing.photo import Photo, parse_spot, shrunk, spot
from ..mixing.target import Target
from ..store.store import Store
from .asked import Asked
from .uploads import TEXTS, kept

SCALES = (0.01, 0.1)
"""Steps of a scale to choose from, g."""
SHOWN = 640
"""px of the longer side of a photograph on the page."""
_KEPT = 12
Found = TypeVar("Found", covariant=True)


class Question(Protocol[Found]):
    """What can be asked, and is known again by its key."""

    @property
    def key(self) -> object:
        """By which two questions are told apart."""

    def answer(self) -> Found:
        """Search."""


class Searches:
    """The last searches: the same question over the same fits has the same answer."""

    def __init__(self) -> None:
        self._found: OrderedDict[object, Future[Any]] = OrderedDict()
        self._lock = Lock()

    def answer(self, question: Question[Found]) -> Found:
        """Search, or remember.

        Raises
        ------
        InputError
            As the question's own `answer`.
        Stopped
            Where whoever asks tells it to.
        """
        while True:
            try:
                return self._answer(question)
            except Stopped:
                # Another window stopped the search that this one waited for: it is begun again.
                go_on()

    def _answer(self, question: Question[Found]) -> Found:
        key = question.key
        with self._lock:
            there = self._found.get(key)
            future: Future[Found] = there or Future()
            self._found[key] = future
            self._found.move_to_end(key)
            while len(self._found) > _KEPT:
                self._found.popitem(last=False)
        # The lock isn't held meanwhile; whoever asks the same waits for this one search.
        if there is None:
            try:
                future.set_result(question.answer())
            except BaseException as error:
                with self._lock:
                    self._found.pop(key, None)
                future.set_exception(error)
        return future.result()


def aim(store: Store, text: str) -> Target:
    """Return the target that a field says.

    Raises
    ------
    InputError
        As `parse_target`; a file is never opened from here.
    """
    name = text.partition("::")[0]
    if Path(name).suffix.lower() in TEXTS or is_there(name):
        raise InputError(
            "target", text, "is a file", "drop it under Cards, then name it as CARD/STEP"
        )
    return parse_target(text, store)


NEUTRALS = ("grey", "white", "black")
"""What a photograph may be evened by: each a field that holds a spot."""


def photo_of(path: Path, neutral: Mapping[str, str] = {}) -> Photo:
    """Open a photograph, evened by spots of it (``X,Y``), else by a printed card in it.

    Raises
    ------
    InputError
        Where it is no picture, or a spot lies outside.
    """
    spots = tuple((name, neutral[name]) for name in NEUTRALS if neutral.get(name))
    return _photo(path, path.stat().st_mtime_ns, spots)


@lru_cache(maxsize=4)
def _photo(path: Path, changed: int, spots: tuple[tuple[str, str], ...]) -> Photo:
    return open_photo(path, **dict(spots))


def shown_size(photo: Photo) -> tuple[int, int]:
    """Width and height of a photograph on the page, px."""
    high, wide = shrunk(photo, SHOWN).shape[:2]
    return wide, high


def aim_in_photo(store: Store, path: Path, at: str, neutral: Mapping[str, str]) -> Target:
    """Return the spot of a photograph as a target, evened as for `photo_of`.

    Raises
    ------
    InputError
        Where the spot lies outside.
    """
    return habits(store).meant(spot(photo_of(path, neutral), parse_spot(at, "at")))


def shown_spot(asked: Asked, store: Store) -> Target:
    """Return what was touched in the photograph that is shown, as a target.

    Raises
    ------
    InputError
        As `aim_in_photo`.
    """
    neutral = {name: asked.text(name) for name in NEUTRALS if asked.text(name)}
    (path,) = kept(asked.studio, [asked.text("photo")])
    return aim_in_photo(store, path, asked.text("at"), neutral)


KEYS = (
    "target", "again", "photo", "at", *NEUTRALS, "finish", "film", "over", "medium", "tubes", "way",
    "make", "coats", "scale", "mixing", "look",
)  # fmt: skip
LISTS = ("lay", "must")
"""What a worksheet's address holds: one of each of the former, any number of the latter."""


def chosen_of(asked: Asked) -> dict[str, Any]:
    """Everything chosen so far, as an address holds it."""
    found: dict[str, Any] = {key: asked.text(key) for key in KEYS}
    found |= {key: asked.texts(key) for key in LISTS}
    return {key: value for key, value in found.items() if value}


def address(chosen: dict[str, Any], at: str = "", **changed: Any) -> str:
    """The worksheet's address with something else chosen; None leaves a choice out."""
    held = {key: value for key, value in (chosen | changed).items() if value is not None}
    return f"/mix?{urlencode(held, doseq=True)}" + (f"#{at}" if at else "")


def searches_of(asked: Asked) -> Searches:
    """The searches that the page remembers."""
    found: Searches = asked.request.app.state.searches
    return found


def typed_mix(parts: Mapping[str, float]) -> str:
    """A mix by weight as it can be typed: ``ANCHOR=0.2,HULL=0.8``."""
    return ",".join(f"{paint}={share:.6g}" for paint, share in parts.items())


def target_of(asked: Asked, store: Store) -> Target | None:
    """What is aimed at: a kept recipe, what was typed, else a spot of the photograph."""
    text, photo, at = asked.text("target"), asked.text("photo"), asked.text("at")
    if asked.text("again"):
        return kept_target(kept_named(store, asked.text("again")))
    if text:
        return aim(store, text)
    neutral = {name: asked.text(name) for name in NEUTRALS if asked.text(name)}
    if photo and (at or neutral):
        path = kept(asked.studio, [photo])[0]
        if at:
            return aim_in_photo(store, path, at, neutral)
        photo_of(path, neutral)  # refuses a spot that lies outside
    return None


def habits_of(asked: Asked, store: Store) -> Habits:
    """How the painter works, with the scale that is chosen here, if one is."""
    found, shown = weighing(store), asked.text("scale")
    if not shown:
        return found
    known = {*SCALES, found.scale or SCALES[0]}
    step = next((each for each in known if str(each) == shown), None)
    if step is None:
        raise InputError("scale", shown, "expected one of those listed", "choose one")
    return replace(found, scale=step)
