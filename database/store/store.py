"""The studio store: everything a studio keeps, behind one door."""

from __future__ import annotations

from .fits import FitStore


class Store(FitStore):
    """A studio's paints, lots, cards, readings, fits and releases.

    Opened by `Store.open`, best in a ``with``. Several additions are kept together, or not at all,
    within ``with store.transaction():``.
    """
