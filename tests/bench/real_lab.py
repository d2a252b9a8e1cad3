"""Paints of the virtual lab that depart from its nominal as real paint does, in a studio.

Every world is painted and read anew with seeds of its own, on which nothing was tuned. Held out are
mixtures at random, and mixtures as recipes are: 60 to 90 % of white with one to three others. Each
is judged over black and over white, predicted at nominal thickness and weighed masses against what
the lab has of the truth without noise: CIEDE2000, D50 and 2 degrees.

The worlds: ``nominal``; ``crowding``, every pigment's scattering falls by up to 30 % as its share
grows; ``underbound``, each film has a surface of its own; ``black_by_partner``; ``thin``, an
applicator of 0.1 mm; ``oil_box``, an extender and light opaque yellows on films of 0.1 to 0.3 mm,
three steps a ladder; ``oil_like``, all of these together.

``coverage_...`` is the share of L*, a*, b*, pooled, inside their 95 % intervals, by what the studio
mixes by: where L* is below 30 (``dark``), 30 to 50 (``mid``) and above (``light``), of ``recipes``,
and of the paint that fares worst and best (``paint_least``, ``paint_most``). ``steps_aside`` counts
steps of which a patch was set aside; all are sound.

``real.unseen_lab_...`` are other seeds and other worlds. They are run by that name alone, for a
final score: nobody tunes on them, nor looks at them on the way.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.fit.uncertainty.check import check_mixtures

from tests.lab import oil_box, plan
from tests.lab.drawdown import LIKE_REAL, NOMINAL, Lab, Variant
from tests.lab.oil_box import OIL_BOX
from tests.lab.paints import PAINTS, LabPaint

from . import as_studio
from .as_studio import AS_USED, MODELS
from .harness import benchmark
from .oil import INSIDE, accused_steps, offsets

RANDOM, RECIPES = 30, 15
FEWEST = 24
"""Patches from which on a paint's coverage tells something."""


@dataclass(frozen=True)
class World:
    """A lab, what it paints, and with which seeds.

    Attributes
    ----------
    variant : Variant
    seeds : sequence of int
    gap_um : float or None
        Of every film; None: the box's own cards and gaps.
    mixtures_um : float
        Gap of the mixtures.
    """

    variant: Variant
    seeds: Sequence[int]
    gap_um: float | None = plan.GAP_UM
    mixtures_um: float = plan.GAP_UM

    @property
    def paints(self) -> Mapping[str, LabPaint]:
        """The sign shop's, or the box of oils."""
        return OIL_BOX if self.gap_um is None else PAINTS

    def cards(self, seed: int) -> list[Card]:
        """A ladder of each paint."""
        if self.gap_um is None:
            return oil_box.ladders(seed)
        return [at_gap(card, self.gap_um) for card in plan.ladders()]


WORLDS = {
    "nominal": World(NOMINAL, (611, 612)),
    "crowding": World(LIKE_REAL["pigments crowd"], (621, 622)),
    "underbound": World(LIKE_REAL["underbound films"], (631,)),
    "black_by_partner": World(LIKE_REAL["black by partner"], (641,)),
    "thin": World(NOMINAL, (651,), 100.0, 100.0),
    "oil_box": World(NOMINAL, (661,), None, 200.0),
    "oil_like": World(LIKE_REAL["all of these"], (671,), None, 200.0),
}
UNSEEN = {
    "nominal": World(NOMINAL, (7811, 7812, 7813)),
    "crowding": World(Variant(pigments_crowd=0.3, g=1.0), (7821, 7822)),
    "underbound": World(Variant(underbound=1.0, thickness_spread=0.05), (7831, 7832)),
    "black_by_partner": World(Variant(partners=0.7, index=1.0), (7841, 7842)),
    "thin": World(Variant(g=1.0), (7851, 7852), 120.0, 150.0),
    "oil_box": World(Variant(index=0.5), (7861, 7862), None, 150.0),
    "oil_like": World(
        Variant(underbound=1.0, pigments_crowd=0.2, partners=1.0, g=1.0), (7871, 7872), None, 150.0
    ),
}
MEANS = {"nominal": 0.25, "crowding": 0.6}
"""Targets of the mean, as the studio mixes."""


def at_gap(card: Card, gap_um: float) -> Card:
    """The same card drawn down with another applicator."""
    return replace(card, drawdowns=tuple(replace(d, gap_um=gap_um) for d in card.drawdowns))


def mixtures(world: World, seed: int, counts: tuple[int, int] = (RANDOM, RECIPES)) -> Card:
    """A check card of mixtures of 10 g: so many at random, and so many as recipes are."""
    rng = np.random.default_rng([seed, 0x7EA1])
    white, *others = world.paints
    drawdowns = []
    for i in range(sum(counts)):
        recipe = i >= counts[0]
        if recipe:
            some = [white, *rng.choice(others, int(rng.integers(1, 4)), replace=False)]
            held = rng.uniform(0.6, 0.9)
            shares = np.append(held, (1 - held) * rng.dirichlet(np.ones(len(some) - 1)))
        else:
            some = list(rng.choice([white, *others], int(rng.integers(2, 5)), replace=False))
            shares = rng.dirichlet(np.ones(len(some)))
        grams = {
            str(p): round(float(0.1 + (10 - 0.1 * len(some)) * share), 2)
            for p, share in zip(some, shares, strict=True)
        }
        step = f"{'recipe' if recipe else 'mix'}-{i + 1}"
        drawdowns.append(Drawdown(step, None, grams, gap_um=world.mixtures_um))
    name = f"mixtures-{seed}"
    return Card(name, f"{name}.toml", tuple(drawdowns), purpose="check", balance_g=plan.BALANCE_G)


