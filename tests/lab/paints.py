"""The invented paints of a boatyard sign shop, as the lab knows them.

No paint here was measured and none stands for a product. Each is a few smooth curves over
wavelength, chosen once and left alone: not tuned to what a fit finds easy. Where a pigment's bands
and edges lie (rutile's edge near 400 nm, ultramarine's band near 600, phthalocyanine green's window
near 510, quinacridone's double band) is from memory of published spectra. Strengths were set by
what painters see, again from memory: a white that all but hides at 80 µm (contrast ratio some
0.93), a black that turns white to a mid grey at 1:30, transparent organic colours whose scattering
is a few percent of white's. Densities and volume solids are plausible for acrylic sign paint.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from tintladder.calibrate.fit.problem.tube import Tube
from tintladder.calibrate.optics.spectra import GRID, Array

WHITE = "HULL"
MAKER = "Slipway Colours (invented)"
RANGE = "Sign acrylic"


@dataclass(frozen=True)
class LabPaint:
    """A paint as it truly is, and what its label says.

    Attributes
    ----------
    absorption, scattering : (W,) array, 1/mm
        Of the dry film, on the inside grid; scattering is the reduced one, (1 - g) times its own.
    density : float, g/ml
    volume_solids : float
    stated : bool
        Whether the label states density and volume solids; else a reader must assume them.
    g_offset : float
        How far its g lies from the nominal where the lab lets g differ by paint.
    n : float
        Index of its dry film where the lab lets the index differ by paint.
    blackens : float
        How many times as strongly a black absorbs beside it, against in white, where the lab lets
        that differ by partner.
    black : bool
        Whether it is such a black.
    """

    nickname: str
    name: str
    pigments: tuple[str, ...]
    lot: str
    density: float
    volume_solids: float
    g_offset: float
    n: float
    absorption: Array = field(repr=False)
    scattering: Array = field(repr=False)
    stated: bool = True
    size_ml: float | None = None
    price: float | None = None
    opened: str = "2026-03-02"
    blackens: float = 1.0
    black: bool = False

    @property
    def dry_volume(self) -> float:
        """Dry volume that a gram truly leaves, ml/g."""
        return self.volume_solids / self.density

    @property
    def tube(self) -> Tube:
        """What a reader of the label knows."""
        if not self.stated:
            return Tube(self.nickname, lot=self.lot)
        return Tube(self.nickname, self.density, self.volume_solids, self.lot)


def _band(height: float, centre: float, width: float) -> Array:
    return np.asarray(height * np.exp(-0.5 * ((GRID - centre) / width) ** 2))


def _edge(height: float, centre: float, width: float) -> Array:
    """Absorption below an edge."""
    return np.asarray(height / (1 + np.exp((GRID - centre) / width)))


def _scatter(at_550: float, power: float) -> Array:
    return np.asarray(at_550 * (GRID / 550) ** -power)


PAINTS: dict[str, LabPaint] = {
    paint.nickname: paint
    for paint in (
        LabPaint(
            "HULL", "Hull White", ("PW6",), "W1", 1.52, 0.44, -0.04, 1.52,
            0.25 + _edge(180, 396, 5.5), _scatter(180, 0.6), size_ml=500, price=19.5,
        ),
        LabPaint(
            "PITCH", "Pitch Black", ("PBk7",), "K1", 1.08, 0.33, 0.08, 1.50,
            380 * (550 / GRID) ** 0.5, _scatter(4, 1.0), size_ml=150, price=8.9, black=True,
        ),
        LabPaint(
            "ROPE", "Rope Earth", ("PY42", "PBr7"), "R1", 1.62, 0.46, 0.02, 1.55,
            6 + _edge(170, 505, 17) + _band(7, 655, 45), _scatter(75, 0.3),
            size_ml=150, price=9.2, blackens=0.8,
        ),
        LabPaint(
            "ANCHOR", "Anchor Blue", ("PB29",), "A1", 1.36, 0.36, 0.14, 1.49,
            2 + _band(150, 598, 44) + _band(40, 650, 36) + _band(16, 385, 28), _scatter(7, 1.0),
            stated=False, size_ml=150, price=12.4, blackens=1.7,
        ),
        LabPaint(
            "DUSK", "Dusk Violet", ("PV23",), "D1", 1.06, 0.31, -0.15, 1.46,
            16 + _band(300, 580, 36) + _band(230, 536, 30) + _band(70, 628, 20)
            + _band(40, 385, 30), _scatter(4, 1.4), blackens=1.3,
        ),
        LabPaint(
            "STARBOARD", "Starboard Green", ("PG7",), "S1", 1.09, 0.34, -0.10, 1.47,
            4 + _band(400, 645, 46) + _band(220, 720, 40) + _band(210, 392, 40), _scatter(5, 1.2),
            size_ml=150, price=12.4, blackens=0.7,
        ),
        LabPaint(
            "LANTERN", "Lantern Yellow", ("PY184",), "L1", 1.85, 0.47, 0.05, 1.54,
            0.6 + _edge(190, 481, 8.5), _scatter(105, 0.5), size_ml=150, price=15.8, blackens=0.65,
        ),
        LabPaint(
            "RESIN", "Resin Yellow", ("PY150",), "N1", 1.12, 0.37, -0.08, 1.48,
            1.2 + _edge(150, 490, 11) + _edge(9, 545, 18), _scatter(9, 1.1), blackens=1.5,
        ),
        LabPaint(
            "BUOY", "Buoy Red", ("PR254",), "B1", 1.16, 0.40, 0.10, 1.50,
            1.2 + _edge(190, 571, 8.5) + _band(40, 545, 26) - _band(25, 410, 30),
            _scatter(28, 0.2), stated=False, size_ml=150, price=13.6, blackens=0.9,
        ),
        LabPaint(
            "PENNANT", "Pennant Magenta", ("PR122",), "P1", 1.10, 0.33, -0.12, 1.46,
            2 + _band(185, 528, 27) + _band(150, 568, 19) + _band(45, 485, 28)
            + _band(40, 385, 34), _scatter(10, 1.0), size_ml=150, price=13.6, blackens=1.2,
        ),
    )
}  # fmt: skip
