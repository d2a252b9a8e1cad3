"""The textbook's two-constant fit: each wavelength and paint by itself, nothing else in doubt.

First white's K and S at each wavelength from its own drawdowns, then each paint's from its ladder
with white held: films over black and white at nominal thickness, masses as weighed, surface
corrected. Written plainly, one call of scipy's least_squares a wavelength and paint, as it comes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.optics.kubelka_munk import film_reflectance
from tintladder.calibrate.optics.spectra import GRID, Array
from tintladder.calibrate.optics.surface import to_inside, to_measured

from tests.heldout import Model
from tests.lab.drawdown import TRANSFER

START_K, START_S = 5.0, 30.0


@dataclass(frozen=True)
class Patches:
    """The patches of one paint's ladder: dry-volume share of it, thickness, substrate, reading."""

    share: Array
    thickness: Array
    substrate: Array
    measured: Array


def patches(readings: CardReadings, tubes: Mapping[str, Tube], paint: str) -> Patches:
    """Lay out a card; the rest of every step is white."""
    made = composition(readings.card)
    dry = made.fractions * np.array([tubes[p].dry_volume for p in made.paints])
    wet = made.fractions / np.array([tubes[p].wet_density for p in made.paints])
    share = dry[:, made.paints.index(paint)] / dry.sum(axis=1)
    rows: list[tuple[float, float, Array, Array]] = []
    for i, d in enumerate(readings.card.drawdowns):
        x = (d.gap_um or 0.0) * 1e-3 * TRANSFER * dry[i].sum() / wet[i].sum()
        for over in d.over:
            bare, read = (
                readings.spectra.values[readings.rows(patch)].mean(axis=0)
                for patch in (f"bare/{over}", f"{d.step}/{over}")
            )
            rows.append((share[i], x, to_inside(bare, readings.surface), read))
    columns = [np.array(c) for c in zip(*rows, strict=True)]
    return Patches(*columns)


def fit_by_loop(
    readings: Sequence[CardReadings], tubes: Mapping[str, Tube]
) -> dict[str, tuple[Array, Array]]:
    """K and S of each paint, (W,) each; the first card is a masstone of white."""
    surface = readings[0].surface
    white = next(d.white for r in readings for d in r.card.drawdowns if d.white)
    by_paint = {}
    for r in readings:
        paint = r.card.drawdowns[0].paint
        assert paint is not None
        by_paint[paint] = patches(r, tubes, paint)
    found = {}
    for paint in sorted(by_paint, key=lambda p: p != white):
        p = by_paint[paint]
        k, s = np.empty(GRID.size), np.empty(GRID.size)
        for w in range(GRID.size):
            k_white, s_white = (found[white][i][w] if found else 0.0 for i in (0, 1))

            def residuals(z: Array, w: int = w, p: Patches = p, k_white: float = k_white,
                          s_white: float = s_white) -> Array:  # fmt: skip
                one_k, one_s = np.exp(z)
                mixed_k = p.share * one_k + (1 - p.share) * k_white
                mixed_s = p.share * one_s + (1 - p.share) * s_white
                inside = film_reflectance(mixed_k, mixed_s, p.thickness, p.substrate[:, w])
                return to_measured(inside, surface) - p.measured[:, w]

            z = least_squares(residuals, np.log([START_K, START_S])).x
            k[w], s[w] = np.exp(z)
        found[paint] = (k, s)
    return found


def by_loop(readings: Sequence[CardReadings], tubes: Mapping[str, Tube]) -> Model:
    """Predict films with K and S of `fit_by_loop`."""
    found = fit_by_loop(readings, tubes)
    surface = readings[0].surface

    def model(masses: Sequence[Mapping[str, float]], thickness: Array, bare: Array) -> Array:
        made = []
        for mix, x in zip(masses, thickness, strict=True):
            dry = {p: m * tubes[p].dry_volume for p, m in mix.items()}
            whole = sum(dry.values())
            k = sum(v / whole * found[p][0] for p, v in dry.items())
            s = sum(v / whole * found[p][1] for p, v in dry.items())
            made.append(to_measured(film_reflectance(k, s, x, to_inside(bare, surface)), surface))
        return np.array(made)

    return model
