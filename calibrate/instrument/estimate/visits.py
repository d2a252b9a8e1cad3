"""Which readings of tiles count, and at which moments they tell the gain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from ..tiles import TileReading

_LONG = 8
"""Readings of tiles in one visit from which the gain may have moved meanwhile."""


@dataclass(frozen=True)
class Visits:
    """Moments of a sitting at which tiles were read.

    Attributes
    ----------
    used : (U,) int array
        Readings of tiles that count. One that an instrument made before it was first calibrated
        doesn't: no reading of a patch goes by it.
    share : (U, V) array
        Of each moment in the gain of each.
    at : (V,) array
        Times of the moments, increasing within a piece.
    piece : (V,) int array
        Between two calibrations the gain moves steadily; each such time is a piece.
    anew : (V,) bool array
        Whether the instrument was calibrated just before.
    joined : (V,) bool array
        Whether a moment is the end of the visit that the one before began.
    calibrated_at : array
        Times of the calibrations.
    """

    used: NDArray[np.intp]
    share: Array
    at: Array
    piece: NDArray[np.intp]
    anew: NDArray[np.bool_]
    joined: NDArray[np.bool_]
    calibrated_at: Array

    def shares(self, at: Array) -> Array:
        """Share of each moment in the gain at times, (N, V): linear between two, held beyond."""
        found = np.zeros((at.size, self.at.size))
        of_piece = self.piece_of(at)
        for piece in np.unique(of_piece):
            nodes, rows = np.flatnonzero(self.piece == piece), np.flatnonzero(of_piece == piece)
            for node, unit in zip(nodes, np.eye(nodes.size), strict=True):
                found[rows, node] = np.interp(at[rows], self.at[nodes], unit)
        return found

    def piece_of(self, at: Array) -> NDArray[np.intp]:
        """Return the piece of each time; of one without a tile, the nearest that has any."""
        piece = np.searchsorted(self.calibrated_at, at, side="right")
        there = np.unique(self.piece)
        nearest: NDArray[np.intp] = there[np.abs(piece[:, None] - there).argmin(axis=1)]
        return nearest


def visits(readings: Sequence[TileReading], patches_at: Array) -> Visits:
    """Gather readings of tiles into moments.

    With no patch read in between they are one, or its beginning and its end where so many tiles
    were read that the gain may have moved meanwhile.

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
    middle = np.bincount(of, at[telling]) / np.bincount(of)
    visit = np.abs(at[used][:, None] - middle).argmin(axis=1)
    visit[np.isin(used, telling)] = of
    share, when, of_piece, fresh, joined = np.zeros((used.size, 0)), [], [], [], []
    for v in range(of[-1] + 1):
        mine = at[telling[of == v]]
        ends = [mine.min(), mine.max()] if mine.size >= _LONG and of[-1] else [mine.mean()]
        inside = visit == v
        for i in range(len(ends)):
            part = np.interp(at[used], ends, np.eye(len(ends))[i])
            share = np.column_stack([share, np.where(inside, part, 0.0)])
        when += ends
        of_piece += [piece[telling[of == v][0]]] * len(ends)
        joined += [False, True][: len(ends)]
        fresh += [bool(anew[telling[of == v]].any()), False][: len(ends)]
    return Visits(
        used,
        share,
        np.array(when),
        np.array(of_piece),
        np.array(fresh),
        np.array(joined),
        calibrated_at,
    )


def _followed(piece: NDArray[np.intp], patches: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether patches were read in the same piece."""
    found: NDArray[np.bool_] = (
        np.isin(piece, patches) if patches.size else np.ones(len(piece), bool)
    )
    return found
