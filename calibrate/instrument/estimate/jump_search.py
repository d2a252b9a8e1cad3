"""Which patches to read again so that a jump of the gain is placed, and told from a slow drift."""

from __future__ import annotations

import numpy as np

from ...optics.spectra import Array

_WORTH = 0.002
"""Relative change of a gain from which it is worth a further reading."""
_MOST = 6
"""Patches read again at most: they place a jump among 64."""


def change(before: Array, now: Array) -> float:
    """Log of the gain between two readings of the same, (W,) each; 0 where they don't tell."""
    read = ~np.isnan(before) & ~np.isnan(now)
    level = float(before[read] @ before[read])
    times = float(before[read] @ now[read]) / level if level > 0 else 1.0
    return float(np.log(times)) if times > 0 else 0.0


class JumpSearch:
    """Halves the patches between two readings of a tile, always where the gain moved more.

    A drift leaves little in each part after few readings, a jump leaves all of it in one.

    Parameters
    ----------
    first, last : float
        Log of the gain now, over that when the tile was read before the patches, and after.
    count : int
        Patches read in between.
    """

    def __init__(self, first: float, last: float, count: int) -> None:
        self._since = first, last
        self._between = -1, count
        self._tries = 0

    @property
    def patch(self) -> int | None:
        """The place of the patch to read again, in the order of reading; None once it is enough."""
        (first, last), (low, high) = self._since, self._between
        enough = abs(first - last) < _WORTH or self._tries >= _MOST or high - low < 2
        return None if enough else (low + high) // 2

    def told(self, since: float) -> None:
        """Take in the log of the gain now over that when this patch was read first."""
        (first, last), (low, high) = self._since, self._between
        middle, self._tries = (low + high) // 2, self._tries + 1
        if abs(since - last) >= abs(first - since):
            self._since, self._between = (since, last), (middle, high)
        else:
            self._since, self._between = (first, since), (low, middle)
