"""Recipes for measured watercolor mixtures: which two pigments, and how much of each, on paper.

A wash is a film whose thickness is the quantity of paint on the patch. Seen as a film of the
greatest quantity, whatever of it isn't pigment is water, a paint of no K and S.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.colour import lab
from tintladder.calibrate.optics.kubelka_munk import film_reflectance
from tintladder.calibrate.optics.spectra import Array
from tintladder.calibrate.optics.surface import to_inside, to_measured
from tintladder.database.mixing.film import bettered
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.ranking import judge
from tintladder.database.mixing.search import Solutions, search
from tintladder.database.mixing.target import Target

from .watercolor import PIGMENTS, WAVELENGTHS, Mixtures
from .watercolor_fit import Washes

MOST, WATER, NEARLY_NONE = 32.0, "WATER", 1e-4


@dataclass(frozen=True)
class WashPalette(Palette):
    """Washes on paper, uneven as its grain makes them."""

    washes: Washes | None = field(default=None)

    @classmethod
    def made_of(cls, washes: Washes) -> WashPalette:
        count, wide = PIGMENTS + 1, WAVELENGTHS.size
        c = Coefficients(
            paints=(*(f"P{i}" for i in range(PIGMENTS)), WATER),
            wavelengths=WAVELENGTHS,
            k=np.vstack([washes.k, np.full(wide, NEARLY_NONE)]),
            s=np.vstack([washes.s, np.full(wide, NEARLY_NONE)]),
            local=np.zeros((count, 2, 2, wide)),
            own=np.zeros((count, 1, 2, wide)),
            factors=np.zeros((1, count, 2, wide)),
            factor_names=("none",),
            scale="absolute",
            surface=washes.settings.surface,
            dry_volume=np.ones(count),
            density=np.ones(count),
            dry_volume_measured=np.ones(count, dtype=bool),
            ratio_only=np.zeros((count, wide), dtype=bool),
            scan_made=np.zeros(count, dtype=bool),
            mix_error=np.zeros(count),
            part_error=np.zeros(count),
            crowding=np.zeros(count),
            surface_error=np.zeros(count),
            model_error=np.zeros(wide),
            surface_offset=np.zeros(count),
        )
        return cls(c, washes=washes)

    def reflectance(self, shares: Array) -> Array:
        assert self.washes is not None
        surface, x = self.washes.settings.surface, self.washes.settings.nodes
        amounts = MOST * np.atleast_2d(shares)[:, None]
        paper = to_inside(self.washes.paper, surface)
        inside = film_reflectance(
            amounts @ self.coefficients.k, amounts @ self.coefficients.s, x, paper
        )
        result: Array = to_measured(inside, surface).mean(axis=1)
        return result

    def lab(self, shares: Array) -> Array:
        return lab(self.reflectance(shares), WAVELENGTHS, self.view)


def recovered(washes: Washes, mixtures: Mixtures, ways: int = 3) -> tuple[Array, Array]:
    """Whether each mixture's two pigments are among the first ways found from its reading alone.

    Returns
    -------
    among : (N,) bool array
    parts : (N,) array
        Proportion of the two as found, over the true one, from the way with those two; NaN without
        one. How much of both is on the paper can't be told: most washes of the set hide it.
    """
    palette = WashPalette.made_of(washes)
    among, parts = [], np.full(len(mixtures), np.nan)
    for i, reflectance in enumerate(mixtures.reflectance):
        target = Target("a wash", lab(reflectance[None], WAVELENGTHS)[0], reflectance)
        solved = search(palette, target.lab, 3)[2]
        wet = (solved.tubes == PIGMENTS).any(axis=1)
        pairs = Solutions(solved.tubes[wet], solved.shares[:, wet], solved.difference[:, wet])
        judged = judge(palette, bettered(palette, pairs, target.lab), target)
        first = np.argsort(judged.cost, kind="stable")[:ways]
        pair = set(mixtures.pigments[i])
        sets = [set(np.flatnonzero(judged.shares[row, :PIGMENTS])) for row in first]
        among.append(pair in sets)
        if pair in sets:
            row = first[sets.index(pair)]
            one, other = judged.shares[row, mixtures.pigments[i]] / mixtures.quantities[i]
            parts[i] = one / other
    return np.array(among), parts
