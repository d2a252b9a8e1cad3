"""Tells where a scanner's software or a phone has "improved" a picture.

Clipping is refused where patches are sampled. The rest shows on the card itself: halos around the
markers, paper at the top of the scale, ink at its bottom, and tones that don't rise as light does.
"""

from __future__ import annotations

import numpy as np

from ..cards.box import Box
from ..cards.fiducials import SIDE_MM
from ..cards.layout_parts import TONE
from ..optics.spectra import Array
from .find import Found
from .image import Picture
from .sample import Sample, rectified

HALO = 0.03
"""Overshoot at a marker's edge, of the step from ink to paper, that no lens makes."""
BENT = 0.12
"""Relative departure of a characterised curve from its encoding that no plain scanner shows."""
_WHITE = 0.985


def improvements(picture: Picture, found: Found, samples: tuple[Sample, ...]) -> tuple[str, ...]:
    """What was done to a picture, each in words with what to switch off.

    Parameters
    ----------
    picture : Picture
    found : Found
    samples : tuple of Sample

    Returns
    -------
    tuple of str
    """
    said = []
    if (halo := sharpening(picture, found)) > HALO:
        said.append(f"sharpened (edges overshoot by {halo:.0%}): switch sharpening off")
    paper = next((s.middle for s in samples if s.site.label == f"{TONE}/1"), None)
    if paper is not None and paper.min() > _WHITE:
        said.append("exposed so long that white reached the top of the scale: expose it less")
    black = next((s.middle for s in samples if s.site.label == f"{TONE}/0"), None)
    if black is not None and black.max() < 0.02:
        said.append("black pulled to the bottom of the scale: switch automatic contrast off")
    return tuple(said)


def bent(bend: float) -> str | None:
    """What a characterised curve tells of a tone curve, in words; None where it is plain."""
    if bend <= BENT:
        return None
    return (
        f"a tone curve (mid tones moved by {bend:.0%} against the plain encoding); it is undone as "
        "far as the target shows it, but scans come out surer without it"
    )


def sharpening(picture: Picture, found: Found) -> float:
    """How far edges overshoot, as a share of the step from ink to paper; near 0 if not at all.

    Looked for on the paper's side of the markers' outer edges, away from corners: there the paper
    should rise to its level and stay.

    Parameters
    ----------
    picture : Picture
    found : Found

    Returns
    -------
    float
    """
    overshoots = []
    for marker in found.layout.fiducials if found.markers else ():
        for side in _edges(marker.box):
            if not found.seen(side, picture.pixels.shape):
                continue
            profile = _profile(picture, found, side, marker.box)
            level, ink = np.median(profile[-len(profile) // 3 :]), profile[:4].mean()
            if level > ink:
                overshoots.append((profile.max() - level) / (level - ink))
    # Noise overshoots a little too; halos do so on every edge.
    return float(np.median(overshoots)) if overshoots else 0.0


def _edges(box: Box) -> tuple[Box, Box]:
    """A strip across a marker's left and right edge, over the middle of its side."""
    across, half = 3.0, SIDE_MM / 4
    y = box.y_mm + box.height_mm / 2 - half / 2
    left = Box(box.x_mm - across / 2, y, across, half)
    return left, Box(box.x_mm + box.width_mm - across / 2, y, across, half)


def _profile(picture: Picture, found: Found, strip: Box, marker: Box) -> Array:
    """Mean green across a strip, from ink to paper, about two samples a pixel."""
    length = max(round(strip.width_mm * found.dpi / 25.4), 12)
    pixels = rectified(picture.pixels, found.to_px, strip, (length, 16))[:, :, 1]
    profile = pixels.mean(axis=0).astype(float)
    return profile[::-1] if strip.x_mm < marker.x_mm else profile
