"""Tells light that lies on a part of a patch: on the glass, on gloss, on a wet film.

Such light is white and comes on top of the film's own, all channels alike, and it ends somewhere.
So it shows where one part of a patch stands out from the rest by an even white. Which of the two is
the film alone is told by their lightness: light adds.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from ..optics.spectra import Array
from .sample import Sample

_LEAST_PART = 0.03
"""Share of a patch's cells that stand out together; fewer are dust."""
_LEAST_LIGHT = 0.04
"""Of the white beside it."""
_ALIKE = 0.75
"""Least over largest of the channels that came on top, for it to be white light."""


def light_on(sample: Sample, curve: Callable[[Array], Array], white: Array) -> float:
    """How much even white light lies on the part of a patch that was kept, as a share of white.

    Parameters
    ----------
    sample : Sample
    curve : callable
        Turns encoded values into linear ones.
    white : (3,) array
        Linear values of the card's white.

    Returns
    -------
    float
        0 where nothing stands out, or where the light lies on what was left out.
    """
    out = (~sample.kept).astype(np.uint8)
    _, places = cv2.connectedComponents(out)
    sizes = np.bincount(places.ravel())[1:]
    if not sizes.size or sizes.max() < _LEAST_PART * out.size:
        return 0.0
    cells = curve(sample.cells)
    part = cells[places == 1 + int(sizes.argmax())]
    more = (np.median(cells[sample.kept], axis=0) - np.median(part, axis=0)) / white
    even = more.min() > _ALIKE * more.max()
    return float(more.mean()) if even and more.min() > _LEAST_LIGHT else 0.0
