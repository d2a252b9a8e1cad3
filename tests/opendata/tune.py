"""How the settings of the watercolor fit were chosen: ``python -m tests.opendata.tune``.

A search on the train split alone, of the same length for both models, for the share of mixtures
within a CIELAB difference of 5, with a soft edge so that near misses count. With mixtures in the
fit each quarter of the train split is predicted from the other three; the settings kept for that
are of an earlier, random search.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit
from tintladder.calibrate.optics.spectra import Array

from .watercolor import Watercolors, load
from .watercolor_fit import LADDERS, LADDERS_BY_TRANSPORT, WITH_MIXTURES, Settings, differences, fit

# Two of the settings are logarithms already and one is a share; the rest change by a factor.
ADDED = {"log_k": 0.7, "log_s": 0.7, "haze": 0.2}
FACTOR = np.exp(0.5)
ROUNDS = 4
LEAST = {"haze": 0.0, "clear": 1.0}
MOST = {"haze": 1.0, "spread": 1.2, "offset": 0.4}


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
    start: Settings, differ: Callable[[Watercolors, Settings], Array], tries: int
) -> Settings:
    """Nelder and Mead's simplex of so many tries, begun `ROUNDS` times round the best so far."""
    data, rng = load(), np.random.default_rng(0)
    names = [f.name for f in fields(Settings) if f.name != "model"]

    def moved(by: Array) -> Settings:
        values = {}
        for name, step in zip(names, by, strict=True):
            value = getattr(found, name)
            values[name] = float(
                value + ADDED[name] * step if name in ADDED else value * FACTOR**step
            )
        return replace(found, **values)

    def cost(by: Array) -> float:
        tried = moved(by)
        within = all(getattr(tried, n) <= most for n, most in MOST.items())
        if not within or any(getattr(tried, n) <= least for n, least in LEAST.items()):
            return 0.0
        return -float(expit(5 - differ(data, tried)).mean())

    found = start
    for _ in range(ROUNDS):
        sides = np.diag(rng.choice([-0.6, 0.6], len(names)))
        corners = np.vstack([np.zeros(len(names)), sides])
        options = {"initial_simplex": corners, "maxfev": tries, "adaptive": True}
        found = moved(minimize(cost, corners[0], method="Nelder-Mead", options=options).x)
    print(f"{differ.__name__}: {(differ(data, found) < 5).mean():.3f} of the train split under 5")
    return found


if __name__ == "__main__":
    print(search(LADDERS, from_ladders, tries=250))
    print(search(LADDERS_BY_TRANSPORT, from_ladders, tries=250))
    print(search(WITH_MIXTURES, with_mixtures, tries=15))
