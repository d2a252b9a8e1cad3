"""What is wrong with an instrument in one session, and its readings without it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...optics.spectra import Array
from ..tiles import Tile, TileReading, tile_kind
from .curves import Curve
from .joint import Estimate, estimate
from .model import FAULTS, Model, Seen
from .priors import (
    CERTIFICATE,
    THERMOCHROMIC,
    THERMOCHROMIC_ELSE,
    UNKNOWN_WARMTH,
    WIDTHS,
    Priors,
    TilePrior,
    band_widths,
    laid_by_repeats,
)
from .visits import Visits, visits

OF_STAGE: Mapping[str, tuple[str, ...]] = {
    "zero": ("zero_level", "zero_smooth", "zero_fine"),
    "drift": ("drift", "tilt"),
    "scale": ("gain_level", "gain_smooth", "gain_fine"),
    "linearity": ("bend",),
    "wavelength": ("shift", "slope"),
    "bandpass": ("band",),
}
"""Which faults a stage of the corrections undoes."""
_MARGIN = 4.0
"""nm by which a certificate must go on beside a reading, so that a shift doesn't leave it."""
_FEW = 3
"""Certified tiles from which they tell together what else only the white tile or the trap would."""
_WARMTH = 0.5
"""Degrees to which a noted temperature is that of the glaze."""


@dataclass(frozen=True)
class Told:
    """What the tiles of a session told.

    Attributes
    ----------
    names : tuple of str
        Of the tiles, in the order of the estimate's.
    visits : Visits
    estimate : Estimate
    """

    names: tuple[str, ...]
    visits: Visits
    estimate: Estimate


def applied(found: Estimate, without: Collection[str]) -> Estimate:
    """Return an estimate without the faults of stages that are left out: readings keep them.

    What is kept knowingly stays in the doubts.
    """
    theta = found.theta.copy()
    for stage in without:
        for name in OF_STAGE.get(stage, ()):
            theta[found.model.at[name]] = -found.model.square if name == "band" else 0.0
    kept = (found.theta - theta)[found.model.faults]
    return replace(found, theta=theta, square=found.square + np.outer(kept, kept))


def may_tell(tiles: Mapping[str, Tile], names: Collection[str], nodes: int) -> dict[str, str]:
    """Say of each fault that these tiles can't tell why they can't; others are left out.

    Parameters
    ----------
    tiles : mapping of name to Tile
        Certified tiles that were read.
    names : collection of str
        Of all tiles that were read.
    nodes : int
        Moments at which the gain was read.

    Returns
    -------
    mapping of stage to words
    """
    kinds = [tile.kind for tile in tiles.values()]
    lit = [kind for kind in kinds if kind != "trap"]
    why = {}
    if "trap" not in kinds and len(lit) < _FEW:
        why["zero"] = "no black trap was read"
    if "white" not in kinds and len(lit) < _FEW:
        white = any(tile_kind(name) == "white" for name in names)
        why["scale"] = (
            "the white tile has no certified values" if white else "no white tile was read"
        )
    if nodes < 2:
        why["drift"] = "no tile was read at two times"
    greys = kinds.count("grey")
    if not greys:
        why["linearity"] = "no grey tile was read"
    elif greys < 2:
        why["linearity"] = "a single grey can't tell a bend from a dirty tile: read two or more"
    elif "scale" in why:
        why["linearity"] = "it needs the scale corrected first"
    if "colour" not in kinds:
        why["wavelength"] = "no coloured tile was read"
    return why


def told(
    wavelengths: Array,
    at: Array,
    readings: Sequence[TileReading],
    tiles: Mapping[str, Tile],
    band_nm: float | None,
    band_corrected: bool,
    repeats: tuple[Array, Array, Array] | None,
) -> Told:
    """Estimate what is wrong with an instrument from its readings of tiles.

    Parameters
    ----------
    wavelengths : (W,) array, nm
    at : (N,) array
        When patches were read.
    readings : sequence of TileReading
        One at least, on the same wavelengths and clock.
    tiles : mapping of name to Tile
        Certificates; a white tile without one serves for drift alone.
    band_nm : float or None
        Declared.
    band_corrected : bool
        Whether the instrument undoes it itself.
    repeats : (level, square, variance) or None
        See `tintladder.calibrate.instrument.estimate.joint.estimate`.

    Returns
    -------
    Told
    """
    when = visits(readings, at)
    names = tuple(dict.fromkeys(readings[i].name for i in when.used))
    known = {name: tiles[name] for name in names if name in tiles}
    curves, used, of_tiles = [], [], []
    for name in names:
        mine = [readings[i] for i in when.used if readings[i].name == name]
        tile = known.get(name) or Tile(
            name, wavelengths, np.mean([reading.values for reading in mine], axis=0)
        )
        curves.append(Curve(tile))
        margin = _MARGIN + (band_nm or 0.0) if tile.kind == "colour" else 0.0
        used.append(curves[-1].covers(wavelengths, margin))
        of_tiles.append(_prior(tile, name in known, mine))
    seen = [
        Seen(names.index(readings[i].name), readings[i].values, share)
        for i, share in zip(when.used, when.share, strict=True)
    ]
    model = Model(
        wavelengths, curves, seen, when.at.size, np.array(used),
        0.0 if band_corrected else band_nm or 0.0,
    )  # fmt: skip
    visit = np.cumsum(~when.joined)
    laid = laid_by_repeats(
        [((int(visit[one.share.argmax()]), one.tile), one.values) for one in seen]
    )
    unasked = may_tell(known, names, when.at.size)
    asked = {name for stage, faults in OF_STAGE.items() if stage not in unasked for name in faults}
    colours = sum(tile.kind == "colour" for tile in known.values())
    may = {name: WIDTHS[name] if name in asked else (0.0,) for name in FAULTS}
    if colours < _FEW:
        may["slope"] = (0.0,)
    may["band"] = band_widths(model) if colours or model.square else (0.0,)
    return Told(names, when, estimate(model, Priors(may, of_tiles, when.anew, laid=laid), repeats))


def _prior(tile: Tile, certified: bool, readings: Sequence[TileReading]) -> TilePrior:
    apart = [
        UNKNOWN_WARMTH if r.temperature_c is None or tile.temperature_c is None
        else float(np.hypot(r.temperature_c - tile.temperature_c, _WARMTH))
        for r in readings
    ]  # fmt: skip
    low, high = tile.values[0], tile.values[-1]
    rises = low < 0.3 * high and high > 0.8 * tile.values.max()
    moves = THERMOCHROMIC if rises else THERMOCHROMIC_ELSE
    return TilePrior(
        certified,
        tile.kind == "trap",
        CERTIFICATE if tile.uncertainty is None else tile.uncertainty,
        moves * max(apart) if tile.kind == "colour" else 0.0,
    )
