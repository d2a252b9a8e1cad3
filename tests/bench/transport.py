"""The light followed through the film, beside two fluxes on the same worlds.

The lab's g is 0.6 (and differs by paint in one variant), the table's another.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.search import search

from tests.heldout import Figures, by_coefficients, differences, figures
from tests.invented_palette import by_transport, invented_coefficients
from tests.lab.drawdown import NOMINAL, VARIANTS, Lab
from tests.opendata.watercolor import Unavailable
from tests.opendata.watercolor_fit import (
    LADDERS,
    LADDERS_BY_TRANSPORT,
    WITH_MIXTURES,
    Settings,
)

from .fit import demo_readings
from .harness import Skipped, Timing, benchmark, timed
from .mixing import palette, targets
from .opendata import watercolor_ladders, watercolor_with_mixtures
from .robust import left_in_peace, named_share, outcomes
from .uncertainty import STRATA, lab_coverage
from .worlds import world

SETTINGS = FitSettings(model="transport")


@cache
def heldout(name: str, noisy: bool, settings: FitSettings = SETTINGS) -> Figures:
    """Score the fit on every seed of a variant of the lab."""
    worlds = world(name, noisy)
    # Where nothing errs the seeds differ in their mixtures alone: one fit is all of them.
    fits = [fit_paints(w.cards, w.tubes, settings) for w in (worlds if noisy else worlds[:1])]
    found = zip(fits if noisy else fits * len(worlds), worlds, strict=True)
    scores = [differences(by_coefficients(fit.coefficients), w.mixtures) for fit, w in found]
    return figures(np.concatenate(scores))


def ratio(name: str) -> float:
    """Mean CIEDE2000 by two fluxes over that by transport, exact readings."""
    return heldout(name, False, FitSettings()).mean / heldout(name, False).mean


@benchmark("transport.heldout_exact_mean_de00", "CIEDE2000", target=0.3)
def exact_mean() -> float:
    """200 random mixtures over 10 seeds of the nominal lab, no error of any kind."""
    return heldout("nominal", False).mean


@benchmark("transport.heldout_exact_worst_de00", "CIEDE2000", target=1.0)
def exact_worst() -> float:
    return heldout("nominal", False).worst


@benchmark("transport.heldout_mean_de00", "CIEDE2000", target=0.6)
def mean() -> float:
    """The same, demo noise."""
    return heldout("nominal", True).mean


@benchmark("transport.heldout_p95_de00", "CIEDE2000", target=1.3)
def p95() -> float:
    return heldout("nominal", True).p95


@benchmark("transport.heldout_worst_de00", "CIEDE2000")
def worst() -> float:
    return heldout("nominal", True).worst


for _name in VARIANTS:
    if _name != NOMINAL.name:
        _slug = re.sub(r"[^a-z0-9]+", "_", _name.lower()).strip("_")
        benchmark(
            f"transport.stress_{_slug}_exact_ratio",
            "two fluxes' mean over its own",
            target=2.0,
            sense="at least",
        )(lambda name=_name: ratio(name))
        benchmark(f"transport.stress_{_slug}_mean_de00", "CIEDE2000")(
            lambda name=_name: heldout(name, True).mean
        )


@benchmark(
    "transport.fit_seconds",
    "s",
    target=3.0,
    baseline="the same fit by two fluxes",
    ratio_target=1 / 3,
)
def fit_seconds() -> Timing:
    """The demo's ten paints."""
    tubes, readings = Lab().tubes, demo_readings()
    return timed(
        lambda: fit_paints(readings, tubes, SETTINGS),
        lambda: fit_paints(readings, tubes),
        repeats=3,
    )


@cache
def coefficients(settings: FitSettings) -> Coefficients:
    """Of the demo's ten paints."""
    return fit_paints(demo_readings(), Lab().tubes, settings).coefficients


