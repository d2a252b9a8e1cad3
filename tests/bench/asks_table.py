"""What the benches of a painter's further questions share: a studio, its looks, its CPU times."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from statistics import median

import numpy as np
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.spectra import Array
from tintladder.database.easel.basis import usable
from tintladder.database.mixing.viewing import Viewing
from tintladder.database.store.store import Store

from .hand_table import Table
from .harness import Timing

REPEATS = 3
AIM = "62,-18,-9"
"""A colour that `recipe` is timed for."""


@cache
def table() -> Table:
    """A copy of the demo's studio, ten tubes, whose scale shows 0.1 g."""
    return Table.laid(Path(tempfile.mkdtemp(prefix="asks-")) / "demo")


@cache
def seen() -> Coefficients:
    """K and S of its tubes, as the eye sees them under gloss."""
    with Store.open(str(table().folder)) as store:
        return Viewing("gloss").of(usable(store))


def look(grams: Mapping[str, float]) -> Array:
    """CIELAB (3,) of exact grams of a film that hides."""
    c = seen()
    colour: Array = predict(c, dry_fractions(c, [dict(grams)])).lab()[0]
    return colour


def cpu(*typed: object, options: tuple[object, ...] = ()) -> Timing:
    """CPU seconds of a command, and of `recipe` for ten tubes, in turn; the medians."""
    table().run("recipe", AIM)
    seconds: tuple[list[float], list[float]] = ([], [])
    for _ in range(REPEATS):
        for words, kept in zip(((*typed, *options), ("recipe", AIM)), seconds, strict=True):
            start = time.process_time()
            said = table().run(*words)
            kept.append(time.process_time() - start)
            assert said.status == 0, f"{words}: {said.err}"
    return Timing(median(seconds[0]), median(seconds[1]))


def random_mix(rng: np.random.Generator, names: tuple[str, ...], white: str) -> dict[str, float]:
    """Two or three tubes in random parts; two thirds of the mixes hold white, little to much."""
    colours = [name for name in names if name != white]
    some = [str(p) for p in rng.choice(colours, int(rng.integers(1, 4)), replace=False)]
    grams = dict(zip(some, rng.dirichlet(np.ones(len(some))).tolist(), strict=True))
    if rng.random() < 2 / 3:
        grams[white] = float(np.exp(rng.uniform(np.log(0.3), np.log(40))))
    return grams
