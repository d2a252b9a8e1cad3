"""What a fit costs: one new tube, and two hundred paints, against the cost of ten."""

from __future__ import annotations

import time
from dataclasses import replace
from functools import cache

from tintladder.calibrate.cards.card import Card
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.new_tube import fit_new_tubes
from tintladder.calibrate.fit.problem.tube import Tube

from tests.lab.drawdown import Lab
from tests.lab.paints import WHITE

from .fit import demo_readings
from .harness import Timing, benchmark, timed

MANY = 200


def renamed(reading: CardReadings, suffix: str) -> CardReadings:
    """The card as another paint's, with the same white."""

    def name(paint: str) -> str:
        return paint if paint == WHITE else f"{paint}{suffix}"

    card = reading.card
    drawdowns = tuple(
        replace(
            d,
            paint=None if d.paint is None else name(d.paint),
            masses={name(p): m for p, m in d.masses.items()},
        )
        for d in card.drawdowns
    )
    other: Card = replace(card, name=f"{card.name}{suffix}", drawdowns=drawdowns)
    return replace(reading, card=other)


@cache
def studio(paints: int) -> tuple[tuple[CardReadings, ...], dict[str, Tube]]:
    """The demo's white and as many ladders, the demo's nine over and over."""
    tubes, demo = dict(Lab().tubes), demo_readings()
    white = [r for r in demo if set(r.card.paints) == {WHITE}]
    rest = [r for r in demo if set(r.card.paints) != {WHITE}]
    found = list(white)
    for i in range(paints - 1):
        suffix = "" if i < len(rest) else f"-{i // len(rest)}"
        reading = renamed(rest[i % len(rest)], suffix)
        found.append(reading)
        for paint in reading.card.paints:
            original = paint.removesuffix(suffix) if suffix else paint
            tubes[paint] = replace(tubes[original], paint=paint)
    return tuple(found), tubes


@benchmark(
    "fit.new_tube_seconds",
    "s",
    target=0.030,
    baseline="the joint fit of the demo's ten paints",
    ratio_target=5.0,
)
def new_tube() -> Timing:
    """One ladder against its known white."""
    readings, tubes = studio(10)
    known = fit_paints(readings, tubes).coefficients.select([WHITE])
    return timed(
        lambda: fit_new_tubes(readings[1:2], tubes, known),
        lambda: fit_paints(readings, tubes),
        repeats=5,
    )


@benchmark(
    "fit.joint_200_seconds",
    "s",
    target=10.0,
    baseline="twenty times the joint fit of ten paints",
    ratio_target=0.67,
)
def many() -> Timing:
    """Two hundred paints; linear cost would be a ratio of 1."""
    ten, two_hundred = studio(10), studio(MANY)
    fit_paints(*ten)
    start = time.perf_counter()
    fit_paints(*ten)
    middle = time.perf_counter()
    fit_paints(*two_hundred)
    end = time.perf_counter()
    return Timing(end - middle, 20 * (middle - start))
