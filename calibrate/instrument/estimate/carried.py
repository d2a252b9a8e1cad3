"""The doubts of an estimate, as errors that all readings of the session share."""

from __future__ import annotations

import numpy as np

from ...optics.shared_errors import SharedErrors
from ...optics.spectra import Array
from .joint import Estimate

_MOST = 8
"""Factors that are kept; what others do stays in each value's own variance."""


def carried(found: Estimate, corrected: Array, share: Array, own_gain: Array) -> SharedErrors:
    """Gather the doubts of an estimate into the factors that move corrected readings most.

    Parameters
    ----------
    found : Estimate
    corrected : (N, W) array
        Readings; NaN where missing.
    share : (N, V) array
        Of each moment in the gain of each.
    own_gain : (N,) array
        Variance of each reading's gain, relative, beside the moments'.

    Returns
    -------
    SharedErrors
    """
    unit = _of_a_unit(found, share, own_gain)
    effect = np.nan_to_num(unit.factors(corrected)).reshape(found.model.faults.stop, -1)
    sizes, ways = np.linalg.eigh(found.square)
    root = ways * np.sqrt(np.maximum(sizes, 0.0))
    moved = root.T @ effect
    _, parts = np.linalg.eigh(moved @ moved.T)
    strongest = (root @ parts[:, ::-1][:, :_MOST]).T
    left = found.square - strongest.T @ strongest
    return SharedErrors(
        unit.wavelengths,
        **{
            name: np.tensordot(strongest, getattr(unit, name), 1)
            for name in ("add", "times", "bend", "lopsided", "slope", "curve", "moment")
        },
        own_add=_variances(left, unit.add),
        own_times=_variances(left, unit.times),
        own_gain=own_gain,
        noise=np.array(found.noise),
    )


def _variances(square: Array, table: Array) -> Array:
    found: Array = np.maximum(np.einsum("pw,pq,qw->w", table, square, table), 0.0)
    return found


def _of_a_unit(found: Estimate, share: Array, own_gain: Array) -> SharedErrors:
    """Each fault as a factor: what a unit of it does."""
    model, at = found.model, found.model.at
    p, w = model.faults.stop, model.wavelengths.size
    add, times, slope = (np.zeros((p, w)) for _ in range(3))
    bend, lopsided, curve = (np.zeros(p) for _ in range(3))
    moment = np.zeros((p, len(share)))
    for table, kind in ((add, "zero"), (times, "gain")):
        table[at[f"{kind}_level"]] = 1.0
        table[at[f"{kind}_smooth"]] = model.smooth.T
        table[at[f"{kind}_fine"]] = model.fine.T
    bend[at["bend"].start] = lopsided[at["bend"].start + 1] = 1.0
    slope[at["shift"]], slope[at["slope"]], curve[at["band"]] = 1.0, model.line, 1.0
    moment[at["drift"]] = share.T
    # A tilt that drifts: taken as what it does beside the middle.
    moment[at["tilt"]] = 0.5 * share.T
    none = np.zeros(w)
    return SharedErrors(
        model.wavelengths, add, times, bend, lopsided, slope, curve, moment, none, none, own_gain,
        np.zeros(3),
    )  # fmt: skip
