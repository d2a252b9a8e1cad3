"""Which readings of tiles count, and at which moments they tell the gain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from ..tiles import TileReading


@dataclass(frozen=True)
class Visits:
    """Moments of a sitting at which tiles were read.

    Attributes
    ----------
    used : (U,) int array
        Readings of tiles that count. One that an instrument made before it was first calibrated
        doesn't: no reading of a patch goes by it.
    node : (U,) int array
        The moment of each.
    at : (V,) array
        Times of the moments, increasing within a piece.
    piece : (V,) int array
        Between two calibrations the gain moves steadily; each such time is a piece.
    anew : (V,) bool array
        Whether the instrument was calibrated just before.
    calibrated_at : array
        Times of the calibrations.
    """

    used: NDArray[np.intp]
    node: NDArray[np.intp]
    at: Array
    piece: NDArray[np.intp]
    anew: NDArray[np.bool_]
    calibrated_at: Array

    def shares(self, at: Array) -> Array:
        """Share of each moment in the gain at times, (N, V): linear between two, held beyond."""
        found = np.zeros((at.size, self.at.size))
        of_piece = self._piece_of(at)
        for piece in np.unique(of_piece):
            nodes, rows = np.flatnonzero(self.piece == piece), np.flatnonzero(of_piece == piece)
            for node, unit in zip(nodes, np.eye(nodes.size), strict=True):
                found[rows, node] = np.interp(at[rows], self.at[nodes], unit)
        return found

    def between(self, at: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """The moments before and after times, (N,) each; the same where there is but one."""
        before, after = np.zeros(at.size, int), np.zeros(at.size, int)
        of_piece = self._piece_of(at)
        for i, moment in enumerate(at):
            nodes = np.flatnonzero(self.piece == of_piece[i])
            n = int(np.searchsorted(self.at[nodes], moment))
            before[i], after[i] = nodes[max(n - 1, 0)], nodes[min(n, nodes.size - 1)]
        return before, after

    def _piece_of(self, at: Array) -> NDArray[np.intp]:
        """The piece of each time; of one in which no tile was read, the nearest that has any."""
        piece = np.searchsorted(self.calibrated_at, at, side="right")
        there = np.unique(self.piece)
        nearest: NDArray[np.intp] = there[np.abs(piece[:, None] - there).argmin(axis=1)]
        return nearest


def visits(readings: Sequence[TileReading], patches_at: Array) -> Visits:
    """Gather readings of tiles into moments: with no patch read in between, they are one.

    Parameters
    ----------
    readings : sequence of TileReading
        One at least.
    patches_at : (N,) array
        When patches were read, on the same clock.

    Returns
    -------
    Visits
    """
    at = np.array([reading.at for reading in readings])
    anew = np.array([reading.calibrated for reading in readings])
    white = np.array([reading.kind == "white" for reading in readings])
    trap = np.array([reading.kind == "trap" for reading in readings])
    calibrated_at = np.unique(at[white & anew])
    piece = np.searchsorted(calibrated_at, at, side="right")
    counts = _followed(piece, np.searchsorted(calibrated_at, patches_at, side="right"))
    zeroed_at = np.unique(at[trap & anew])
    zero = np.searchsorted(zeroed_at, at, side="right")
    counts &= ~trap | _followed(zero, np.searchsorted(zeroed_at, patches_at, side="right"))
    for kind in (white, trap, ~white & ~trap):
        if not (counts & kind).any():
            counts |= kind
    used = np.flatnonzero(counts)
    used = used[np.lexsort((at[used], piece[used]))]
    # What a trap reads doesn't tell the gain.
    telling = used[~trap[used]] if not trap[used].all() else used
    gap = np.searchsorted(np.sort(patches_at), at[telling])
    of = np.cumsum((np.diff(gap, prepend=-1) != 0) | (np.diff(piece[telling], prepend=-1) != 0)) - 1
    when = np.bincount(of, at[telling]) / np.bincount(of)
    node = np.abs(at[used][:, None] - when).argmin(axis=1)
    node[np.isin(used, telling)] = of
    return Visits(
        used,
        node,
        when,
        piece[telling][np.unique(of, return_index=True)[1]],
        np.bincount(of, anew[telling]) > 0,
        calibrated_at,
    )


def _followed(piece: NDArray[np.intp], patches: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether patches were read in the same piece."""
    found: NDArray[np.bool_] = (
        np.isin(piece, patches) if patches.size else np.ones(len(piece), bool)
    )
    return found