@dataclass(frozen=True)
class Score:
    """How a world came out, over its seeds.

    Attributes
    ----------
    de00 : mapping of model to (N,) array
    patches : DataFrame
        By what the studio mixes by: l (as it truly is), recipe, paints, and inside (the share of
        L*, a*, b* that lies in its interval).
    aside : mapping of model to int
    """

    de00: Mapping[str, np.ndarray]
    patches: pd.DataFrame
    aside: Mapping[str, int]


def scored(world: World, counts: tuple[int, int] = (RANDOM, RECIPES), points: int = 24) -> Score:
    """Paint, read, fit and judge."""
    lab = Lab(world.variant, points=points, paints=world.paints)
    de00: dict[str, list[np.ndarray]] = {name: [] for name in (AS_USED, *MODELS)}
    tables, aside = [], dict.fromkeys(MODELS, 0)
    with threadpool_limits(1, "blas"):
        for seed in world.seeds:
            made = as_studio.of_cards(lab.read(world.cards(seed), seed), lab.tubes)
            card = mixtures(world, seed, counts)
            truth = lab.mixtures(card, seed).readings
            for name, used in made.used.items():
                check = check_mixtures(used, [truth])
                de00[name].append(check.patches["de00"].to_numpy(float))
                if name == AS_USED:
                    off, sd = offsets(check)
                    table = check.patches[["step", "l"]].copy()
                    table["inside"] = (np.abs(off) < INSIDE * sd).mean(axis=1)
                    held = {d.step: tuple(d.masses) for d in card.drawdowns}
                    table["paints"] = table["step"].map(held)
                    tables.append(table)
            for name, fit in made.fits.items():
                aside[name] += accused_steps(fit)
    patches = pd.concat(tables, ignore_index=True)
    patches["recipe"] = patches["step"].str.startswith("recipe")
    return Score({name: np.concatenate(found) for name, found in de00.items()}, patches, aside)


@cache
def score(unseen: bool, name: str) -> Score:
    """The same, once."""
    return scored((UNSEEN if unseen else WORLDS)[name])


def _paints(patches: pd.DataFrame) -> list[float]:
    """Coverage of the mixtures that hold each paint, where there are enough."""
    names = sorted({paint for paints in patches["paints"] for paint in paints})
    held = {paint: patches["paints"].map(lambda p, paint=paint: paint in p) for paint in names}
    return [patches.loc[h, "inside"].mean() for h in held.values() if h.sum() >= FEWEST]


STRATA: dict[str, Callable[[pd.DataFrame], float]] = {
    "dark": lambda t: t.loc[t["l"] < 30, "inside"].mean(),
    "mid": lambda t: t.loc[t["l"].between(30, 50), "inside"].mean(),
    "light": lambda t: t.loc[t["l"] > 50, "inside"].mean(),
    "recipes": lambda t: t.loc[t["recipe"], "inside"].mean(),
    "paint_least": lambda t: min(_paints(t)),
    "paint_most": lambda t: max(_paints(t)),
}
_FIGURES: Mapping[str, Callable[[np.ndarray], float]] = {
    "mean": lambda off: float(off.mean()),
    "p95": lambda off: float(np.percentile(off, 95)),
    "worst": lambda off: float(off.max()),
}


def _register(name: str, unseen: bool) -> None:
    """Register a world's figures."""
    only = "real.unseen_" if unseen else None
    of = f"real.{'unseen_' if unseen else ''}lab_{name}"
    for model in (AS_USED, *MODELS):
        for figure, take in _FIGURES.items():
            target = MEANS.get(name) if (model, figure) == (AS_USED, "mean") else None
            benchmark(f"{of}.{model}.{figure}", "CIEDE2000", target=target, only=only)(
                lambda model=model, take=take: take(score(unseen, name).de00[model])
            )
    for stratum, share in STRATA.items():
        unit = "share of L*, a*, b* in their 95 % intervals"
        judged = {"target": 0.90, "sense": "at least"} if stratum != "paint_most" else {}
        run = lambda share=share: float(share(score(unseen, name).patches))  # noqa: E731
        benchmark(f"{of}.coverage_{stratum}", unit, only=only, **judged)(run)
        if stratum != "paint_least":
            benchmark(f"{of}.coverage_{stratum}_high", "the same", target=0.98, only=only)(run)
    for model in MODELS:
        benchmark(f"{of}.{model}.steps_aside", "steps, all sound", target=0, only=only)(
            lambda model=model: score(unseen, name).aside[model]
        )


for _name in WORLDS:
    _register(_name, unseen=False)
for _name in UNSEEN:
    _register(_name, unseen=True)
