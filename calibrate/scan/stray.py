"""Evens out the light over a card, and takes away what its neighbours added to a patch.

A flatbed lights a patch partly by what lies around it: reading = (1 - s) own + s x surround, with
percents for s, so that darks read too light. The same grey on black and on white shows how much,
and the bare black shows from how far: it grows lighter toward the white.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from ..cards.box import Box
from ..cards.card import BARE
from ..cards.layout_parts import GREY
from ..errors import InputError
from ..optics.spectra import Array
from .find import Found
from .image import Picture
from .sample import Sample, rectified, trimmed

Decode = Callable[[Array], Array]
"""Turns encoded values (..., 3) into values linear in light."""

REACH_MM = (2.5, 6.0, 14.0, 32.0)
"""Standard deviations of the Gaussians that the surround's weight is made of."""
SHAPE = np.array([0.3, 0.4, 0.2, 0.1])
"""How stray light typically splits among the reaches: most from within a centimetre."""
TYPICAL = (0.025, 0.015)
"""Share of stray light where a card shows none of its own, and its standard uncertainty."""
MOST = 0.10
"""More than this isn't stray light: the two greys differ, or the grey lets the black show."""
_PER_MM = 2
_MARGIN_MM = 10
_ROUNDS = 3
_UNEVEN_PAINT = 0.01
"""Relative scatter of a painted cell: brush marks."""
_UNEVEN_COATS = 0.004
"""Relative difference between two coats of one paint."""
_MARKS_EACH = 30.0
"""Brush marks on a patch that count as independent."""
_SHAPE_SD = 0.003
"""How far the weight of one reach strays from its typical part of the share."""
_SHAPE_UNSURE = 0.2
"""Relative standard uncertainty of what lies around, for want of the true shape of its weight."""
_LIGHT_UNSURE = 0.003
"""Relative standard uncertainty of the light at a place."""


@dataclass(frozen=True)
class Stray:
    """Stray light as estimated.

    Attributes
    ----------
    weights : (4,) array
        Of the Gaussians of `REACH_MM`; their sum is the share.
    uncertainty : float
        Standard uncertainty of the share.
    typical : bool
        Whether it had to be taken as `TYPICAL`.
    """

    weights: Array
    uncertainty: float
    typical: bool = False

    @property
    def share(self) -> float:
        """Of the light of a patch that comes from around it."""
        return float(self.weights.sum())


@dataclass(frozen=True)
class Evened:
    """Values of the samples as if each lay alone under even light.

    Attributes
    ----------
    values : (N, 3) array
        Linear; 1 is what the encoding's top decodes to, at the mean light of the page.
    variance : (N, 3) array
        From the scatter of the cells and the uncertainty of the stray light.
    around : (N, 3) array
        What lies around each, weighted as stray light is.
    uneven : float
        Largest relative departure of the light over the page.
    """

    values: Array = field(repr=False)
    variance: Array = field(repr=False)
    around: Array = field(repr=False)
    stray: Stray
    uneven: float


