"""What a detector adds, multiplies and bends, undone by the trap, the white tile and greys.

Model of the errors: Berns and Petersen 1988 (Color Research and Application 13, 243-256; the form
is from memory): a reading is off by an offset, a factor, and a bend that is nought at black and at
white. The procedure is ASTM E1164's: zero on a trap, full scale on a tile of known reflectance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..optics.spectra import Array
from .tiles import TileReading


@dataclass(frozen=True)
class Bend:
    """How far a photometric scale is bent, between black and the white tile.

    Attributes
    ----------
    c : float
        A value m becomes m + c m (w - m), w being the white tile's reflectance.
    uncertainty : float
        Standard uncertainty, from how the greys scatter.
    before, after : float
        RMS difference of the greys from their certificate.
    """

    c: float
    uncertainty: float
    before: float
    after: float


def visits(readings: Sequence[TileReading], between: Array) -> tuple[Array, Array]:
    """Mean of each visit to a tile: readings of it with no other reading between them.

    Parameters
    ----------
    readings : sequence of T TileReading
    between : (N,) array
        When everything else was read, on the same clock.

    Returns
    -------
    at : (V,) array
    values : (V, W) array
    """
    at = np.array([reading.at for reading in readings])
    order = np.argsort(at, kind="stable")
    values = np.array([readings[i].values for i in order])
    visit = np.searchsorted(np.sort(between), at[order])
    starts = np.flatnonzero(np.diff(visit, prepend=-1))
    count = np.diff(starts, append=at.size)
    mean_at: Array = np.add.reduceat(at[order], starts) / count
    mean: Array = np.add.reduceat(values, starts, axis=0) / count[:, None]
    return mean_at, mean


def gain(at: Array, values: Array, wanted: Array) -> Array:
    """Gain at the wanted moments over the mean gain, (N, W), linear between visits to the white.

    Before the first visit and after the last it is theirs: nothing is extrapolated.

    Parameters
    ----------
    at : (V,) array, increasing, V at least 2
    values : (V, W) array
        The white tile, zero taken off.
    wanted : (N,) array
    """
    later = np.clip(np.searchsorted(at, wanted), 1, at.size - 1)
    share = np.clip((wanted - at[later - 1]) / (at[later] - at[later - 1]), 0, 1)[:, None]
    found: Array = (values[later - 1] * (1 - share) + values[later] * share) / values.mean(axis=0)
    return found


def find_bend(read: Array, certified: Array, white: Array) -> Bend:
    """Find the one bend that brings greys nearest to their certificates, by least squares.

    One value serves all wavelengths, for it is the detector's.

    Parameters
    ----------
    read, certified : (T, W) arrays
        Of the greys; NaN where not certified.
    white : (W,) array
        Certified reflectance of the white tile.
    """
    known = ~np.isnan(read + certified)
    lever = (read * (white - read))[known]
    off = (certified - read)[known]
    c = float(lever @ off / (lever @ lever))
    rest = off - c * lever
    spread = rest @ rest / max(rest.size - 1, 1)
    return Bend(
        c,
        float(np.sqrt(spread / (lever @ lever))),
        float(np.sqrt(np.mean(off**2))),
        float(np.sqrt(np.mean(rest**2))),
    )


def unbend(values: Array, bend: Bend, white: Array) -> Array:
    """Undo a bend, (N, W)."""
    undone: Array = values + bend.c * values * (white - values)
    return undone
