"""True on real paint: measured oil paints over black and over white, as a studio fits them.

Every figure is of films that no fit saw, each predicted at its nominal thickness, over the sample's
own bare card, and judged over black and over white both: CIEDE2000, D50 and 2 degrees.

``real.oil.without_shades``
    Masstones and tints in white are fitted, 40 films; 19 are held out, shades among them.
``real.oil.with_shades``
    The shades are fitted too; 10 films are held out.
``real.oil.across``
    Every mix is held out once, a fifth at a time: 46 films.

Each by ``two_flux``, by ``transport``, and ``as_used``: what the studio mixes by. The figures:

``mean``, ``median``, ``p95``, ``worst``
    CIEDE2000 of patches.
``free_...``
    The same with one thickness free for each film: what is wrong with colour alone.
``coverage_l``, ``_a``, ``_b``
    Share of patches whose L*, a*, b* lies in its 95 % interval; ``..._high`` is the upper end of
    what is wanted.
``band_even``, ``band_scaled``
    How wide the bands are (median) beside bands calibrated on the other paints: one width for all
    patches, or the bands themselves widened until they hold 95 % of other paints' errors.
``steps_aside``, ``masstones_aside``, ``told_to_look``
    Steps of which a patch was set aside, masstones among them, and paints of which the verdict is
    not that they are good to mix by or a first guess. All films are sound as far as the paper says.
``left_out_mean``, ``left_out_worst``
    Steps of ladders as the others predict them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from tintladder.calibrate.fit.problem.result import JointFit
from tintladder.calibrate.fit.uncertainty.check import Check
from tintladder.calibrate.optics.spectra import Array

from . import oil
from .as_studio import AS_USED, MODELS
from .harness import benchmark

TRIALS = {"without_shades": False, "with_shades": True}
TARGETS = {
    "without_shades": {"mean": 3.0, "p95": 6.0, "worst": 8.0},
    "with_shades": {"mean": 2.6, "p95": 6.5, "worst": 8.0},
}
TWO_FLUX_WORST = 8.0
MOST_WIDE = 1.5
SOUND = ("good to mix by", "a first guess")

_FIGURES: dict[str, Callable[[Array], float]] = {
    "mean": lambda off: float(off.mean()),
    "median": lambda off: float(np.median(off)),
    "p95": lambda off: float(np.percentile(off, 95)),
    "worst": lambda off: float(off.max()),
}


def _coverage(name: str, check: Callable[[], Check], judged: bool, many: bool) -> None:
    """Register how often the truth lies in each interval; an upper end where there are many."""
    for i, what in enumerate("lab"):
        unit = f"share of patches' {what.upper() if what == 'l' else what}* in its 95 % interval"
        least = {"target": 0.88, "sense": "at least"} if judged else {}
        benchmark(f"{name}.coverage_{what}", unit, **least)(
            lambda i=i: float(oil.coverage(check())[i])
        )
        if judged and many:
            benchmark(f"{name}.coverage_{what}_high", "the same", target=0.98)(
                lambda i=i: float(oil.coverage(check())[i])
            )
    for i, what in enumerate(("even", "scaled")):
        benchmark(
            f"{name}.band_{what}",
            "width over that of a band calibrated on other paints",
            target=MOST_WIDE if judged else None,
        )(lambda i=i: oil.band_ratios(check())[i])


def _predicted(trial: str, with_shades: bool, model: str) -> None:
    """Register how films held out come out."""
    name = f"real.oil.{trial}.{model}"
    targets = TARGETS[trial] if model == AS_USED else {}
    if model == "two_flux":
        targets = {"worst": TWO_FLUX_WORST}
    for figure, of in _FIGURES.items():
        benchmark(f"{name}.{figure}", "CIEDE2000", target=targets.get(figure))(
            lambda of=of: of(oil.nominal(with_shades, model).patches["de00"].to_numpy(float))
        )
    for figure, of in _FIGURES.items():
        benchmark(f"{name}.free_{figure}", "CIEDE2000, thickness free")(
            lambda of=of: of(oil.free(with_shades, model))
        )
    _coverage(name, lambda: oil.nominal(with_shades, model), model == AS_USED, not with_shades)


def _fitted(trial: str, with_shades: bool, model: str) -> None:
    """Register what the fit says of films that are sound."""
    name = f"real.oil.{trial}.{model}"

    def fit() -> JointFit:
        return oil.trial(with_shades).fitted.fits[model]

    benchmark(f"{name}.steps_aside", "steps", target=1)(lambda: oil.accused_steps(fit()))
    benchmark(f"{name}.masstones_aside", "masstones", target=0)(lambda: oil.masstones_aside(fit()))
    benchmark(f"{name}.told_to_look", "paints of 14")(
        lambda: sum(paint.verdict not in SOUND for paint in fit().paints.values())
    )
    for figure in ("mean", "worst"):
        benchmark(f"{name}.left_out_{figure}", "CIEDE2000 of steps by the others")(
            lambda figure=figure: _FIGURES[figure](oil.left_out(fit()))
        )


def _across(model: str) -> None:
    """Register how all mixes come out, each held out once."""
    name = f"real.oil.across.{model}"
    for figure, of in _FIGURES.items():
        benchmark(f"{name}.{figure}", "CIEDE2000")(
            lambda of=of: of(oil.across(model).patches["de00"].to_numpy(float))
        )
    _coverage(name, lambda: oil.across(model), True, True)


for _trial, _with_shades in TRIALS.items():
    for _model in (AS_USED, *MODELS):
        _predicted(_trial, _with_shades, _model)
    for _model in MODELS:
        _fitted(_trial, _with_shades, _model)
for _model in MODELS:
    _across(_model)
