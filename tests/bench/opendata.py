"""How well K and S from washes on paper predict measured watercolor mixtures.

Each of the 156 genuine two-pigment mixtures of the published test split is scored once, against
its measured reflectance, in CIELAB under D65 at 2 degrees. Settings were found on the train split.

The published split has each pair of pigments on both sides, at other quantities. Whether mixtures
teach how pigments mix, and not how a pair of them does, shows where a pair is left out whole.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from tintladder.calibrate.optics.spectra import Array

from tests.opendata.watercolor import Mixtures, load
from tests.opendata.watercolor_fit import LADDERS, WITH_MIXTURES, Settings, Washes, differences, fit

PUBLISHED_NETWORK = 0.83
"""Share under 5 that Chen et al. (arXiv 1904.00275) report for their network; it counts all 488
rows of the split, of which a third are a pigment mixed with itself."""


def score(washes: Washes, mixtures: Mixtures) -> dict[str, object]:
    """Share within a CIELAB 1976 difference of 5, with its bootstrap 95 % interval, and means."""
    return _figures(*differences(washes, mixtures))


def _figures(de76: Array, de00: Array) -> dict[str, object]:
    drawn = np.random.default_rng(0).integers(0, len(de76), (10_000, len(de76)))
    low, high = np.percentile((de76[drawn] < 5).mean(axis=1), [2.5, 97.5])
    return {
        "share_under_5": float((de76 < 5).mean()),
        "interval": (float(low), float(high)),
        "mean_de76": float(de76.mean()),
        "mean_de00": float(de00.mean()),
        "n": len(de76),
    }


PAIR_FOLDS = 6
"""A sixth of the pairs is left out at a time: 13."""


@cache
def watercolor_pairs_left_out(
    settings: Settings = WITH_MIXTURES, folds: int = PAIR_FOLDS
) -> dict[str, object]:
    """Score all mixtures of both splits, each by a fit that saw no mixture of its two pigments."""
    data = load()
    every = Mixtures(
        *(
            np.concatenate([getattr(data.train, name), getattr(data.test, name)])
            for name in ("pigments", "quantities", "reflectance")
        )
    )
    pair = np.unique(every.pigments, axis=0, return_inverse=True)[1].ravel()
    left_out = np.random.default_rng(0x9A12).permutation(pair.max() + 1)[pair] % folds
    off = np.empty((2, len(every)))
    for fold in range(folds):
        washes = fit(data, every.take(left_out != fold), settings)
        off[:, left_out == fold] = differences(washes, every.take(left_out == fold))
    return _figures(*off)


@cache
def watercolor_ladders(settings: Settings = LADDERS) -> dict[str, object]:
    """Score with every pigment fitted from its own ladder alone."""
    data = load()
    return score(fit(data, settings=settings), data.test)


@cache
def watercolor_with_mixtures(settings: Settings = WITH_MIXTURES) -> dict[str, object]:
    """Score with the train split's mixtures in the fit beside the ladders."""
    data = load()
    return score(fit(data, data.train, settings), data.test)
