"""Samples the patches of a found card, away from their edges, dust, glare, bubbles and streaks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ..cards.box import Box
from ..cards.card import BARE, SUBSTRATES
from ..cards.layout import Layout
from ..cards.layout_parts import GREY, TONE
from ..errors import InputError
from ..optics.spectra import Array
from .find import Found, project
from .image import Picture

CELL_MM = 0.5
INSET_MM = 1.5
"""From a patch's edge, where strokes thin out and neighbours blur in."""
TRIM = 0.1
"""Share of the cells left out at either end of a mean."""
MOST_CLIPPED = 0.02
MOST_LEFT_OUT = 0.5
CHANNELS = ("red", "green", "blue")
_OUTLYING, _FAR = 4.0, 8.0
_LEAST_SPREAD = 0.0015
"""Of full scale: under it a spread is the picture's own grain, not dirt."""


@dataclass(frozen=True)
class Site:
    """A place to be read: ``STEP/black``, ``bare/white``, ``grey/black``, ``tone/0.2``."""

    label: str
    box: Box

    @property
    def kind(self) -> str:
        """``bare``, ``grey``, ``tone``, or ``step``."""
        lead = self.label.partition("/")[0]
        return lead if lead in (BARE, GREY, TONE) else "step"

    @property
    def over(self) -> str:
        """The substrate around it, or the paper."""
        last = self.label.rpartition("/")[2]
        return last if last in SUBSTRATES else "paper"


@dataclass(frozen=True)
class Sample:
    """A site as sampled.

    Attributes
    ----------
    centres : (rows, columns, 2) array, mm on the page
    cells : (rows, columns, 3) array
        Encoded as in the picture, 0-1.
    kept : (rows, columns) bool array
    low, high : (3,) array
        Share of kept pixels at either end of the scale.
    """

    site: Site
    centres: Array = field(repr=False)
    cells: Array = field(repr=False)
    kept: NDArray[np.bool_] = field(repr=False)
    low: Array = field(repr=False)
    high: Array = field(repr=False)

    @property
    def left_out(self) -> float:
        """Share of cells left out."""
        return float(1 - self.kept.mean())

    @property
    def middle(self) -> Array:
        """Median of the kept cells, encoded, (3,)."""
        result: Array = np.median(self.cells[self.kept], axis=0)
        return result


def sites(layout: Layout, steps: Mapping[int, str] | None = None) -> tuple[Site, ...]:
    """Every place of a layout that is read.

    Parameters
    ----------
    layout : Layout
    steps : mapping of the layout's step number to its name, optional
        Steps that it doesn't name aren't read; without it every step is, by number.

    Returns
    -------
    tuple of Site
    """
    found = []
    for patch in layout.patches:
        if patch.step == 0:
            found.append(Site(f"{BARE}/{patch.over}", patch.box))
        elif steps is None or patch.step in steps:
            name = str(patch.step) if steps is None else steps[patch.step]
            found.append(Site(f"{name}/{patch.over}", patch.box))
    for reference in layout.references:
        last = f"{reference.tone:g}" if reference.kind == TONE else reference.over
        found.append(Site(f"{reference.kind}/{last}", reference.box))
    return tuple(found)


def sample_all(picture: Picture, found: Found, where: tuple[Site, ...]) -> tuple[Sample, ...]:
    """Sample every site.

    Parameters
    ----------
    picture : Picture
    found : Found
    where : tuple of Site
        The sites.

    Returns
    -------
    tuple of Sample

    Raises
    ------
    InputError
        Where a patch lies outside the picture, or its channels are clipped.
    """
    samples = tuple(_sample(picture, found, site) for site in where)
    for sample in samples:
        if sample.site.kind != TONE:
            _check_clipping(sample, picture.facts.file)
    return samples