class _Page:
    """The page as a map of 1 mm, with a margin around it."""

    def __init__(self, picture: Picture, found: Found, decode: Decode) -> None:
        width, height = found.layout.page_mm
        whole = Box(0.0, 0.0, width, height).grown(_MARGIN_MM)
        self.size = round(whole.width_mm), round(whole.height_mm)
        scale = min(_PER_MM * 25.4 / found.dpi, 1.0)
        small = cv2.resize(picture.pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        # Pixel centres are whole numbers at both scales.
        shift = np.array([[scale, 0, 0.5 * scale - 0.5], [0, scale, 0.5 * scale - 0.5], [0, 0, 1]])
        fine = (self.size[0] * _PER_MM, self.size[1] * _PER_MM)
        padded = np.dstack([small, np.full(small.shape[:2], picture.top, small.dtype)])
        warped = rectified(padded, shift @ found.to_px, whole, fine).astype(float)
        encoded = _binned(warped) / picture.top
        self.seen = encoded[:, :, 3] > 0.99
        self.linear = decode(encoded[:, :, :3])
        x, y = np.meshgrid(np.arange(self.size[0]) + 0.5, np.arange(self.size[1]) + 0.5)
        self.mm = np.stack([x, y], axis=-1) - _MARGIN_MM
        self.page_mm = found.layout.page_mm
        self.layout = found.layout

    @cached_property
    def paper(self) -> NDArray[np.bool_]:
        """Where bare paper shows."""
        layout = self.layout
        free = self.seen & self._in(Box(0.0, 0.0, *layout.page_mm).grown(-2.0))
        boxes = [b.box.grown(3.0) for b in layout.bands] + [t.box.grown(0.5) for t in layout.texts]
        boxes += [r.box.grown(1.0) for r in layout.references] + [f.quiet for f in layout.fiducials]
        for box in boxes:
            free &= ~self._in(box)
        return free

    def _in(self, box: Box) -> NDArray[np.bool_]:
        x, y = self.mm[..., 0], self.mm[..., 1]
        across = (x >= box.x_mm) & (x <= box.x_mm + box.width_mm)
        result: NDArray[np.bool_] = across & (y >= box.y_mm) & (y <= box.y_mm + box.height_mm)
        return result

    def terms(self, mm: Array) -> Array:
        """Terms of a quadratic surface over the page, without its constant, (..., 5)."""
        half = np.array(self.page_mm) / 2
        u = (mm - half) / half
        x, y = u[..., 0], u[..., 1]
        return np.stack([x, y, x * y, x * x - 1 / 3, y * y - 1 / 3], axis=-1)

    def surface(self, values: Array) -> Array:
        """Logarithmic slope and curvature of the light, from bare paper, (5, 3)."""
        at = self.paper
        design = np.column_stack([self.terms(self.mm[at]), np.ones(int(at.sum()))])
        logs = np.log(np.maximum(values[at], 1e-4))
        weight = np.ones(logs.shape[0])
        for _ in range(5):
            fit, *_ = np.linalg.lstsq(design * weight[:, None], logs * weight[:, None], rcond=None)
            off = np.abs(logs - design @ fit).max(axis=1)
            limit = 2 * 1.4826 * np.median(off) + 1e-6
            weight = np.sqrt(np.minimum(1.0, limit / np.maximum(off, 1e-9)))
        return np.asarray(fit[:-1])

    def blurred(self, values: Array) -> list[Array]:
        """What lies around each point, for each reach; what isn't seen counts as its neighbours."""
        seen = self.seen.astype(np.float32)
        held = np.where(self.seen[:, :, None], values, 0.0).astype(np.float32)
        result = []
        for reach in REACH_MM:
            pad = cv2.BORDER_CONSTANT
            total = cv2.GaussianBlur(held, (0, 0), reach, borderType=pad)
            share = cv2.GaussianBlur(seen, (0, 0), reach, borderType=pad)
            result.append(np.asarray(total / np.maximum(share, 1e-6)[:, :, None]))
        return result

    def at(self, values: Array, mm: Array) -> Array:
        """Values of a map at points (n, 2) mm, (n, 3)."""
        where = (mm + _MARGIN_MM - 0.5).astype(np.float32)
        found = cv2.remap(
            values.astype(np.float32), where[:, None, 0], where[:, None, 1], cv2.INTER_LINEAR
        )
        return np.asarray(found[:, 0, :], dtype=float)


def _binned(fine: Array) -> Array:
    height, width = fine.shape[0] // _PER_MM, fine.shape[1] // _PER_MM
    return np.asarray(fine.reshape(height, _PER_MM, width, _PER_MM, -1).mean(axis=(1, 3)))


def even_out(picture: Picture, found: Found, samples: Sequence[Sample], decode: Decode) -> Evened:
    """Take uneven light and stray light away.

    Parameters
    ----------
    picture : Picture
    found : Found
    samples : sequence of Sample
    decode : callable
        Makes the picture's values linear in light.

    Returns
    -------
    Evened

    Raises
    ------
    InputError
        Where no bare paper shows to judge the light by.

    Notes
    -----
    The light is a quadratic surface in the logarithm, fitted to the bare paper; stray light is
    fitted to the same grey on two grounds and to the bare black. The two are refined in turns.
    """
    page = _Page(picture, found, decode)
    if page.paper.sum() < 200:
        raise InputError(
            picture.facts.file, None, "too little bare paper shows", "scan the whole page"
        )
    cells = [decode(s.cells[s.kept]) for s in samples]
    where = [s.centres[s.kept] for s in samples]
    light = page.surface(page.linear)
    for _ in range(_ROUNDS):
        even = page.linear / np.exp(page.terms(page.mm) @ light)
        lit = [c / np.exp(page.terms(w) @ light) for c, w in zip(cells, where, strict=True)]
        around = page.blurred(even)
        stray = _estimated(page, samples, lit, where, around)
        for _ in range(2):
            own = _own(even, stray, around)
            around = page.blurred(own)
        light = light + page.surface(_own(even, stray, around))
    lit = [c / np.exp(page.terms(w) @ light) for c, w in zip(cells, where, strict=True)]
    weighted = np.asarray(sum(w * a for w, a in zip(stray.weights, around, strict=True)))
    values, variance, rings = [], [], []
    for c, w in zip(lit, where, strict=True):
        near = page.at(weighted, w)
        value, spread = trimmed((c - near) / (1 - stray.share))
        mean = near.mean(axis=0) / max(stray.share, 1e-9)
        # Cells of one brush mark vary together: some 2 mm of them count as one.
        free = max(len(c) / 16, 2)
        values.append(value)
        rings.append(mean)
        unsure = np.hypot(stray.uncertainty, _SHAPE_UNSURE * stray.share) * (mean - value)
        variance.append(spread**2 / free + unsure**2 + (_LIGHT_UNSURE * value) ** 2)
    field_ = np.exp(page.terms(page.mm[page._in(Box(0, 0, *page.page_mm))]) @ light)
    return Evened(
        np.array(values),
        np.array(variance),
        np.array(rings),
        stray,
        float(np.abs(field_ - 1).max()),
    )


def surround(picture: Picture, found: Found, samples: Sequence[Sample], decode: Decode) -> Array:
    """What lies around each sample, weighted as stray light typically is, (N, 3).

    Parameters
    ----------
    picture : Picture
    found : Found
    samples : sequence of Sample
    decode : Decode
        From encoded to linear values.

    Returns
    -------
    (N, 3) array
    """
    page = _Page(picture, found, decode)
    around = page.blurred(page.linear)
    near = np.asarray(sum(w * a for w, a in zip(SHAPE, around, strict=True)))
    return np.array([page.at(near, s.centres[s.kept]).mean(axis=0) for s in samples])


def _own(even: Array, stray: Stray, around: Sequence[Array]) -> Array:
    weighted = sum(w * a for w, a in zip(stray.weights, around, strict=True))
    return np.asarray((even - weighted) / (1 - stray.share))


def _estimated(
    page: _Page,
    samples: Sequence[Sample],
    lit: Sequence[Array],
    where: Sequence[Array],
    around: Sequence[Array],
) -> Stray:
    """Fit reading = a + sum of weights x surround to the greys, and to the bare black.

    Within a patch the reading follows its surround; between the two greys it does so but for what
    two coats of one grey differ by.
    """
    reach = len(REACH_MM)
    greys = [i for i, s in enumerate(samples) if s.site.kind == GREY]
    blacks = [i for i, s in enumerate(samples) if s.site.label == f"{BARE}/black"]
    # What is known beforehand: a typical share, in its typical shape.
    design = [
        np.full((1, reach), 1 / TYPICAL[1]),
        (np.eye(reach) - SHAPE[:, None]) / _SHAPE_SD,
    ]
    target = [np.array([TYPICAL[0] / TYPICAL[1]]), np.zeros(reach)]
    means, levels = [], []
    for i in greys + blacks:
        near = np.stack([page.at(a, where[i]) for a in around], axis=1)  # (n, reach, 3)
        reading, level = lit[i], np.median(lit[i], axis=0)
        # The three channels see the same brush marks.
        weight = np.sqrt(_MARKS_EACH / len(reading) / 3) / (_UNEVEN_PAINT * level)
        rows = (near - near.mean(axis=0)) * weight
        design.append(rows.transpose(0, 2, 1).reshape(-1, reach))
        target.append(((reading - reading.mean(axis=0)) * weight).ravel())
        means.append((reading.mean(axis=0), near.mean(axis=0)))
        levels.append(level)
    for group in (range(len(greys)), range(len(greys), len(means))):
        if len(group) < 2:
            continue
        reading = np.array([means[j][0] for j in group])
        near = np.array([means[j][1] for j in group])
        weight = np.sqrt(1 / 3) / (_UNEVEN_COATS * np.mean([levels[j] for j in group], axis=0))
        design.append(((near - near.mean(axis=0)) * weight).transpose(0, 2, 1).reshape(-1, reach))
        target.append(((reading - reading.mean(axis=0)) * weight).ravel())
    stacked, aim = np.concatenate(design), np.concatenate(target)
    weights, _ = nnls(stacked, aim)
    unsure = float(np.sqrt(np.linalg.inv(stacked.T @ stacked).sum()))
    if weights.sum() > MOST or not means:
        return Stray(TYPICAL[0] * SHAPE, TYPICAL[1], typical=True)
    return Stray(weights, unsure)
