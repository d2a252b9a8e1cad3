"""Tells a photograph of a screen from one of a card: a grid of light points lies over its white."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..optics.spectra import Array
from .find import Found
from .image import Picture
from .sample import Sample, rectified

_LEAST_PX = 24
_FINEST, _COARSEST = 0.5, 0.08
"""Waves a pixel among which a grid is looked for; slower ones are brush marks and uneven light."""
_DEEP = 0.02
"""Relative height of one wave from which on it is no grain (our choice)."""
_ABOVE = 12.0
"""Times that it stands out over the waves that grain has."""


def refuse_screen(picture: Picture, found: Found, samples: tuple[Sample, ...]) -> None:
    """Refuse a photograph of a screen.

    A painted white has no wave of one length in it; the points of a screen have, or what is left of
    them between the camera's own.

    Parameters
    ----------
    picture : Picture
    found : Found
    samples : tuple of Sample

    Raises
    ------
    InputError
        Where it is one.
    """
    per_mm = found.dpi / 25.4
    for sample in samples:
        if sample.site.label != "bare/white":
            continue
        box = sample.site.box.grown(-1.0)
        size = (round(box.width_mm * per_mm), round(box.height_mm * per_mm))
        if min(size) >= _LEAST_PX and _waves(rectified(picture.pixels, found.to_px, box, size)):
            raise InputError(
                picture.facts.file,
                sample.site.label,
                "a grid of light points lies over the painted white: this is a photograph of a "
                "screen, or of a print",
                "scan or photograph the painted card itself",
            )


def _waves(white: NDArray[Any]) -> bool:
    """Whether one wave stands out from a white's grain."""
    high, wide = white.shape[:2]
    taper = np.outer(np.hanning(high), np.hanning(wide))
    across, down = (np.asarray(np.fft.fftfreq(n), dtype=float) for n in (wide, high))
    pace = np.hypot(across[None, :], down[:, None])
    ring = (pace > _COARSEST) & (pace <= _FINEST) & ~_of_blocks(across, down)
    for channel in range(3):
        seen = white[:, :, channel].astype(float)
        level = float(seen.mean())
        if level <= 0:
            continue
        height = np.abs(np.fft.fft2((seen / level - 1) * taper))[ring] * 2 / taper.sum()
        if height.max() > _DEEP and height.max() > _ABOVE * np.median(height):
            return True
    return False


def _of_blocks(across: Array, down: Array) -> NDArray[np.bool_]:
    """Waves that JPEG's blocks of 8 x 8 have, along or across the picture."""
    found: NDArray[np.bool_] = np.zeros((down.size, across.size), dtype=bool)
    for pace, axis in ((across, 0), (down, 1)):
        off = np.abs(pace * 8 - np.round(pace * 8)) < 8.0 / pace.size
        found |= np.expand_dims(off, axis)
    return found
