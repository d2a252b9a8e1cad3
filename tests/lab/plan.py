"""What the boatyard sign shop paints: its ladders, its check mixtures, and mixtures at random."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from tintladder.calibrate.cards.card import Card, Drawdown

from .paints import PAINTS, WHITE

GAP_UM = 300.0
BALANCE_G = 0.005
BATCH_G = 10.0

# White to colour, mixed fresh each time.
_LONG = (0, 1, 2, 4, 8, 16, 32, 64)
_SHORT = (0, 1, 2, 4, 8, 16)
# White to colour, each step 5 g of the one before and 5 g of white.
_HALVING = (0, 1, 3, 7, 15, 31, 63)

_FRESH: dict[str, Sequence[int]] = {
    "PITCH": _LONG,
    "ROPE": _SHORT,
    "ANCHOR": (0, 1, 2, 4, 8, 16, 32),
    "LANTERN": _SHORT,
    "BUOY": (0, 1, 2, 4, 8, 16, 32),
    "DUSK": _LONG,
}
_SERIAL = ("STARBOARD", "RESIN", "PENNANT")
_SATIN = ("ROPE",)
_DATES = {paint: f"2026-05-{4 + i:02d}" for i, paint in enumerate(PAINTS)}

MIXTURES: dict[str, Mapping[str, float]] = {
    "harbour-grey": {"HULL": 7.5, "ANCHOR": 1.5, "ROPE": 1.0},
    "tide-line": {"HULL": 6.0, "ANCHOR": 3.0, "PENNANT": 1.0},
    "kelp": {"STARBOARD": 2.0, "ROPE": 6.0, "HULL": 2.0},
    "spring-sail": {"LANTERN": 5.0, "STARBOARD": 0.5, "HULL": 4.5},
    "lifebelt": {"BUOY": 6.0, "LANTERN": 4.0},
    "evening": {"DUSK": 0.6, "BUOY": 1.4, "HULL": 8.0},
    "chart-paper": {"HULL": 8.8, "RESIN": 0.8, "ROPE": 0.4},
    "wet-slate": {"HULL": 5.0, "PITCH": 0.5, "ANCHOR": 3.0, "ROPE": 1.5},
    "coral": {"HULL": 6.5, "BUOY": 2.0, "RESIN": 1.5},
    "sea-glass": {"HULL": 8.4, "STARBOARD": 0.6, "RESIN": 1.0},
    "plum": {"PENNANT": 5.0, "ANCHOR": 5.0},
    "moss": {"RESIN": 5.0, "PITCH": 0.4, "LANTERN": 2.6, "HULL": 2.0},
}


def _step(ratio: int) -> str:
    return "masstone" if ratio == 0 else f"{ratio}:1"


def _drawdown(
    step: str, paint: str | None, masses: Mapping[str, float], **rest: object
) -> Drawdown:
    names = dict.fromkeys([*masses, *([paint, WHITE] if paint else [])])
    rest = {"gap_um": GAP_UM, "hours_dried": 72.0, **rest}
    lots = {name: PAINTS[name].lot for name in names}
    return Drawdown(step, paint, masses, lots=lots, **rest)  # type: ignore[arg-type]


def _card(paint: str, drawdowns: Sequence[Drawdown], note: str) -> Card:
    name = PAINTS[paint].name.lower().replace(" ", "-")
    return Card(
        name, f"{name}.toml", tuple(drawdowns), date=_DATES[paint], balance_g=BALANCE_G, note=note
    )


def _fresh(paint: str, ratios: Sequence[int]) -> Card:
    drawdowns = []
    for ratio in ratios:
        colour = round(BATCH_G / (1 + ratio), 2)
        masses = {paint: colour}
        if ratio:
            masses[WHITE] = round(ratio * colour, 2)
        surface = "satin" if paint in _SATIN else "gloss"
        drawdowns.append(_drawdown(_step(ratio), paint, masses, white=WHITE, surface=surface))
    return _card(paint, drawdowns, "each step mixed fresh")


def _serial(paint: str) -> Card:
    drawdowns = []
    before = None
    for ratio in _HALVING:
        if ratio == 0:
            d = _drawdown(_step(ratio), paint, {paint: BATCH_G}, white=WHITE)
        elif ratio == 1:
            d = _drawdown(_step(ratio), paint, {paint: 5.0, WHITE: 5.0}, white=WHITE)
        else:
            d = _drawdown(
                _step(ratio), paint, {WHITE: 5.0}, white=WHITE, taken_from=before, taken_g=5.0
            )
        before = d.step
        drawdowns.append(d)
    return _card(paint, drawdowns, "from 3:1 on by serial dilution")


def ladders() -> list[Card]:
    """Return a card for each paint: white's own, and a ladder toward white for every other."""
    white = [
        _drawdown("masstone", WHITE, {WHITE: BATCH_G}, white=WHITE),
        _drawdown("masstone-thin", WHITE, {WHITE: BATCH_G}, white=WHITE, gap_um=150.0),
    ]
    cards = [_card(WHITE, white, "one pot, drawn down with two gaps")]
    for paint in PAINTS:
        if paint in _SERIAL:
            cards.append(_serial(paint))
        elif paint in _FRESH:
            cards.append(_fresh(paint, _FRESH[paint]))
    return cards


def check_card(name: str, mixtures: Mapping[str, Mapping[str, float]], note: str) -> Card:
    """Return a card of free mixtures that no fit sees."""
    drawdowns = tuple(_drawdown(step, None, masses) for step, masses in mixtures.items())
    return Card(
        name,
        f"{name}.toml",
        drawdowns,
        purpose="check",
        date="2026-05-20",
        balance_g=BALANCE_G,
        note=note,
    )


def random_mixtures(count: int, seed: int) -> dict[str, dict[str, float]]:
    """Draw mixtures of two to four paints, 10 g each, as a painter might weigh them.

    Paints are drawn alike, white with twice the odds of another (about half of all mixtures hold
    it, so half are darker than what a sign shop mostly mixes); masses are uniform over the simplex
    (Dirichlet of ones), at least 0.2 g, to 0.01 g.
    """
    rng = np.random.default_rng([seed, 0x6D697874])
    names = list(PAINTS)
    odds = np.array([2.0 if name == WHITE else 1.0 for name in names])
    result = {}
    for i in range(count):
        size = int(rng.integers(2, 5))
        chosen = rng.choice(len(names), size=size, replace=False, p=odds / odds.sum())
        shares = 0.2 + (BATCH_G - 0.2 * size) * rng.dirichlet(np.ones(size))
        result[f"mix-{i + 1:03d}"] = {
            names[j]: round(float(m), 2) for j, m in zip(chosen, shares, strict=True)
        }
    return result
