"""What the mixing worksheet is aimed at, and the searches that it remembers."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from concurrent.futures import Future
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any, Protocol, TypeVar

from ...calibrate.errors import InputError
from ..easel.asked_colour import is_there, parse_target
from ..easel.setting_out import open_photo
from ..mixing.photo import Photo, parse_spot, shrunk, spot
from ..mixing.target import Target
from ..store.store import Store
from .uploads import TEXTS

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
        """
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


def aim_in_photo(path: Path, at: str, neutral: Mapping[str, str]) -> Target:
    """Return the spot of a photograph as a target, evened as for `photo_of`.

    Raises
    ------
    InputError
        Where the spot lies outside.
    """
    return spot(photo_of(path, neutral), parse_spot(at, "at"))
