"""The main colours of a photograph: those that cover much of it, and small ones that stand out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.cluster.vq import kmeans2

from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from ...calibrate.scan.curve import decoded
from .photo import BANDS, Photo, Spot, shrunk
from .target import Target
from .viewing import AS_SEEN

FEWEST, MOST = 5, 12
ALIKE = 7.0
"""CIEDE2000 under which two colours of a picture are laid out as one (our own rule)."""
ACCENT = 0.002
"""Share of the picture under which a colour is left out, however much it stands out."""
_SIDE, _SEEDS, _CALM = 360, 40, 3.0
# What looks like a reference card (our own rule): its share of the picture, how far it fills its
# rectangle and how long that is, how near the next one lies in its own widths, how much lighter it
# is, and by how many stops a grey may be coloured; what is as dark as the last has no hue.
_LEAST_CARD, _MOST_CARD, _FILLED, _LONG = 0.001, 0.08, 0.85, 2.5
_NEXT_TO, _STEPPED, _GREY_STOPS, _BLACK = 1.5, 1.6, 0.5, 0.03
_FLAT, _GRID = 14, 6
"""Levels of 255 within which a piece is flat, and px between the places that are looked at."""


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


def main_colours(
    photo: Photo, fewest: int = FEWEST, most: int = MOST, cards: Sequence[CardPiece] = ()
) -> list[MainColour]:
    """Pick the main colours of a photograph, those that cover most first.

    Parameters
    ----------
    fewest, most : int
        How many, where the picture has as many that differ.
    cards : sequence of CardPiece
        Pieces that are no colours of the picture.

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
    for piece in cards:
        aside |= cv2.dilate(piece.mask.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(bool)
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


@dataclass(frozen=True)
class CardPiece:
    """A piece of a picture that looks like a reference card.

    Attributes
    ----------
    at : (x, y)
        Its middle, px.
    level : float
        Mean linear light, as saved.
    mask : (H, W) bool array
        Of the picture as `shrunk` to the side that is looked at.
    """

    at: Spot
    level: float
    mask: NDArray[np.bool_]


def reference_cards(photo: Photo) -> list[CardPiece]:
    """Find pieces that look like reference cards, the lightest first.

    Notes
    -----
    Our own rule: flat rectangles of about one size that touch or nearly do, each plainly lighter
    than the next, and without a hue beside one another. One alone is never taken for a card.
    """
    small = shrunk(photo, _SIDE)
    pieces = _flat_rectangles(small)
    linear = [decoded("sRGB", small[mask] / 255).mean(axis=0) for mask, _, _ in pieces]
    partners: dict[int, set[int]] = {}
    for i, j in combinations(range(len(pieces)), 2):
        (one, box, size), (other, box2, size2) = pieces[i], pieces[j]
        apart = float(np.hypot(box[0] - box2[0], box[1] - box2[1]))
        alike = 0.5 < size / size2 < 2.0 and apart < _NEXT_TO * (size + size2) / 2
        light, dark = sorted((linear[i], linear[j]), key=lambda level: -level.sum())
        stepped = light.mean() > _STEPPED * dark.mean()
        if alike and stepped and not (one & other).any() and _one_grey(light, dark):
            partners.setdefault(i, set()).add(j)
            partners.setdefault(j, set()).add(i)
    scale = photo.size[0] / small.shape[1]
    found = []
    for i in partners:
        mask, box, _ = pieces[i]
        x, y = ((each + 0.5) * scale - 0.5 for each in box)
        found.append(CardPiece((round(x), round(y)), float(linear[i].mean()), mask))
    return sorted(found, key=lambda piece: -piece.level)


def _flat_rectangles(
    small: NDArray[np.uint8],
) -> list[tuple[NDArray[np.bool_], tuple[float, float], float]]:
    """Flat pieces (H, W) that fill a rectangle, its middle, and the root of its area."""
    height, width = small.shape[:2]
    smooth, taken = cv2.medianBlur(small, 5), np.zeros((height, width), dtype=bool)
    near, found = (_FLAT,) * 3, []
    flags = 4 | cv2.FLOODFILL_MASK_ONLY | cv2.FLOODFILL_FIXED_RANGE
    for y in range(_GRID // 2, height, _GRID):
        for x in range(_GRID // 2, width, _GRID):
            if taken[y, x]:
                continue
            mask = np.zeros((height + 2, width + 2), np.uint8)
            area, *_ = cv2.floodFill(smooth, mask, (x, y), (0, 0, 0), near, near, flags)
            inside = mask[1:-1, 1:-1].astype(bool)
            taken |= inside
            if not _LEAST_CARD < area / (height * width) < _MOST_CARD:
                continue
            outline, _ = cv2.findContours(
                inside.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
            )
            middle, (wide, tall), _ = cv2.minAreaRect(max(outline, key=len))
            wide, tall = wide + 1, tall + 1
            if area > _FILLED * wide * tall and max(wide, tall) < _LONG * min(wide, tall):
                found.append((inside, (middle[0], middle[1]), float(np.sqrt(wide * tall))))
    return found


def _one_grey(light: Array, dark: Array) -> bool:
    """Whether two levels (3,) of linear light are greys under one light; a black has no hue."""
    stops = np.log2(np.maximum(light, 1e-4))
    if abs((stops[0] + stops[2]) / 2 - stops[1]) > _GREY_STOPS:
        return False
    if dark.mean() < _BLACK:
        return True
    apart = np.log2(np.maximum(dark, 1e-4)) - stops
    return float(apart.max() - apart.min()) < _GREY_STOPS


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
