"""How far mixes lie from a spectrum: paints that look alike in a mix part in its spectrum."""

from __future__ import annotations

import numpy as np

from ...calibrate.optics.spectra import Array

OFFSET, SLOPE = 0.002, 0.03
"""What a predicted reflectance is off by, as a rule: so much, and so much of itself."""


def misfit(mixes: Array, target: Array) -> Array:
    """Root mean square over wavelength of the difference from a spectrum, in its usual error.

    Parameters
    ----------
    mixes : (N, W) array
        Reflectance; NaN where unread.
    target : (W,) array
        NaN where unread.

    Returns
    -------
    (N,) array
    """
    seen = np.isfinite(target) & np.isfinite(mixes).all(axis=0)
    off = (mixes[:, seen] - target[seen]) / (OFFSET + SLOPE * target[seen])
    result: Array = np.sqrt((off**2).mean(axis=1))
    return result
