"""Characterises a device from a card's own references, where no target is at hand.

A bought grey piece, the painted white and the painted black tell of its tones; which colours its
channels see nobody has shown, so that they are thought to be like those of measured cameras. What
that leaves open stands beside, and a fit finds more of it from the paints of the card. Everything
fitted to its scans is a first guess, and its bands say so.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..optics.sensors import TONES
from ..optics.spectra import GRID
from ..optics.unknown_sensors import unknown_sensors
from .characterise import Characterised
from .curve import Curve
from .find import Found
from .image import Picture
from .own_check import TYPICAL_WHITE
from .reading import GREY_SD, SRGB, level_of
from .sample import Sample
from .settings import Settings
from .stray import even_out
from .unknown_tones import BASE, Reference, unknown_tones

TYPICAL_BLACK = (0.02, 0.02)
"""Reflectance of a painted, sealed black band as it is seen at 45:0, where a gloss hardly shows,
and its standard uncertainty (common practice, no source)."""
UNKNOWN_MISFIT = 1.5
"""A device that nobody has shown a target counts as half again as bad as a good one; what isn't
known of its sensitivities and tones stands beside that."""
_LEAST = 1e-4
_BY_GREY, _BY_WHITE = 0.005, 0.02
"""Relative standard uncertainty of each channel's balance by a bought grey, and by a painted white,
which has a tint."""
_TINT = np.exp(-(GRID - 380) / 25) * 0.35 / TYPICAL_WHITE[0]
"""Share by which whites begin to absorb below 420 nm."""
_UNEVEN = 0.015
"""Relative difference of a bought grey's pieces as a picture shows them, beside what is stated."""


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
    settings, plain = Settings.of(picture.facts), Curve.plain(BASE)
    evened = even_out(picture, found, samples, plain)
    level, _, _ = level_of(samples, evened, picture, None, grey)
    read: dict[str, list[np.ndarray]] = {}
    for sample, value in zip(samples, evened.values, strict=True):
        label = sample.site.label if sample.site.kind != "grey" else "grey"
        read.setdefault(label, []).append(np.maximum(value, _LEAST))
    white = (
        np.mean(read["bare/white"], axis=0) if "bare/white" in read else TYPICAL_WHITE[0] / level
    )
    sensors, told = unknown_sensors(np.zeros((0, 3, TONES.size))), []
    if grey is None:
        balance, neutral = _BY_WHITE, white / (1 - sensors.read(_TINT))
    else:
        # As light as the white, and of the grey's balance.
        own = np.mean(read["grey"], axis=0)
        balance, neutral = _BY_GREY, own * np.mean(white / own)
    if "bare/black" in read:
        told.append(Reference(np.mean(read["bare/black"], axis=0), *TYPICAL_BLACK))
    if grey is not None:
        unsure = float(np.hypot(GREY_SD, _UNEVEN)) * grey
        told.append(Reference(own, grey, unsure))
    known = unknown_tones(neutral, told, settings.kind, balance)
    return Characterised(
        name,
        settings,
        known.curve,
        1,
        SRGB,
        replace(sensors, tones=known.tones),
        1 + len(told),
        float("nan"),
        float("nan"),
        float(evened.stray.share),
        0.0,
        (UNKNOWN_MISFIT,) * 3,
    )
