"""Where the pieces of a fit that don't hang on each other are worked out: here, or by workers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Protocol, TypeVar

Shared = TypeVar("Shared")
Item = TypeVar("Item")
Piece = TypeVar("Piece")


class Workers(Protocol):
    """What works pieces out elsewhere."""

    def each(self, work: Callable[[Any, Any], Any], shared: Any, items: Sequence[Any]) -> list[Any]:
        """Return ``work(shared, item)`` of every item, in their order."""


_workers: ContextVar[Workers | None] = ContextVar("workers", default=None)


@contextmanager
def spread_over(workers: Workers) -> Iterator[None]:
    """Have the pieces of every fit within the ``with`` worked out by workers."""
    before = _workers.set(workers)
    try:
        yield
    finally:
        _workers.reset(before)


def each(
    work: Callable[[Shared, Item], Piece], shared: Shared, items: Sequence[Item]
) -> list[Piece]:
    """Work out pieces, here or by the workers that there are.

    Parameters
    ----------
    work : callable
        Of a module, by its name; called with what the pieces share, and an item.
    shared : object
        What all pieces need. It is sent to each worker once.
    items : sequence

    Returns
    -------
    list
        What became of every item, in their order: the same, to the last bit, wherever it was worked
        out.
    """
    workers = _workers.get()
    if workers is None or len(items) < 2:
        return [work(shared, item) for item in items]
    return workers.each(work, shared, items)
