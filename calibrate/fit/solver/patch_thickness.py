"""Films whose thickness differs within a patch: what an instrument reads is a mean over it.

That mean isn't the reading of the mean film: where it is thin, the substrate shows more than thick
places make up for. Thickness is taken as log-normal within the patch, and the mean over it as three
points (Gauss and Hermite), exact for whatever is a polynomial of the fifth degree in its logarithm.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...optics.spectra import Array

_NODES = np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])
_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6


class PatchThickness(NamedTuple):
    """Thickness of N patches' films, in G blocks, at Q points of each.

    Attributes
    ----------
    x : (Q, G, N, W or 1) array, mm
    weight : (Q, 1, 1, 1) array
    off : (Q, G, N, 1) array
        How far each point's log thickness lies from the patch's.
    """

    x: Array
    weight: Array
    off: Array

    def mean(self, values: Array) -> Array:
        """Mean over the patch of what is known at each point; (Q or 1, G, N, W) to (G, N, W)."""
        if len(values) == 1:
            return np.asarray(values[0])
        return np.asarray((self.weight * values).sum(axis=0))

    def by_unevenness(self, by_log_x: Array) -> Array:
        """Slope of the mean by the logarithm of the spread, from that by log thickness."""
        return self.mean(by_log_x * self.off)


def patch_thickness(log_x: Array, spread: Array) -> PatchThickness:
    """Lay points over patches.

    Parameters
    ----------
    log_x : (G, N, W or 1) array
        Logarithm of each patch's median thickness.
    spread : (G, N, 1) array
        Standard deviation of the logarithm within it.

    Returns
    -------
    PatchThickness
    """
    if not spread.any():
        return PatchThickness(
            np.exp(log_x)[None], np.ones((1, 1, 1, 1)), np.zeros((1, *spread.shape))
        )
    off = _NODES[:, None, None, None] * spread
    return PatchThickness(np.exp(log_x + off), _WEIGHTS[:, None, None, None], off)
