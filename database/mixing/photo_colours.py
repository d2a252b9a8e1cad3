"""The main colours of a photograph: those that cover much of it, and small ones that stand out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.cluster.vq import kmeans2

from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from .photo import BANDS, Photo, Spot, shrunk
from .target import Target
from .viewing import AS_SEEN

FEWEST, MOST = 5, 12
ALIKE = 7.0
"""CIEDE2000 under which two colours of a picture are laid out as one (our own rule)."""
ACCENT = 0.002
"""Share of the picture under which a colour is left out, however much it stands out."""
_SIDE, _SEEDS, _CALM = 360, 40, 3.0


@dataclass(frozen=True)
class MainColour:
    """A main colour of a picture.

    Attributes
    ----------
    lab : (3,) array
    share : float
        Of the picture that is nearest to it.
    at : (x, y)
        Where it is seen best, px.
    """

    lab: Array
    share: float
    at: Spot

    def target(self, photo: Photo) -> Target:
        """Make a target of it."""
        said = f"{100 * self.share:.2g} % of {Path(photo.file).name}"
        return Target(said, self.lab, estimate=True, band=BANDS[photo.by], viewing=AS_SEEN)


def main_colours(photo: Photo, fewest: int = FEWEST, most: int = MOST) -> list[MainColour]:
    """Pick the main colours of a photograph, those that cover most first.

    Parameters
    ----------
    photo : Photo
    fewest, most : int
        How many, where the picture has as many that differ.

    Notes
    -----
    K-means in CIELAB finds more groups than are wanted, in the calmer part of the picture, since
    edges show colours that nobody paints. Then, our own rule: the two groups whose union loses
    least are made one, their loss being their squared CIEDE2000 times the harmonic mean of their
    areas, until no two are alike and there are few enough. So a small accent stands as long as it
    is far from all others.
    """
    small = shrunk(photo, _SIDE)
    height, width = small.shape[:2]
    colours = photo.lab(small.reshape(-1, 3)).reshape(height, width, 3)
    aside = cv2.resize(photo.aside.astype(np.uint8), (width, height)).astype(bool)
    calm = _calm(colours) & ~aside
    pixels = colours[calm]
    centres, group = kmeans2(
        pixels, min(_SEEDS, len(np.unique(pixels, axis=0))), minit="++", seed=1, missing="warn"
    )
    area = np.bincount(group, minlength=len(centres)) / len(pixels)
    centres, area = _merged(centres[area > 0], area[area > 0], fewest, most)
    flat = colours.reshape(-1, 3)
    nearest = np.argmin([((flat - c) ** 2).sum(axis=1) for c in centres], axis=0)
    scale = photo.size[0] / width
    found = []
    nearest = np.where(aside.ravel(), -1, nearest)
    for i, centre in enumerate(centres):
        off = np.where(calm.ravel(), ((flat - centre) ** 2).sum(axis=1), np.inf)
        y, x = divmod(int(off.argmin()), width)
        at = (round((x + 0.5) * scale - 0.5), round((y + 0.5) * scale - 0.5))
        found.append(MainColour(centre, float((nearest == i).mean()), at))
    return sorted(found, key=lambda c: -c.share)


def _calm(colours: Array) -> NDArray[np.bool_]:
    """Where a picture (H, W, 3) varies little from pixel to pixel: half of it at least."""
    c = colours.astype(np.float32)
    spread = np.sqrt(np.maximum(cv2.blur(c * c, (3, 3)) - cv2.blur(c, (3, 3)) ** 2, 0).sum(axis=2))
    return np.asarray(spread <= max(_CALM, float(np.median(spread))))


def _merged(centres: Array, area: Array, fewest: int, most: int) -> tuple[Array, Array]:
    """Unite groups (N, 3) of those areas (N,) until none are alike, nor too many."""
    while len(centres) > 1:
        apart = ciede2000(centres[:, None], centres[None])
        np.fill_diagonal(apart, np.inf)
        loss = apart**2 * (area[:, None] * area / (area[:, None] + area))
        alike = apart < ALIKE
        lost = (area < ACCENT)[:, None] | (area < ACCENT)
        over = len(centres) > most
        wanted = alike | lost if len(centres) > fewest else lost
        if not wanted.any() and not over:
            break
        loss = np.where(wanted | (over and not wanted.any()), loss, np.inf)
        i, j = divmod(int(loss.argmin()), len(centres))
        both = area[i] + area[j]
        centres[i] = (area[i] * centres[i] + area[j] * centres[j]) / both
        area[i] = both
        centres, area = np.delete(centres, j, axis=0), np.delete(area, j)
    return centres, area
