"""Whose surface reflects visibly otherwise than the surface record says.

Paints differ in index, so a little in what their surface reflects. Where a film takes up nearly all
light within, an instrument that takes the shine in reads the surface alone: there the difference
shows, and nowhere else does it part from K and S.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...optics.spectra import Array
from ...optics.surface import Surface

_NEARLY_ALONE = 1e-3
"""Reflectance over the surface's own, up to which a masstone shows it. A paint that reads further
above would have what the model gets wrong of its inside taken for a surface."""


def showing_surface(
    shares: Array, measured: Array, surfaces: Sequence[Surface], wanted: Sequence[bool]
) -> list[int]:
    """Paints of which some masstone reads about as dark, somewhere, as a surface alone.

    Parameters
    ----------
    shares : (N, P) array
        Of each paint in each patch.
    measured : (N, W) array
        NaN where unread.
    surfaces : sequence of N Surface
    wanted : sequence of P bool
        Paints to look at.

    Returns
    -------
    list of int
    """
    # Where the shine is left out, or how much of it is seen is fitted, nothing tells the index.
    shines = np.array([s.alpha > 0 and not s.haze_is_free for s in surfaces])
    floor = np.array([s.alpha * s.k1 for s in surfaces])
    over = np.where(np.isnan(measured), np.inf, measured).min(axis=1) - floor
    tells = shines & (over < _NEARLY_ALONE)
    return [i for i, look in enumerate(wanted) if look and (tells & (shares[:, i] == 1)).any()]
