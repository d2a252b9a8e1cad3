"""How well K and S from washes on paper predict measured watercolor mixtures.

Each of the 156 genuine two-pigment mixtures of the published test split is scored once, against
its measured reflectance, in CIELAB under D65 at 2 degrees. Settings were found on the train split.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from tests.opendata.watercolor import Mixtures, load
from tests.opendata.watercolor_fit import LADDERS, WITH_MIXTURES, Settings, Washes, differences, fit

PUBLISHED_NETWORK = 0.83
"""Share under 5 that Chen et al. (arXiv 1904.00275) report for their network; it counts all 488
rows of the split, of which a third are a pigment mixed with itself."""


def score(washes: Washes, mixtures: Mixtures) -> dict[str, object]:
    """Share within a CIELAB 1976 difference of 5, with its bootstrap 95 % interval, and means."""
    de76, de00 = differences(washes, mixtures)
    drawn = np.random.default_rng(0).integers(0, len(de76), (10_000, len(de76)))
    low, high = np.percentile((de76[drawn] < 5).mean(axis=1), [2.5, 97.5])
    return {
        "share_under_5": float((de76 < 5).mean()),
        "interval": (float(low), float(high)),
        "mean_de76": float(de76.mean()),
        "mean_de00": float(de00.mean()),
        "n": len(mixtures),
    }


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
