"""What mixtures and shades teach, in worlds of the virtual lab whose paints are like real ones.

The worlds are those of `real_lab`, with seeds of their own, on which nothing was tuned. Each paint
has its ladder. ``ladders`` is fitted to these alone; ``mixtures`` learns from 12 mixtures too;
``shades`` has a shade of each colour beside its ladder, 2 % of black let down with white first.
Judged are 45 other mixtures, over black and over white, against what the lab has of the truth
without noise; ``left_out`` are the 12 mixtures, each predicted by a fit that left it out, which is
what a studio without another card is told. ``of_shades`` is of shades alone, of 1, 5 and 10 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
from threadpoolctl import threadpool_limits
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.measure import measure_of
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.cards.shade import Shade, weigh_shades
from tintladder.calibrate.cards.weighing_out import Step
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.optics.spectra import Array

from tests.lab.drawdown import Lab

from .as_studio import MODELS
from .harness import benchmark
from .real_lab import WORLDS, World, mixtures

SEEDS = {"nominal": 9101, "black_by_partner": 9102, "oil_like": 9103}
TAUGHT = ("ladders", "mixtures", "shades")
_SHARES = (0.01, 0.05, 0.1)


def _black(world: World) -> str:
    return next(name for name, paint in world.paints.items() if paint.black)


def _shades(world: World) -> list[Card]:
    white, black = next(iter(world.paints)), _black(world)
    cards = []
    for paint in (p for p in world.paints if p not in (white, black)):
        step = {paint: Step(0.0, gap_um=world.mixtures_um)}
        steps = weigh_shades(step, white, Shade(black, 0.02), measure_of("0.01"), {})
        name = f"{paint.lower()}-shade"
        cards.append(Card(name, f"{name}.toml", steps, balance_g=0.004))
    return cards


def _of_shades(world: World) -> Card:
    white, black = next(iter(world.paints)), _black(world)
    steps = tuple(
        Drawdown(f"{p} {s:g}", None, {p: 10 * (1 - s), black: 10 * s}, gap_um=world.mixtures_um)
        for p in world.paints if p not in (white, black) for s in _SHARES
    )  # fmt: skip
    return Card("of shades", "of-shades.toml", steps, purpose="check")


@cache
def scored(name: str, taught: str, model: str) -> dict[str, Array]:
    """CIEDE2000 of other mixtures, of shades, and of what taught where it was left out."""
    world, seed = WORLDS[name], SEEDS[name]
    lab = Lab(world.variant, points=24, paints=world.paints)
    readings: list[CardReadings] = lab.read(world.cards(seed), seed)
    teach = replace(mixtures(world, seed + 1, (6, 6)), purpose="learn", name="taught")
    if taught == "mixtures":
        readings += lab.read([teach], seed + 1)
    elif taught == "shades":
        readings += lab.read(_shades(world), seed + 2)
    judges: Sequence[Card] = (mixtures(world, seed), _of_shades(world))
    with threadpool_limits(1, "blas"):
        settings = FitSettings(model=MODELS[model])  # type: ignore[arg-type]
        fit = fit_paints(readings, lab.tubes, settings, leave_out=taught == "mixtures")
        others, shades = (
            check_mixtures(fit.coefficients, [lab.mixtures(card, seed).readings])
            .patches["de00"]
            .to_numpy(float)
            for card in judges
        )
    left_out = list[float]()
    for without in fit.without:
        card = replace(readings[-1], card=replace(teach, purpose="check"))
        patches = check_mixtures(without.coefficients, [card]).patches
        own = [("taught", step) in without.left_out for step in patches["step"]]
        left_out += patches.loc[own, "de00"].tolist()
    return {"others": others, "of_shades": shades, "left_out": np.array(left_out)}


for _name in SEEDS:
    for _model in MODELS:
        for _taught in TAUGHT:
            for _what in ("others", "of_shades", *(("left_out",) * (_taught == "mixtures"))):
                benchmark(f"real.learning_{_name}.{_taught}.{_model}.{_what}_mean", "CIEDE2000")(
                    lambda name=_name, taught=_taught, model=_model, what=_what: float(
                        scored(name, taught, model)[what].mean()
                    )
                )
