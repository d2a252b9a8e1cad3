"""What the page made last, by what it shows: made again only where that changed."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock
from typing import Any


class Remembered:
    """The last things made, each by a key.

    Parameters
    ----------
    most : int
        That are remembered.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._made: OrderedDict[object, Any] = OrderedDict()
        self._lock = Lock()

    def of(self, key: object, make: Callable[[], Any]) -> Any:
        """Return what was made by this key, else make it."""
        with self._lock:
            if key in self._made:
                self._made.move_to_end(key)
                return self._made[key]
        made = make()
        with self._lock:
            self._made[key] = made
            while len(self._made) > self._most:
                self._made.popitem(last=False)
        return made
