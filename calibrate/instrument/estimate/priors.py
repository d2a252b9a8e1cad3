"""What is known of an instrument and of tiles before they are read.

Widths are those of handheld instruments and of glazed tiles (common practice, no source). A fault
is either not there, or of about a width: the readings decide, by how likely each makes them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from .model import Model

ODDS = float(np.log(0.05))
"""Log of the odds that a fault is there, before any tile is read."""
OFF_ODDS, OFF = float(np.log(0.001)), 0.05
"""The same that a tile is dirty, chipped or another one; and by how much it then reads
otherwise."""
CERTIFICATE = 0.0035
"""Standard uncertainty of a certificate's level, relative, where it states none."""
_LEVEL = float(np.sqrt(0.5))
"""Of that, how far the level is off; as far may the shape over wavelength be."""
_IN_COMMON = 0.5
"""Share of its variance that certificates of one laboratory have in common."""
DARK = 0.0002
"""Reflectance that a tile's, or a trap's, certificate may be off by whatever the level."""
LAID = 0.0005
"""Relative change of a reading when the instrument is lifted and set down again."""
_LIT = 0.2
"""Twice the reflectance from which a tile tells how an instrument is laid."""
THERMOCHROMIC, THERMOCHROMIC_ELSE = 0.1, 0.04
"""nm a degree by which the rising edge of a red, orange or yellow tile moves, and any other
edge."""
UNKNOWN_WARMTH = 2.5
"""Degrees by which a tile may differ from its certificate where nobody noted it."""
_TOGETHER = 0.8
"""Share of a tile's warmth that is the room's."""
_BAND = 0.05
"""Relative uncertainty of a declared band."""
WIDTHS: Mapping[str, tuple[float, ...]] = {
    "zero_level": (0.0, 0.02),
    "zero_smooth": (0.0, 0.0003, 0.002),
    "zero_fine": (0.0, 0.0002, 0.001),
    "gain_level": (0.03, 0.1),
    "gain_smooth": (0.0, 0.002, 0.015),
    "gain_fine": (0.0, 0.0007, 0.004),
    "drift": (0.0, 0.003, 0.02),
    "tilt": (0.0, 0.002),
    "bend": (0.0, 0.015, 0.05),
    "shift": (0.0, 1.5),
    "slope": (0.0, 0.7),
    "band": (0.0, 60.0),
}
"""Standard deviations of each fault, the first where it isn't there. No instrument's own scale is
as sure as a certificate, so the certificates' is always taken."""
_SECOND_BEND = 0.15
"""Of a bend, how far it may be lopsided."""


@dataclass(frozen=True)
class TilePrior:
    """What is known of one tile.

    Attributes
    ----------
    certified : bool
        Without a certificate it tells of the gain's changes alone.
    is_trap : bool
    stated : float
        Standard uncertainty of its certificate's level, relative, before any is read.
    edge_nm : float
        By how far warmth may move its edges, nm, standard deviation.
    """

    certified: bool = True
    is_trap: bool = False
    stated: float = CERTIFICATE
    edge_nm: float = 0.0


@dataclass(frozen=True)
class Priors:
    """Widths of everything that an estimate leaves open.

    Attributes
    ----------
    may : mapping of fault to widths
        Those faults that the tiles can tell of, each with the widths that are tried.
    tiles : sequence of TilePrior
    fixed_nodes : (nodes,) bool array
        Where the instrument was calibrated just before, so that its gain is as it always is.
    worse : float
        How far these certificates are off, over what is stated.
    laid : float
        Relative change of a reading when the instrument is lifted and set down again.
    """

    may: Mapping[str, tuple[float, ...]]
    tiles: Sequence[TilePrior]
    fixed_nodes: NDArray[np.bool_]
    worse: float = 1.0
    laid: float = LAID

    def widths(self, model: Model, name: str, width: float) -> Array:
        """Widths of all values of a fault."""
        count = model.at[name].stop - model.at[name].start
        found = np.full(count, width)
        if name == "bend":
            found[1] *= _SECOND_BEND
        elif name == "drift":
            found[self.fixed_nodes] = min(width, LAID)
            if not self.fixed_nodes[0]:
                found[0] = 1e-6  # the scale at the beginning is the gain itself
        return found

    def tile_scales(self) -> Array:
        """Width of each tile's level, (T,); that of one without certificate is any."""
        return np.array([
            1e-6 if tile.is_trap
            else tile.stated * self.worse * _LEVEL * float(np.sqrt(1 - _IN_COMMON))
            if tile.certified
            else 1.0
            for tile in self.tiles
        ])  # fmt: skip

    def in_common(self, model: Model) -> tuple[NDArray[np.intp], float]:
        """Places in the gain of what all certificates are off by alike, and its variance of each.

        Tiles can't tell it from the gain: the certificates are taken at their word, and are as
        sure as they say.
        """
        common = max((tile.stated for tile in self.tiles if tile.certified), default=0.0)
        at = np.arange(model.at["gain_level"].start, model.at["gain_smooth"].stop)
        return at, _IN_COMMON * _LEVEL**2 * common**2

    def told_by(self) -> list[int]:
        """Tiles of known reflectance other than a trap."""
        return [t for t, tile in enumerate(self.tiles) if tile.certified and not tile.is_trap]

    def precision(self, model: Model) -> tuple[NDArray[np.intp], Array]:
        """Places of the values that nobody asks for, (n,), and their prior precision, (n, n)."""
        names = ("tile_smooth", "tile_dark", "tile_warm", "laid")
        at = np.concatenate([np.arange(model.at[n].start, model.at[n].stop) for n in names])
        k = model.smooth.shape[1]
        edges = np.array([max(tile.edge_nm, 1e-4) for tile in self.tiles])
        own = (1 - _IN_COMMON) * _LEVEL**2
        room = _TOGETHER * np.outer(edges, edges) + np.diag((1 - _TOGETHER) * edges**2)
        variances = np.concatenate([
            np.repeat([own * (self.worse * tile.stated) ** 2 for tile in self.tiles], k),
            np.full(len(self.tiles), DARK**2),
            np.ones(len(self.tiles)),
            np.full(len(model.seen), self.laid**2),
        ])  # fmt: skip
        precision = np.diag(1 / variances)
        warm = slice(len(self.tiles) * (k + 1), len(self.tiles) * (k + 2))
        precision[warm, warm] = np.linalg.inv(room + 1e-10 * np.eye(len(edges)))
        return at, precision


def laid_by_repeats(readings: Sequence[tuple[tuple[int, int], Array]]) -> float:
    """How far repeats that follow each other lie apart, relative; what is usual counts too.

    Parameters
    ----------
    readings : sequence of ((visit, tile), (W,) array)
        In the order of time.
    """
    steps = []
    for (place, one), (next_place, other) in pairwise(readings):
        level = float(np.nansum((one + other) ** 2))
        if place == next_place and level > one.size * _LIT**2:
            steps.append(2 * float(np.nansum((other - one) * (one + other))) / level)
    # What all of them move by is drift.
    scatter = float(np.var(steps, ddof=1)) / 2 if len(steps) > 1 else 0.0
    free = max(len(steps) - 1, 0)
    return float(np.sqrt((LAID**2 + free * scatter) / (1 + free)))


def band_widths(model: Model) -> tuple[float, ...]:
    """Widths of the band's square, nm2: a declared band is near, or else as if none were."""
    free = WIDTHS["band"]
    return (2 * _BAND * model.square, free[-1]) if model.square else free
