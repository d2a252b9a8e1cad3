"""What goes wrong between host and instrument; each can be tried again."""

from __future__ import annotations

from typing import Literal


class Fault(Exception):
    """A fault on the line or in the instrument; its text says what happened."""


class Silent(Fault):
    """Nothing came back in time."""


class Garbled(Fault):
    """A reply that isn't one, with what was expected of it."""


class Busy(Fault):
    """The instrument asks for patience."""


class Lost(Fault):
    """The port is gone: unplugged, or switched off."""


class Refused(Fault):
    """The instrument says that it can't.

    Attributes
    ----------
    due : {"white", "black"} or None
        What it wants read first.
    """

    def __init__(self, words: str, due: Literal["white", "black"] | None = None) -> None:
        super().__init__(words)
        self.due = due
