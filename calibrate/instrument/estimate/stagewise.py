"""Corrections as they were made stage by stage, before one estimate took their place.

Sessions that were corrected so keep their readings, and releases that hold them are verified so:
each stage is made anew with what its record says that it found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ...optics.spectra import Array
from ..tiles import TileReading
from .monochromator import undo_band, unshift


def corrected_by_stages(
    wavelengths: Array,
    values: Array,
    at: Array,
    readings: Sequence[TileReading],
    record: Mapping[str, Any],
) -> Array:
    """Correct raw readings as a record of stages says, (N, W).

    Parameters
    ----------
    wavelengths : (W,) array, nm
    values : (N, W) array
        Raw; NaN where missing.
    at : (N,) array
        When each was read.
    readings : sequence of TileReading
        Of the same sitting and clock.
    record : mapping
        Of the session's corrections.

    Returns
    -------
    (N, W) array
        NaN where missing.
    """
    ever = ~np.isnan(values).all(axis=0)
    if not ever.any():
        return values
    made = {s["stage"]: s["data"] for s in record["stages"] if s["made"]}
    white = [reading for reading in readings if reading.kind == "white"]
    nm, now = wavelengths[ever], values[:, ever]
    tile = np.array([reading.values[ever] for reading in white])
    if "zero" in made:
        now, tile = (each - np.array(made["zero"]["offset"]) for each in (now, tile))
    if "drift" in made:
        now = now / _gain(white, tile, at)
    if "scale" in made:
        now = now * np.array(made["scale"]["factor"])
    if "linearity" in made:
        certified = _certified(record, white[0].name, nm)
        now = now + made["linearity"]["c"] * now * (certified - now)
    if "wavelength" in made:
        now = unshift(nm, now, made["wavelength"]["nm"])
    if "bandpass" in made:
        now = undo_band(now, nm, float(np.diff(nm).max()) ** 2)
    found = np.full_like(values, np.nan)
    found[:, ever] = now
    return found


def _certified(record: Mapping[str, Any], name: str, nm: Array) -> Array:
    from scipy.interpolate import CubicSpline

    tile = next(each for each in record["tiles"] if each["name"] == name)
    found: Array = CubicSpline(tile["wavelengths"], tile["values"])(nm)
    return found


def _gain(white: Sequence[TileReading], values: Array, wanted: Array) -> Array:
    """Gain at moments, (N, W): linear between visits to the white tile, over that they mean.

    A visit is what was read of it with no patch in between; one just after a calibration is of its
    own, and where there is any such, they alone say what the tile reads.
    """
    order = np.argsort([reading.at for reading in white], kind="stable")
    at = np.array([white[i].at for i in order])
    anew = np.array([white[i].calibrated for i in order])
    gap = np.searchsorted(np.sort(wanted), at)
    starts = np.flatnonzero((np.diff(gap, prepend=-1) != 0) | anew)
    count = np.diff(starts, append=at.size)
    passed = gap[starts]
    used = (np.diff(passed, prepend=0) > 0) | (np.diff(passed, append=wanted.size) > 0)
    if not used.any():
        used[:] = True
    when = (np.add.reduceat(at, starts) / count)[used]
    visit = (np.add.reduceat(values[order], starts, axis=0) / count[:, None])[used]
    of = anew[starts][used]
    level = visit[of if of.any() else slice(None)].mean(axis=0)
    later = np.clip(np.searchsorted(when, wanted), 1, when.size - 1)
    share = np.clip((wanted - when[later - 1]) / (when[later] - when[later - 1]), 0, 1)[:, None]
    found: Array = (visit[later - 1] * (1 - share) + visit[later] * share) / level
    return found
