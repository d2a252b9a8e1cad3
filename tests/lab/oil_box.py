"""An invented box of oil paints, beside the sign shop's acrylics, and the cards painted of it.

No paint here was measured and none stands for a product. They are what the sign shop's lack: light
opaque yellows, an extender, a weak white, an opaque red, a transparent blue and a lake, and a black
that acts as its partners have it. Oil paint leaves all its volume as film, so a gap of 0.1 to
0.3 mm leaves 0.06 to 0.18 mm. Where bands and edges lie is from memory of published spectra;
strengths are invented. Ladders are short, as those of measured oil paints
(tests/opendata/oil_paints_2018): masstone, half and a tenth.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.optics.spectra import GRID, Array

from .paints import LabPaint

GAPS_UM = (100.0, 150.0, 200.0, 300.0)
BALANCE_G, BATCH_G = 0.01, 10.0


def _band(height: float, centre: float, width: float) -> Array:
    return np.asarray(height * np.exp(-0.5 * ((GRID - centre) / width) ** 2))


def _edge(height: float, centre: float, width: float) -> Array:
    return np.asarray(height / (1 + np.exp((GRID - centre) / width)))


def _scatter(at_550: float, power: float) -> Array:
    return np.asarray(at_550 * (GRID / 550) ** -power)


def _paint(
    nickname: str,
    name: str,
    pigments: tuple[str, ...],
    density: float,
    n: float,
    absorption: Array,
    scattering: Array,
    blackens: float = 1.0,
    black: bool = False,
) -> LabPaint:
    """A paint that dries whole, and whose label says nothing of density or solids."""
    return LabPaint(
        nickname, name, pigments, "", density, 1.0, 0.0, n, absorption, scattering,
        stated=False, blackens=blackens, black=black,
    )  # fmt: skip


OIL_BOX: dict[str, LabPaint] = {
    paint.nickname: paint
    for paint in (
        _paint(
            "SAIL", "Sail White", ("PW4",), 2.6, 1.50,
            0.1 + _edge(60, 388, 6), _scatter(60, 0.4),
        ),
        _paint(
            "SOOT", "Soot Black", ("PBk9",), 1.4, 1.50,
            60 * (550 / GRID) ** 0.3, _scatter(3, 0.6), black=True,
        ),
        _paint(
            "FOGHORN", "Foghorn Yellow", ("PY34",), 2.9, 1.55,
            0.2 + _edge(120, 502, 9), _scatter(85, 0.5), blackens=0.65,
        ),
        _paint(
            "PRIMROSE", "Primrose Yellow", ("PY31",), 2.4, 1.53,
            0.3 + _edge(70, 468, 12), _scatter(70, 0.6), blackens=0.75,
        ),
        _paint(
            "CAPSTAN", "Capstan Red", ("PR106",), 3.2, 1.55,
            0.8 + _edge(110, 588, 8), _scatter(65, 0.6), blackens=0.8,
        ),
        _paint(
            "FATHOM", "Fathom Blue", ("PB29",), 1.4, 1.48,
            0.8 + _band(55, 595, 42) + _band(14, 650, 34), _scatter(5, 1.0), blackens=1.7,
        ),
        _paint(
            "LANYARD", "Lanyard Blue", ("PB28",), 2.0, 1.52,
            1 + _band(40, 590, 40) + _band(26, 545, 26) + _band(22, 635, 24), _scatter(24, 0.8),
            blackens=1.2,
        ),
        _paint(
            "SEAWEED", "Seaweed Green", ("PG18",), 1.6, 1.49,
            1.5 + _band(36, 615, 50) + _band(45, 425, 36), _scatter(8, 0.8), blackens=1.4,
        ),
        _paint(
            "GARNET", "Garnet Lake", ("PR83",), 1.2, 1.49,
            1 + _band(70, 525, 40) + _band(25, 430, 50), _scatter(4, 1.0), blackens=1.5,
        ),
        _paint(
            "BALLAST", "Ballast Chalk", ("PW18",), 1.7, 1.50,
            np.full(GRID.size, 0.15), _scatter(4, 0.8), blackens=1.1,
        ),
    )
}  # fmt: skip


def ladders(seed: int, paints: Mapping[str, LabPaint] = OIL_BOX) -> list[Card]:
    """Return a card for each paint of a box, each with the gap that lay at hand.

    White's own is drawn down once; of others masstone, half and a tenth, in white; of a black four
    steps, from a thirtieth to three quarters.
    """
    rng = np.random.default_rng([seed, 0x0B0C])
    white = next(iter(paints))
    cards = []
    for paint, known in paints.items():
        shares = (1.0, 0.03, 0.1, 0.5, 0.75) if known.black else (1.0, 0.5, 0.1)
        if paint == white:
            shares = (1.0,)
        gap = float(rng.choice(GAPS_UM))
        steps = tuple(_drawdown(paint, white, share, gap) for share in shares)
        name = f"{paint.lower()}-oil"
        cards.append(Card(name, f"{name}.toml", steps, balance_g=BALANCE_G))
    return cards


def _drawdown(paint: str, white: str, share: float, gap: float) -> Drawdown:
    masses = {paint: round(BATCH_G * share, 2)}
    if share < 1:
        masses[white] = round(BATCH_G * (1 - share), 2)
    step = "masstone" if share == 1 else f"{share:g}"
    return Drawdown(step, paint, masses, white=white, gap_um=gap)
