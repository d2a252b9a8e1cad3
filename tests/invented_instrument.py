"""An invented spectrophotometer with known faults, and tiles and films to read with it.

Every curve is computed at any wavelength wanted, so that a band or a shift is a true integral and
not an interpolation of the 10 nm grid. All of it is invented; the films are opaque two-flux films
whose bands and edges are as steep as the lab's paints.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from tintladder.calibrate.instrument.tiles import Tile, TileReading
from tintladder.calibrate.optics.spectra import GRID, Array, Spectra

Curve = Callable[[Array], Array]


def band(height: float, centre: float, width: float) -> Curve:
    return lambda nm: height * np.exp(-0.5 * ((nm - centre) / width) ** 2)


def edge(height: float, centre: float, width: float) -> Curve:
    return lambda nm: height / (1 + np.exp((nm - centre) / width))


def film(floor: float, *parts: Curve) -> Curve:
    """An opaque film of the K over S that the parts add up to."""

    def reflectance(nm: Array) -> Array:
        q = floor + sum((part(nm) for part in parts), np.zeros_like(nm))
        return np.asarray(1 + q - np.sqrt(q * (q + 2)))

    return reflectance


FILMS: dict[str, Curve] = {
    "white": film(0.002, edge(1.0, 396, 5.5)),
    "black": film(12.0),
    "blue": film(0.02, band(4, 598, 44), band(1, 650, 36), band(0.4, 385, 28)),
    "violet": film(0.1, band(8, 580, 36), band(6, 536, 30), band(2, 628, 20)),
    "green": film(0.05, band(9, 645, 46), band(5, 720, 40), band(5, 392, 40)),
    "yellow": film(0.006, edge(2.0, 481, 8.5)),
    "red": film(0.05, edge(7.0, 571, 8.5), band(1.5, 545, 26)),
    "magenta": film(0.03, band(5, 528, 27), band(4, 568, 19), band(1, 485, 28)),
    "earth": film(0.1, edge(2.3, 505, 17), band(0.1, 655, 45)),
    "pale blue": film(0.01, band(0.2, 598, 44)),
    "pale red": film(0.005, edge(0.3, 571, 8.5)),
    "pale violet": film(0.01, band(0.4, 580, 36), band(0.3, 536, 30)),
}
TILES: dict[str, Curve] = {
    "white": lambda nm: 0.90 + 0.00004 * (nm - 550),
    "grey-60": lambda nm: 0.60 - 0.00003 * (nm - 550),
    "grey-30": lambda nm: 0.30 + 0.00002 * (nm - 550),
    "grey-10": lambda nm: 0.10 + 0.0 * nm,
    "orange": lambda nm: 0.06 + 0.62 / (1 + np.exp(-(nm - 570) / 14)),
}


@dataclass(frozen=True)
class Faults:
    """What is wrong with it.

    Attributes
    ----------
    zero, scale, bend : float
        An offset; a factor less one; a bend, of full scale at half of it.
    shift_nm, band_nm : float
        Reads so much above the wavelength it says; full width at half height of its triangle.
    drift : float
        Of the gain, an hour.
    noise : float
        Standard deviation of a value.
    """

    zero: float = 0.005
    scale: float = 0.02
    bend: float = 0.01
    shift_nm: float = 0.5
    band_nm: float = 10.0
    drift: float = 0.005
    noise: float = 0.0

    def read(self, curve: Curve, hours: float, rng: np.random.Generator) -> Array:
        """What it says of a surface, on the inside grid, (W,)."""
        off = np.linspace(-self.band_nm, self.band_nm, 401) if self.band_nm else np.zeros(1)
        slit = 1 - np.abs(off) / self.band_nm if self.band_nm else np.ones(1)
        seen = curve(GRID[:, None] + self.shift_nm + off[None]) @ (slit / slit.sum())
        bent = seen + 4 * self.bend * seen * (1 - seen)
        said = bent * (1 + self.scale) * (1 - self.drift * hours) + self.zero
        return np.asarray(said + self.noise * rng.standard_normal(said.shape))


@dataclass(frozen=True)
class Sitting:
    """A sitting: `hours` long, the tiles read at its beginning and end, films in between."""

    raw: Spectra
    at: Array
    tile_readings: list[TileReading]
    tiles: dict[str, Tile]
    truth: Array


def sitting(faults: Faults, seed: int = 1, hours: float = 2.0, repeats: int = 1) -> Sitting:
    """Read every film and tile; times are in seconds."""
    rng = np.random.default_rng(seed)
    names = [name for name in FILMS for _ in range(repeats)]
    at = np.linspace(0.05, 0.95, len(names)) * hours
    values = [faults.read(FILMS[name], t, rng) for name, t in zip(names, at, strict=True)]
    read = []
    for t in (0.0, hours):
        of_tiles = {"trap": np.zeros_like} | TILES
        read += [
            TileReading(name, faults.read(curve, t, rng), 3600 * t, 23.0)
            for name, curve in of_tiles.items()
        ]
    nm = np.arange(360.0, 751.0, 5.0)
    tiles = {name: Tile(name, nm, curve(nm), 23.0, "invented") for name, curve in TILES.items()}
    truth = np.array([FILMS[name](GRID) for name in names])
    return Sitting(
        Spectra.from_values(GRID, np.array(values), names), 3600 * at, read, tiles, truth
    )
