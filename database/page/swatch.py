"""A colour as the page shows it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ...calibrate.optics.colour import lab_to_srgb
from ..colour_words import colour_words
from ..report_colours import Swatch


def swatch(lab: ArrayLike) -> Swatch:
    """Return what a display shows of a CIELAB colour (3,)."""
    colour = np.asarray(lab, dtype=float)
    rgb, outside = lab_to_srgb(colour[None])
    code = "#" + "".join(f"{round(255 * float(x)):02x}" for x in rgb[0])
    return Swatch(code, colour_words(colour), bool(outside[0]), colour)
