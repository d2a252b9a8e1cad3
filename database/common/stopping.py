"""A long calculation that can be told to stop, from wherever it was begun."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_TOLD: ContextVar[Callable[[], bool] | None] = ContextVar("told", default=None)


class Stopped(Exception):
    """It was told to stop; nothing was half-written."""


@contextmanager
def stoppable(told: Callable[[], bool]) -> Iterator[None]:
    """Have what is calculated meanwhile, in this thread, stop once `told` says so."""
    before = _TOLD.set(told)
    try:
        yield
    finally:
        _TOLD.reset(before)


def go_on() -> None:
    """Stop here, if that was told; called now and then by what takes long.

    Raises
    ------
    Stopped
    """
    told = _TOLD.get()
    if told is not None and told():
        raise Stopped