def _sample(picture: Picture, found: Found, site: Site) -> Sample:
    if not found.seen(site.box, picture.pixels.shape):
        raise InputError(
            picture.facts.file,
            site.label,
            "this patch lies outside the picture",
            "scan again so that every patch shows",
        )
    inset = min(INSET_MM, 0.2 * min(site.box.width_mm, site.box.height_mm))
    box = site.box.grown(-inset)
    columns, rows = (max(int(s // CELL_MM), 2) for s in (box.width_mm, box.height_mm))
    size = np.array([box.width_mm / columns, box.height_mm / rows])
    each = int(np.clip(round(found.dpi / 25.4 * CELL_MM), 2, 6))
    patch = rectified(picture.pixels, found.to_px, box, (columns * each, rows * each))
    tiles = patch.reshape(rows, each, columns, each, 3).swapaxes(1, 2)
    pixels = tiles.reshape(rows, columns, each * each, 3).astype(float) / picture.top
    cells = pixels.mean(axis=2)
    kept = clean(cells, pixels.std(axis=2))
    chosen = pixels[kept].reshape(-1, 3)
    grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1) + 0.5
    return Sample(
        site,
        grid * size + (box.x_mm, box.y_mm),
        cells,
        kept,
        (chosen < 0.5 / picture.top).mean(axis=0),
        (chosen > 1 - 0.5 / picture.top).mean(axis=0),
    )


def rectified(pixels: NDArray[Any], to_px: Array, box: Box, size: tuple[int, int]) -> NDArray[Any]:
    """A box of the page, upright, as (height, width, 3) of `size` (width, height) pixels.

    Parameters
    ----------
    pixels : (H, W, 3) array
    to_px : (3, 3) array
        Homography from mm to px.
    box : Box
    size : (width, height), px

    Returns
    -------
    (height, width, 3) array
    """
    corners = project(to_px, box.corners)
    x0, y0 = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0)
    x1, y1 = np.ceil(corners.max(axis=0)).astype(int) + 3
    # Centres of pixels are whole numbers: the box's edge lies half a pixel outside the first.
    width, height = size
    shrink = np.array(
        [
            [box.width_mm / width, 0, box.x_mm + box.width_mm / width / 2],
            [0, box.height_mm / height, box.y_mm + box.height_mm / height / 2],
            [0, 0, 1],
        ]
    )
    crop = np.array([[1, 0, -x0], [0, 1, -y0], [0, 0, 1]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpPerspective(pixels[y0:y1, x0:x1], crop @ to_px @ shrink, size, flags=flags)


def clean(cells: Array, within: Array) -> NDArray[np.bool_]:
    """Which cells look like the rest of their patch.

    Parameters
    ----------
    cells, within : (rows, columns, 3) array
        Mean and standard deviation of each cell's pixels, encoded.

    Returns
    -------
    bool array
        Of the cells.

    Notes
    -----
    A cell is left out where it lies more than 4 robust standard deviations from its patch's median,
    or is far more uneven within than most; so are the neighbours of one that lies farther still,
    for dust, glare and bubbles fade at their edges.
    """
    flat = cells.reshape(-1, 3)
    middle = np.median(flat, axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(flat - middle), axis=0), _LEAST_SPREAD)
    off = (np.abs(cells - middle) / spread).max(axis=2)
    grain = np.median(within.reshape(-1, 3), axis=0)
    rough = (within / np.maximum(3 * grain, 2 * _LEAST_SPREAD)).max(axis=2)
    far = ((off > _FAR) | (rough > 2)).astype(np.uint8)
    near = cv2.dilate(far, np.ones((3, 3), np.uint8)).astype(bool)
    kept: NDArray[np.bool_] = (off <= _OUTLYING) & (rough <= 1) & ~near
    # A patch that is nothing but dirt is read whole; its spread then says so.
    return kept if kept.mean() > 0.1 else np.ones_like(kept)


def trimmed(values: Array) -> tuple[Array, Array]:
    """Trimmed mean and standard deviation of values (n, 3), each (3,)."""
    ordered = np.sort(values, axis=0)
    cut = int(TRIM * len(ordered))
    inner = ordered[cut : len(ordered) - cut] if cut else ordered
    return inner.mean(axis=0), values.std(axis=0, ddof=1)


def _check_clipping(sample: Sample, file: str) -> None:
    # One channel of a strong colour may be at an end of its codes, which is flagged; all three show
    # a black point or an exposure that is wrong. References must be known from both sides.
    step = sample.site.kind == "step"
    full = sample.high.min() if step else sample.high.max()
    for share, end, do in (
        (full, "brightest", "lower the exposure, switch automatic correction off"),
        (sample.low.min(), "darkest", "switch automatic contrast and any black point off"),
    ):
        if share > MOST_CLIPPED:
            channel = CHANNELS[int(sample.high.argmax())]
            what = f"{channel} is" if end == "brightest" and not step else "all channels are"
            raise InputError(
                file,
                sample.site.label,
                f"{what} clipped: {share:.0%} of this patch is at the {end} value that a pixel "
                "can have",
                f"{do}, and scan again",
            )
