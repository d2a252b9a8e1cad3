"""Quick cards as people brush them: films of some 0.1 to 0.3 mm, uneven, over black and over white.

The virtual lab paints them by radiative transfer (tests/lab), so no fit reads what its own model
made. Invented paints; how uneven brushed films are is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple
from zlib import crc32

import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES, Card, Drawdown
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.optics.spectra import GRID, Array, Spectra
from tintladder.calibrate.optics.surface import Surface

from .lab.drawdown import Lab, Variant, paint_card
from .lab.paints import PAINTS, WHITE

RATIOS = (1, 3, 7, 15)
THICK_MM, THIN_MM = (0.1, 0.3), (0.05, 0.15)
"""As people brush, and as they do with little paint; the lab's paints hide in most of the first."""
UNEVEN, HALVES = 0.25, 0.05
"""Relative standard deviation of thickness within a patch, and of each half from their mean."""
OPAQUE_MM = 6.0
BALANCE_G = 0.05


class Painted(NamedTuple):
    """A card as brushed.

    Attributes
    ----------
    readings : CardReadings
        Without noise.
    thickness : (D,) array, mm
        Dry, of each drawdown on average.
    """

    readings: CardReadings
    thickness: Array


def quick_card(paint: str, ratios: Sequence[int] = RATIOS) -> Card:
    """A ladder brushed out, weighed on a kitchen scale, and its white."""
    steps = [Drawdown("masstone", paint, {paint: 16.0}, white=WHITE, opaque=True)]
    for n in ratios if paint != WHITE else ():
        masses = {paint: round(16 / (1 + n), 1), WHITE: round(16 * n / (1 + n), 1)}
        steps.append(Drawdown(f"{n}:1", paint, masses, white=WHITE, opaque=True))
    return Card(f"quick {paint}", "quick.toml", tuple(steps), balance_g=BALANCE_G)


def brushed(
    card: Card, seed: int, geometry: str = "45:0", dry_mm: tuple[float, float] = THICK_MM
) -> Painted:
    """Brush a card out and read it without noise."""
    lab = _lab(geometry)
    rng = np.random.default_rng([seed, crc32(card.name.encode())])
    # A gap is asked of every drawdown; how thick brushes leave paint is drawn here.
    weighed = tuple(Drawdown(**{**d.__dict__, "gap_um": 1.0}) for d in card.drawdowns)
    pots = paint_card(Card(**{**card.__dict__, "drawdowns": weighed}), rng, lab.paints)
    n = len(card.drawdowns)
    thick = np.exp(rng.uniform(*np.log(dry_mm), n))
    rows, labels = [values for values in lab.bare().values()], [f"bare/{s}" for s in SUBSTRATES]
    halves = {s: thick * (1 + HALVES * rng.standard_normal(n)) for s in SUBSTRATES}
    over = {s: lab.over_card(pots.fractions, halves[s], np.zeros(n))[s] for s in SUBSTRATES}
    for i, d in enumerate(card.drawdowns):
        rows += [over[s][i] for s in d.over]
        labels += [f"{d.step}/{s}" for s in d.over]
    spectra = Spectra.from_values(GRID, np.array(rows), labels)
    return Painted(CardReadings(card, spectra, lab.surface, f"{card.name}.txt"), thick)


@lru_cache(maxsize=2)
def _lab(geometry: str) -> Lab:
    surface = Surface.of("45:0", "excluded") if geometry == "45:0" else Surface.of("di:8")
    return Lab(Variant("uneven", thickness_spread=UNEVEN), surface=surface)


def mixtures(paints: Sequence[str], count: int, seed: int) -> list[dict[str, float]]:
    """Draw mixtures of two to four of some paints, half of them with white."""
    rng = np.random.default_rng([seed, 0x8125])
    colours = [p for p in paints if p != WHITE]
    found = []
    for i in range(count):
        size = int(rng.integers(2, min(4, len(colours)) + 1))
        names = [str(p) for p in rng.choice(colours, size=size - i % 2, replace=False)]
        names += [WHITE] if i % 2 else []
        if len(names) < 2:
            names.append(str(rng.choice([p for p in colours if p not in names])))
        found.append(dict(zip(names, 10 * rng.dirichlet(np.ones(len(names))), strict=True)))
    return found


def hiding(mixes: Sequence[dict[str, float]], geometry: str = "45:0") -> Array:
    """What an instrument reads of mixtures so thick that they hide, (N, W)."""
    lab, names = Lab(surface=_lab(geometry).surface), list(PAINTS)
    grams = np.array([[mix.get(p, 0.0) for p in names] for mix in mixes])
    dry = grams * np.array([PAINTS[p].dry_volume for p in names])
    n = len(mixes)
    read = lab.over_card(dry / dry.sum(axis=1, keepdims=True), np.full(n, OPAQUE_MM), np.zeros(n))
    return read["white"]
