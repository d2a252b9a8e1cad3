"""A colour as the page shows it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ...calibrate.optics.display import hex_code, lab_to_srgb
from ..common.colour_words import colour_words
from ..pictures.swatch import Swatch


def swatch(lab: ArrayLike) -> Swatch:
    """Return what a display shows of a CIELAB colour (3,)."""
    colour = np.asarray(lab, dtype=float)
    rgb, outside = lab_to_srgb(colour[None])
    return Swatch(hex_code(rgb[0]), colour_words(colour), bool(outside[0]), colour)
