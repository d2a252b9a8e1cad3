"""Characterises a device from a card's own references, where no target is at hand.

A bought grey piece or the painted white tells how bright the scan is; that its channels rise as
sRGB says (IEC 61966-2-1), and which colours they see, is common practice and no more. So everything
fitted to its scans is a first guess, and its bands say so.
"""

from __future__ import annotations

import numpy as np

from ..optics.sensors import estimate_sensors
from ..optics.spectra import GRID
from .characterise import Characterised
from .curve import Curve
from .find import Found
from .image import Picture
from .own_check import TYPICAL_WHITE
from .reading import GREY_SD, SRGB, level_of
from .sample import Sample
from .settings import Settings
from .stray import even_out

TYPICAL_BLACK = (0.045, 0.02)
"""Reflectance of a painted, sealed black band, and its standard uncertainty (common practice, no
source)."""
UNKNOWN_MISFIT = 10.0
"""A device of which nothing is known but its greys counts as ten times worse than a good one: its
channels are unsure by some 8 %."""


def from_own_references(
    name: str, picture: Picture, found: Found, samples: tuple[Sample, ...], grey: float | None
) -> Characterised:
    """Characterise a device from a scanned card's bare bands and grey pieces.

    Parameters
    ----------
    name : str
    picture : Picture
    found : Found
    samples : tuple of Sample
        Of the card; only its references are looked at.
    grey : float or None
        Reflectance of the card's grey pieces; None: the white stands in, with a typical value.

    Returns
    -------
    Characterised
        Its errors on patches left out are unknown, not a number; its misfit is `UNKNOWN_MISFIT`.

    Raises
    ------
    InputError
        Where the card has no reference at all.
    """
    evened = even_out(picture, found, samples, Curve.plain())
    level, sd, _ = level_of(samples, evened, picture, None, grey)
    rows, known, spread = [], [], []
    for i, sample in enumerate(samples):
        value = {
            "bare/white": TYPICAL_WHITE,
            "bare/black": TYPICAL_BLACK,
        }.get(sample.site.label)
        if sample.site.kind == "grey" and grey is not None:
            value = grey, GREY_SD * grey
        if value is not None:
            rows.append(i)
            known.append(value[0])
            spread.append(value[1])
    channels = evened.values[rows] * level
    variance = np.square(spread)[:, None] + evened.variance[rows] * level**2 + (sd * channels) ** 2
    flat = np.repeat(np.array(known)[:, None], GRID.size, axis=1)
    return Characterised(
        name,
        Settings.of(picture.facts),
        Curve("sRGB", np.cbrt(level)[:, None]),
        1,
        SRGB,
        estimate_sensors(flat, channels, variance),
        len(rows),
        float("nan"),
        float("nan"),
        float(evened.stray.share),
        0.0,
        (UNKNOWN_MISFIT,) * 3,
    )
