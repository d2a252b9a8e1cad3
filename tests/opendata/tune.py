"""How the settings of the watercolor fit were chosen: ``python -m tests.opendata.tune``.

A seeded random search, on the train split alone, for the share of mixtures within a CIELAB
difference of 5, with a soft edge so that near misses count. With mixtures in the fit each quarter
of the train split is predicted from the other three.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
from scipy.special import expit
from tintladder.calibrate.optics.spectra import Array

from .watercolor import Watercolors, load
from .watercolor_fit import LADDERS, LADDERS_BY_TRANSPORT, WITH_MIXTURES, Settings, differences, fit

# Two of the settings are logarithms already and one is a share; the rest change by a factor.
ADDED = {"log_k": 0.7, "log_s": 0.7, "haze": 0.3}
MOST = {"haze": 1.0, "spread": 1.2, "offset": 0.1}


def from_ladders(data: Watercolors, settings: Settings) -> Array:
    return differences(fit(data, settings=settings), data.train)[0]


def with_mixtures(data: Watercolors, settings: Settings) -> Array:
    quarter = np.random.default_rng(0).integers(0, 4, len(data.train))
    result = np.empty(len(data.train))
    for q in range(4):
        washes = fit(data, data.train.take(quarter != q), settings)
        result[quarter == q] = differences(washes, data.train.take(quarter == q))[0]
    return result


def search(
    start: Settings, differ: Callable[[Watercolors, Settings], Array], tries: int, seed: int = 0
) -> Settings:
    """Keep any random change that serves; widen the changes on success, narrow them on failure."""
    data, rng, width = load(), np.random.default_rng(seed), 0.4

    def score(settings: Settings) -> float:
        return float(expit(5 - differ(data, settings)).mean())

    best, found = score(start), start
    for _ in range(tries):
        change = {}
        for name in (f.name for f in fields(Settings) if f.name != "model"):
            if rng.random() < 0.5:
                value, by = getattr(found, name), width * rng.normal()
                value = value + ADDED[name] * by if name in ADDED else value * np.exp(by)
                change[name] = float(min(value, MOST.get(name, np.inf)))
        tried = replace(found, **change)
        reached = score(tried) if tried.haze >= 0 else -np.inf
        if reached > best:
            best, found, width = reached, tried, min(1.3 * width, 1.0)
        else:
            width = max(0.97 * width, 0.04)
    print(f"{differ.__name__}: {(differ(data, found) < 5).mean():.3f} of the train split under 5")
    return found


if __name__ == "__main__":
    print(search(LADDERS, from_ladders, tries=200))
    print(search(LADDERS_BY_TRANSPORT, from_ladders, tries=200))
    print(search(WITH_MIXTURES, with_mixtures, tries=60))
