"""Readings made with the two-flux model itself, from invented K and S: a fit must give them back.

No test of accuracy rests on these (see tests/lab for that): they tell whether the fit solves its
own problem, and whether its uncertainties are those of its own errors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES, Card, Drawdown
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.fit.problem.noise import reading_sd
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.optics.kubelka_munk import film_reflectance, opaque_reflectance
from tintladder.calibrate.optics.spectra import GRID, Array, Spectra
from tintladder.calibrate.optics.surface import Gloss, Surface, haze_prior, to_inside, to_measured

WHITE = "W"
GAP_UM, BALANCE_G, SOLIDS = 280.0, 0.005, 0.4
NOISE = (0.0005, 0.002)
"""Standard uncertainty of a reading: offset, and slope over reflectance."""
RATIOS = (1, 3, 7, 15, 31)
BARE = {"black": np.full(GRID.size, 0.045), "white": np.full(GRID.size, 0.82)}
"""Readings of the bare card by a sphere with the specular included."""


def _edge(at: float, width: float, low: float, high: float) -> Array:
    return low + (high - low) / (1 + np.exp((GRID - at) / width))


def _bump(at: float, width: float, height: float) -> Array:
    return height * np.exp(-(((GRID - at) / width) ** 2) / 2)


KS: dict[str, tuple[Array, Array]] = {
    "W": (0.02 + _edge(395, 6, 0, 20), np.full(GRID.size, 110.0)),
    "R": (0.1 + _edge(590, 12, 0, 120), 20 - _edge(560, 60, 0, 10)),
    "B": (0.3 + _bump(600, 50, 90), np.full(GRID.size, 4.0)),
    "Y": (0.05 + _edge(500, 10, 0, 100), np.full(GRID.size, 30.0)),
    "E": (4 + _edge(560, 40, 0, 60), np.full(GRID.size, 60.0)),
}
"""K and S in 1/mm: a white, a red, a transparent blue, a yellow and an opaque earth; invented."""
TUBES = {name: Tube(name, 1.3, SOLIDS) for name in KS}


def ladder(paint: str, ratios: Sequence[int] = RATIOS, **said: object) -> Card:
    """A card of a paint: masstone, then each of so many parts of white to one."""
    said = {"gap_um": GAP_UM, "white": WHITE} | said
    drawdowns = [Drawdown("masstone", paint, {paint: 10.0}, **said)]  # type: ignore[arg-type]
    for n in ratios if paint != WHITE else ():
        masses = {paint: 10.0 / (n + 1), WHITE: 10.0 * n / (n + 1)}
        drawdowns.append(Drawdown(f"{n}:1", paint, masses, **said))  # type: ignore[arg-type]
    return Card(paint, f"{paint}.toml", tuple(drawdowns), balance_g=BALANCE_G)


def read(
    card: Card,
    surface: Surface | None = None,
    seed: int | None = None,
    settings: FitSettings | None = None,
    transfer: float = 1.0,
) -> CardReadings:
    """Read a card; with a seed, errors of thickness, mass and reading befall it.

    Parameters
    ----------
    card : Card
        Drawdowns with a gap, or opaque.
    surface : Surface
        The instrument's; a sphere with the specular included by default.
    seed : int or None
        None: no error of any kind.
    settings : FitSettings
        The errors of thickness are drawn from its priors.
    transfer : float
        What the applicator leaves, over what it is thought to: common to cards.
    """
    surface = surface or Surface.of("di:8")
    settings = settings or FitSettings()
    rng = np.random.default_rng(seed)
    size = 0.0 if seed is None else 1.0
    made = composition(card)
    k = np.array([KS[p][0] for p in made.paints])
    s = np.array([KS[p][1] for p in made.paints])
    grams = size * card.balance_g * rng.standard_normal(len(made.weighings))
    shared = size * settings.session_spread * rng.standard_normal()
    labels: list[str] = []
    values: list[Array] = []

    def note(patch: str, true: Array) -> None:
        for _ in range(1 if seed is None else 2):
            sd = reading_sd(true, settings)
            labels.append(patch)
            values.append(true + size * sd * rng.standard_normal(true.size))

    inside = {over: to_inside(BARE[over], Surface.of("di:8")) for over in SUBSTRATES}
    for over in SUBSTRATES:
        note(f"bare/{over}", to_measured(inside[over], surface))
    for i, d in enumerate(card.drawdowns):
        f = made.fractions[i] + grams @ made.by_weighing[i]
        each = size * settings.drawdown_spread * rng.standard_normal()
        wet = (d.gap_um or 0.0) * 1e-3 * settings.transfer * transfer
        x = wet * SOLIDS * (1 + shared) * (1 + each)
        own = replace(surface, gloss=d.surface, haze=haze_prior(d.surface)[0])
        for over in d.over:
            r = (
                opaque_reflectance(f @ k, f @ s)
                if d.opaque
                else film_reflectance(f @ k, f @ s, x, inside[over])
            )
            note(f"{d.step}/{over}", to_measured(r, own))
    return CardReadings(
        card, Spectra.from_values(GRID, np.array(values), labels), surface, f"{card.name}.txt"
    )


def ladders(
    paints: Sequence[str] = tuple(KS),
    seed: int | None = None,
    *,
    opaque_films: bool = False,
    gloss: Gloss = "gloss",
    surface: Surface | None = None,
    settings: FitSettings | None = None,
) -> list[CardReadings]:
    """Read the ladder of each paint, all drawn down with one applicator."""
    cards = [ladder(p, opaque=opaque_films, surface=gloss) for p in paints]
    if seed is None:
        return [read(card, surface, None, settings) for card in cards]
    spread = (settings or FitSettings()).transfer_spread
    transfer = 1 + spread * float(np.random.default_rng(seed).standard_normal())
    return [read(c, surface, 100 * seed + i, settings, transfer) for i, c in enumerate(cards)]
