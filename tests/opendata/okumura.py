"""K and S of artists' acrylics as published, and opaque cards as they would read.

Source: Y. Okumura, Developing a Spectral and Colorimetric Database of Artist Paint Materials,
M.S. thesis, Rochester Institute of Technology, 2005: 27 paints, white's S = 1. The table lies
beside the project, not in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from tintladder.calibrate.cards.card import BARE, Card, Drawdown
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.optics.kubelka_munk import opaque_reflectance
from tintladder.calibrate.optics.spectra import GRID, Array, Spectra
from tintladder.calibrate.optics.surface import Surface, to_measured

TABLE = Path(__file__).parents[2].parent / "shared" / "reference" / "okumura2005_ks.csv"
WHITE = "Titanium White"
LADDER = (1.0, 0.7, 0.45, 0.25, 0.12, 0.05, 0.02)
"""Share of colour by mass of the seven steps."""


def surface(k2: float) -> Surface:
    """Glossy, with k1 = 0.03 as such tables of artists' acrylics are used (Berns 2016, from
    memory): the index whose Fresnel reflectance that is."""
    root = np.sqrt(0.03)
    return Surface("di:8", "included", "gloss", n=float((1 + root) / (1 - root)), k2=k2)


@cache
def table() -> dict[str, tuple[Array, Array]]:
    """K and S of each paint on the inside grid, (W,) each; white's S is 1."""
    frame = pd.read_csv(TABLE).set_index(["paint", "coefficient"])
    on_grid = frame[[f"{wl:g}" for wl in GRID]]
    return {
        paint: (
            on_grid.loc[(paint, "K")].to_numpy(float),
            on_grid.loc[(paint, "S")].to_numpy(float),
        )
        for paint in on_grid.index.get_level_values("paint").unique()
    }


def opaque_mixtures(parts: Sequence[Mapping[str, float]], seen_as: Surface) -> Array:
    """Reflectance of opaque mixtures, (N, W), of the given parts by volume."""
    k = np.array([sum(f * table()[p][0] for p, f in mix.items()) for mix in parts])
    s = np.array([sum(f * table()[p][1] for p, f in mix.items()) for mix in parts])
    return to_measured(opaque_reflectance(k, s), seen_as)


def opaque_card(paint: str, seen_as: Surface) -> CardReadings:
    """An opaque ladder of seven steps in white and white's masstone, read without noise."""
    mixes = [{paint: a, WHITE: 1 - a} if a < 1 else {paint: 1.0} for a in LADDER]
    drawdowns = [
        Drawdown(f"s{i + 1}", paint, {p: 10 * f for p, f in mix.items()}, white=WHITE, opaque=True)
        for i, mix in enumerate(mixes)
    ]
    drawdowns.append(Drawdown("white", WHITE, {WHITE: 10.0}, white=WHITE, opaque=True))
    mixes.append({WHITE: 1.0})
    card = Card(f"{paint} opaque", "okumura2005_ks.csv", tuple(drawdowns), balance_g=1e-4)
    values = np.repeat(opaque_mixtures(mixes, seen_as), 2, axis=0)
    labels = [f"{d.step}/{over}" for d in drawdowns for over in d.over]
    bare = np.repeat([[0.05], [0.85]], GRID.size, axis=1)
    values = np.vstack([bare, values])
    labels = [f"{BARE}/black", f"{BARE}/white", *labels]
    return CardReadings(card, Spectra.from_values(GRID, values, labels), seen_as, card.file)


def tubes(*paints: str) -> dict[str, Tube]:
    """Tubes of one and the same density and solids: the table's parts are by volume."""
    return {p: Tube(p, density=1.2, volume_solids=0.4) for p in paints}
