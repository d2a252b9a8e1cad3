"""Finds the grid of a reference target's patches by the values that are known of them."""

from __future__ import annotations

import re
from itertools import product
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from ..errors import InputError
from ..formats.target_values import TargetValues
from ..optics.spectra import Array
from .image import Picture

_WIDE = 600
"""px that the picture is looked at in; patches of a few px tell enough."""
_MARGINS = np.linspace(0.0, 0.24, 9)
"""Shares of the picture beside the grid that a search begins with."""
_SPREAD = np.array([-0.4, 0.0, 0.4])
"""Points of a patch that are looked at, over its side."""
_LIKE = 0.93
"""Correlation with the known values from which on the grid counts as found (our own rule)."""


def grid_of(known: TargetValues) -> tuple[int, int]:
    """Columns and rows of a target, by its patches' names: A1 from the upper left.

    Raises
    ------
    InputError
        Where its patches aren't named so.
    """
    named = [match for label in known.labels if (match := re.fullmatch(r"([A-Z])(\d+)", label))]
    if len(named) < 4:
        raise InputError(
            known.file, None, "its patches aren't named A1, A2 and so on",
            "say the grid and its corners",
        )  # fmt: skip
    return max(int(m[2]) for m in named), max(ord(m[1]) for m in named) - 64


def find_grid(picture: Picture, known: TargetValues) -> Array:
    """Find the outer corners of a target's grid, (4, 2), px, clockwise from upper left.

    The target lies upright and fills at least half of the picture each way. Light values are
    compared, not colours: any device that sees a light patch lighter will do.

    Parameters
    ----------
    picture : Picture
    known : TargetValues

    Returns
    -------
    (4, 2) array, px

    Raises
    ------
    InputError
        Where nothing in the picture looks like the known values.
    """
    columns, rows = grid_of(known)
    high, wide = picture.pixels.shape[:2]
    scale = min(1.0, _WIDE / wide)
    small = cv2.resize(
        picture.pixels, (round(wide * scale), round(high * scale)), interpolation=cv2.INTER_AREA
    ).astype(np.float32)
    at = {label: i for i, label in enumerate(known.labels)}
    places = [
        (r, c, at[label])
        for r, c in product(range(rows), range(columns))
        if (label := f"{chr(65 + r)}{c + 1}") in at
    ]
    r, c, which = (np.array(column) for column in zip(*places, strict=True))
    middle = np.stack([(c + 0.5) / columns, (r + 0.5) / rows], axis=1)
    # Cube roots are about evenly spread to the eye, as what a device encodes is.
    wanted = np.cbrt(np.clip(known.tristimulus[which], 0, None))
    side = np.array([1 / columns, 1 / rows])
    points = (middle[:, None] + side * np.array(list(product(_SPREAD, _SPREAD)))).reshape(-1, 2)
    goal = np.repeat(wanted, len(_SPREAD) ** 2, axis=0)

    def unlike(corners: Array) -> float:
        seen = _seen(small, corners.reshape(4, 2), points)
        return -float(_correlation(seen.T, goal.T).mean())

    starts = _starts(small, middle, wanted)
    found = [
        minimize(
            unlike, corners.ravel(), method="Nelder-Mead",
            options={
                "initial_simplex": corners.ravel() + 0.01 * max(small.shape) * np.eye(9, 8, -1),
                "maxfev": 900, "xatol": 0.02, "fatol": 1e-6,
            },
        )
        for corners in starts
    ]  # fmt: skip
    best = min(found, key=lambda each: each.fun)
    if -best.fun < _LIKE:
        raise InputError(
            picture.facts.file, None,
            f"nothing in it looks like the patches of {known.file}",
            "check that both belong together and that the target lies upright; else say where its "
            "corners are",
        )  # fmt: skip
    # Where a pixel's middle is counted from differs by half a pixel of each size.
    result: Array = (best.x.reshape(4, 2) + 0.5) / scale - 0.5
    return result


def _starts(small: NDArray[Any], middle: Array, wanted: Array) -> list[Array]:
    """The likeliest corners of upright grids with plain margins, two of them."""
    ends = [(low, 1 - high) for low, high in product(_MARGINS, repeat=2)]
    low, high = np.array(ends).T
    high_px, wide_px = small.shape[:2]
    x = np.rint((low[:, None] + middle[:, 0] * (high - low)[:, None]) * (wide_px - 1)).astype(int)
    y = np.rint((low[:, None] + middle[:, 1] * (high - low)[:, None]) * (high_px - 1)).astype(int)
    seen = small[y[:, None, :], x[None, :, :]]
    like = _correlation(np.moveaxis(seen, -1, -2), wanted.T).mean(axis=-1)
    best = np.argsort(-like, axis=None)[:2]
    size = np.array([wide_px, high_px], dtype=float)
    return [
        np.array([(low[i], low[j]), (high[i], low[j]), (high[i], high[j]), (low[i], high[j])])
        * size
        for j, i in zip(*np.unravel_index(best, like.shape), strict=True)
    ]


def _seen(small: NDArray[Any], corners: Array, where: Array) -> Array:
    """What the picture shows at places of the grid, each from 0 to 1; (N, 3)."""
    ends = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=np.float32)
    to_px = cv2.getPerspectiveTransform(ends, corners.astype(np.float32))
    px = cv2.perspectiveTransform(where[None].astype(np.float32), to_px)[0]
    edge = cv2.BORDER_REPLICATE
    seen = cv2.remap(small, px[None, :, 0], px[None, :, 1], cv2.INTER_LINEAR, borderMode=edge)
    result: Array = seen[0].astype(float)
    return result


def _correlation(one: Array, other: Array) -> Array:
    """Correlation along the last axis; none where one is of a single value."""
    a = one - one.mean(axis=-1, keepdims=True)
    b = other - other.mean(axis=-1, keepdims=True)
    scale = np.sqrt((a**2).sum(axis=-1) * (b**2).sum(axis=-1))
    together = (a * b).sum(axis=-1)
    result: Array = np.divide(together, scale, out=np.zeros_like(together), where=scale > 0)
    return result
