"""What a detector adds, multiplies and bends, undone by the trap, the white tile and greys.

Model of the errors: Berns and Petersen 1988 (Color Research and Application 13, 243-256; the form
is from memory): a reading is off by an offset, a factor, and a bend that is nought at black and at
white. The procedure is ASTM E1164's: zero on a trap, full scale on a tile of known reflectance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
        Standard uncertainty, from how the greys scatter about it.
    before, after : float
        RMS difference of the greys from their certificate.
    """

    c: float
    uncertainty: float
    before: float
    after: float


@dataclass(frozen=True)
class Visits:
    """Visits to a tile, each the mean of readings with no patch read between them.

    Attributes
    ----------
    at : (V,) array, increasing
    values : (V, W) array
    calibrated : (V,) bool array
        Whether the instrument was calibrated just before: a visit of its own, for the readings
        before it go by another scale.
    """

    at: Array
    values: Array
    calibrated: NDArray[np.bool_]

    @property
    def level(self) -> Array:
        """What the tile reads by the scale that readings go by, (W,)."""
        of = self.calibrated if self.calibrated.any() else np.ones_like(self.calibrated)
        mean: Array = self.values[of].mean(axis=0)
        return mean


def visits(readings: Sequence[TileReading], between: Array) -> Visits:
    """Gather the visits to a tile; one that no patch comes before or after is left out.

    Such a one was read before the instrument was first calibrated, and nothing goes by it.

    Parameters
    ----------
    readings : sequence of T TileReading
    between : (N,) array
        When patches were read, on the same clock.

    Returns
    -------
    Visits
    """
    order = np.argsort([reading.at for reading in readings], kind="stable")
    at = np.array([readings[i].at for i in order])
    values = np.array([readings[i].values for i in order])
    anew = np.array([readings[i].calibrated for i in order])
    gap = np.searchsorted(np.sort(between), at)
    # Readings after one and the same reading of a patch belong together.
    starts = np.flatnonzero((np.diff(gap, prepend=-1) != 0) | anew)
    count = np.diff(starts, append=at.size)
    passed = gap[starts]
    used = (np.diff(passed, prepend=0) > 0) | (np.diff(passed, append=between.size) > 0)
    if not used.any():
        used[:] = True
    return Visits(
        (np.add.reduceat(at, starts) / count)[used],
        (np.add.reduceat(values, starts, axis=0) / count[:, None])[used],
        anew[starts][used],
    )


def gain(white: Visits, wanted: Array) -> Array:
    """Gain at the wanted moments over that of `white.level`, (N, W), linear between visits.

    Before the first visit and after the last it is theirs: nothing is extrapolated.

    Parameters
    ----------
    white : Visits
        To the white tile, zero taken off; two at least.
    wanted : (N,) array

    Returns
    -------
    (N, W) array
    """
    at = white.at
    later = np.clip(np.searchsorted(at, wanted), 1, at.size - 1)
    share = np.clip((wanted - at[later - 1]) / (at[later] - at[later - 1]), 0, 1)[:, None]
    found: Array = white.values[later - 1] * (1 - share) + white.values[later] * share
    return np.asarray(found / white.level)


def find_bend(read: Array, certified: Array, white: Array) -> Bend:
    """Find the one bend that brings greys nearest to their certificates, by least squares.

    One value serves all wavelengths, for it is the detector's.

    Parameters
    ----------
    read, certified : (T, W) arrays
        Of the greys; NaN where not certified.
    white : (W,) array
        Certified reflectance of the white tile.

    Returns
    -------
    Bend
    """
    known = ~np.isnan(read + certified)
    lever = np.where(known, read * (white - read), 0.0)
    off = np.where(known, certified - read, 0.0)
    weight, alone = (lever**2).sum(axis=1), (lever * off).sum(axis=1)
    c = float(alone.sum() / weight.sum())
    rest = (off - c * lever)[known]
    spread = rest @ rest / max(rest.size - 1, 1) / weight.sum()
    if len(read) > 1:
        # A tile laid down askew is off at all wavelengths at once: tiles count, not wavelengths.
        between = (weight * (alone / weight - c) ** 2).sum() / (len(read) - 1) / weight.sum()
        spread = max(spread, between)
    return Bend(
        c,
        float(np.sqrt(spread)),
        float(np.sqrt(np.mean(off[known] ** 2))),
        float(np.sqrt(np.mean(rest**2))),
    )


def unbend(values: Array, bend: Bend, white: Array) -> Array:
    """Undo a bend, (N, W).

    Parameters
    ----------
    values : (N, W) array
        Reflectance as read.
    bend : Bend
    white : (W,) array
        Reading of the white.

    Returns
    -------
    (N, W) array
    """
    undone: Array = values + bend.c * values * (white - values)
    return undone