@benchmark(
    "transport.predict_seconds",
    "s",
    target=1.0,
    baseline="the same mixes by two fluxes",
    ratio_target=1 / 3,
)
def predict_seconds() -> Timing:
    """A thousand opaque mixes with their bands, as a recipe is searched for."""
    ours, theirs = coefficients(SETTINGS), coefficients(FitSettings())
    rng = np.random.default_rng(1)
    names = list(ours.paints)
    mixes = [
        dict(zip(rng.choice(names, 3, replace=False), rng.uniform(0.1, 1, 3), strict=True))
        for _ in range(1000)
    ]
    shares = dry_fractions(ours, mixes)
    return timed(lambda: predict(ours, shares), lambda: predict(theirs, shares), repeats=5)


@benchmark(
    "transport.search_seconds",
    "s, 31,930 sets of 30 paints, one target",
    target=1.5,
    baseline="the same search by two fluxes",
    ratio_target=1 / 3,
)
def search_seconds() -> Timing:
    """Paints of much the same colour, in both models."""
    theirs = invented_coefficients(30)
    ours, goal = by_transport(theirs), targets(2, 1, palette())[1:]
    # A palette of its own each time: nothing is kept from one search to the next.
    return timed(
        lambda: search(Palette(ours), goal), lambda: search(Palette(theirs), goal), repeats=3
    )


for _what, _words in (("reflectance", "reflectance"), ("l", "L*"), ("a", "a*"), ("b", "b*")):
    benchmark(
        f"transport.coverage_{_what}",
        f"share of held-out mixtures' {_words} in its 95 % interval",
        target=0.90,
        sense="at least",
    )(lambda what=_what: lab_coverage(SETTINGS)[what])


for _stratum in STRATA:
    benchmark(
        f"transport.coverage_{_stratum}",
        f"the least share of L*, a* and b* of {_stratum} mixtures in their 95 % intervals",
        target=0.90,
        sense="at least",
    )(lambda stratum=_stratum: lab_coverage(SETTINGS)[stratum])


@benchmark("transport.coverage_worst_variant", "the least of all these, over the stress variants")
def coverage_worst() -> float:
    return min(
        min(lab_coverage(SETTINGS, name).values()) for name in VARIANTS if name != NOMINAL.name
    )


TRIALS = range(100)


@benchmark("transport.wrong_step_named", "share of telling trials", target=0.95, sense="at least")
def step_named() -> float:
    """100 ladders of the lab, each with one thing wrong."""
    return named_share(outcomes("lab", TRIALS, SETTINGS))


@benchmark("transport.sound_ladder_in_peace", "share of trials", target=0.95, sense="at least")
def in_peace() -> float:
    """100 sound ladders of the lab."""
    return left_in_peace("lab", TRIALS, SETTINGS)


def by_both(
    scored: Callable[[Settings], dict[str, object]], theirs: Settings, ours: Settings, figure: str
) -> float:
    """A figure of the watercolor mixtures by transport, over that by two fluxes."""
    try:
        return float(scored(ours)[figure]) / float(scored(theirs)[figure])  # type: ignore[arg-type]
    except Unavailable as reason:
        raise Skipped(str(reason)) from None


_WASHES = {
    "ladders": (watercolor_ladders, LADDERS, LADDERS_BY_TRANSPORT),
    "mixtures": (
        watercolor_with_mixtures, WITH_MIXTURES, replace(WITH_MIXTURES, model="transport"),
    ),
}  # fmt: skip
for _from, _how in _WASHES.items():
    benchmark(
        f"transport.opendata_{_from}_share",
        "share of 156 watercolor mixtures under 5 (CIELAB 1976), over two fluxes'",
        target=1.0,
        sense="at least",
    )(lambda how=_how: by_both(*how, "share_under_5"))
    benchmark(
        f"transport.opendata_{_from}_mean", "mean CIEDE2000 of them, over two fluxes'", target=1.0
    )(lambda how=_how: by_both(*how, "mean_de00"))
