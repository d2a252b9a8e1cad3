"""Invented paints as random curves, brushed out in films that do not hide, by two kinds of optics.

No paint here is anybody's, and none is of the virtual lab: a family says where a pigment's bands
and edges lie, and a seed draws their places, widths, flanks and strengths, how much pigment a tube
holds, and a gentle waviness. The first optics is a two-flux film under a surface of an index of the
world's own; the second is the radiative transfer of `tests.lab.adding_doubling`, with an asymmetry
for each paint and wavelength. Both see a film at 45:0, as a flatbed scanner and a plain
spectrophotometer do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from tintladder.calibrate.optics.spectra import GRID, Array

from tests.lab.adding_doubling import angles, films

WHITE = "HULL"
NODES = np.linspace(-1, 1, 7)
"""Where in its spread a film's colour is calculated; between them it is interpolated."""
SPREAD = 0.25
HIDES_MM = 30.0
POINTS = 18
BLACK_CARD = 0.02 + 0.006 * np.sin((GRID - 380) / 90)
WHITE_CARD = 0.88 - 0.3 / (1 + np.exp((GRID - 402) / 9))


def band(height: float, at: float, left: float, right: float, power: float = 2.0) -> Array:
    """A band of two unlike flanks."""
    off = np.where(at > GRID, (at - GRID) / left, (GRID - at) / right)
    return np.asarray(height * np.exp(-0.6 * off**power))


def below(height: float, at: float, width: float) -> Array:
    return np.asarray(height * 0.5 * (1 - np.tanh((GRID - at) / width)))


def _wavy(rng: np.random.Generator, size: float) -> Array:
    x = (GRID - 380) / 350
    waves = sum(
        rng.normal() / k * np.cos(np.pi * k * x + rng.uniform(0, 2 * np.pi)) for k in range(1, 6)
    )
    return np.asarray(np.exp(size * waves))


def _scatter(at_550: float, power: float) -> Array:
    return np.asarray(at_550 * (GRID / 550) ** -power)


Family = Callable[[np.random.Generator], tuple[Array, Array]]


def _yellow(r: np.random.Generator) -> tuple[Array, Array]:
    k = r.uniform(0.3, 1.2) + below(r.uniform(110, 220), r.uniform(478, 505), r.uniform(12, 24))
    return k, _scatter(np.exp(r.uniform(np.log(6), np.log(90))), r.uniform(0.2, 1.0))


def _red(r: np.random.Generator) -> tuple[Array, Array]:
    k = r.uniform(0.6, 2.0) + below(r.uniform(120, 230), r.uniform(568, 596), r.uniform(13, 24))
    k = k - band(0.3 * k[0], r.uniform(405, 440), 25, 35)
    return k, _scatter(r.uniform(10, 40), r.uniform(0.0, 0.8))


def _magenta(r: np.random.Generator) -> tuple[Array, Array]:
    at = r.uniform(520, 545)
    k = r.uniform(1, 3) + band(r.uniform(130, 220), at, 45, 24) + band(120, at + 38, 16, 20)
    return k + band(40, 388, 30, 40), _scatter(r.uniform(3, 12), r.uniform(0.5, 1.3))


def _violet(r: np.random.Generator) -> tuple[Array, Array]:
    k = r.uniform(6, 16) + band(r.uniform(220, 360), r.uniform(555, 585), 60, 42, 2.3)
    return k + band(60, 390, 40, 30), _scatter(r.uniform(2, 6), r.uniform(0.8, 1.5))


def _blue(r: np.random.Generator) -> tuple[Array, Array]:
    k = r.uniform(1.5, 4) + band(r.uniform(150, 380), r.uniform(600, 640), 62, 85, 2.2)
    return k + band(30, 385, 20, 30), _scatter(r.uniform(2.5, 9), r.uniform(0.6, 1.4))


def _green(r: np.random.Generator) -> tuple[Array, Array]:
    k = r.uniform(2, 5) + band(r.uniform(250, 420), r.uniform(636, 660), 58, 75, 2.2)
    return k + band(r.uniform(140, 240), 395, 30, 50), _scatter(r.uniform(3, 9), r.uniform(0.5, 1))


def _earth(r: np.random.Generator) -> tuple[Array, Array]:
    k = r.uniform(4, 9) + below(r.uniform(110, 200), r.uniform(505, 560), r.uniform(28, 45))
    return k + band(8, 660, 50, 60), _scatter(r.uniform(25, 85), r.uniform(0.1, 0.6))


def _black(r: np.random.Generator) -> tuple[Array, Array]:
    k = r.uniform(200, 420) * (550 / GRID) ** r.uniform(0.1, 0.6)
    return np.asarray(k), _scatter(r.uniform(2, 8), r.uniform(0.6, 1.2))


FAMILIES: dict[str, tuple[str, Family]] = {
    "CLEAT": ("Cleat Yellow PY74", _yellow),
    "FENDER": ("Fender Red PR254", _red),
    "SPRAY": ("Spray Magenta PR122", _magenta),
    "MUSSEL": ("Mussel Violet PV23", _violet),
    "FATHOM": ("Fathom Blue PB15", _blue),
    "WEED": ("Weed Green PG7", _green),
    "BALLAST": ("Ballast Earth PY42", _earth),
    "OAKUM": ("Oakum Black PBk7", _black),
}


def _any_curve(r: np.random.Generator) -> tuple[Array, Array]:
    """No family: absorption between a floor and a ceiling, wherever a smooth curve takes it."""
    wave = np.log(_wavy(r, 1.6))
    share = 1 / (1 + np.exp(-4 * (wave - np.median(wave))))
    low, high = (
        np.exp(r.uniform(np.log(0.6), np.log(6))),
        np.exp(r.uniform(np.log(90), np.log(350))),
    )
    return np.asarray(low * (high / low) ** share), _scatter(
        np.exp(r.uniform(np.log(3), np.log(70))), r.uniform(0, 1.3)
    )


@dataclass(frozen=True, eq=False)
class Box:
    """A box of paints as they truly are.

    Attributes
    ----------
    labels : mapping of nickname to str
        Name and pigments, white last.
    k, s : (P, W) array, 1/mm
        Of dry film, two-flux.
    g : (P, W) array
        Mean cosine of scattering, for radiative transfer.
    dry : (P,) array, ml/g
    n : float
        Index of the film.
    thinnest, thickest : float, mm
        Of films as brushed.
    """

    labels: Mapping[str, str]
    k: Array
    s: Array
    g: Array
    dry: Array
    n: float
    thinnest: float = 0.1
    thickest: float = 0.3

    @property
    def paints(self) -> list[str]:
        return list(self.labels)

    def shares(self, masses: Mapping[str, float]) -> Array:
        """By dry volume, (P,)."""
        volume = np.array([masses.get(p, 0.0) for p in self.labels]) * self.dry
        return np.asarray(volume / volume.sum())


@cache
def box(seed: int, unseen: bool = False) -> Box:
    """Six paints of a seed and a white."""
    rng = np.random.default_rng([seed, 0xB2])
    names = [str(name) for name in rng.permutation(list(FAMILIES))[:6]]
    curves = [(_any_curve if unseen else FAMILIES[name][1])(rng) for name in names]
    white = 0.2 + below(rng.uniform(120, 200), rng.uniform(390, 402), 9)
    curves.append((white, _scatter(rng.uniform(130, 210), rng.uniform(0.4, 0.8))))
    # How much pigment there is in it: from a mixing or a pupil's tube to an artist's.
    held = np.exp(rng.uniform(np.log(0.35), 0, 7))[:, None]
    k = np.array([k * (1 if i == 6 else _wavy(rng, 0.12)) for i, (k, _) in enumerate(curves)])
    g = (
        rng.uniform(0.45, 0.75, 7)[:, None]
        + rng.uniform(-0.1, 0.05, 7)[:, None] * (GRID - 550) / 170
    )
    s = np.array([s for _, s in curves])
    return Box(
        {name: FAMILIES[name][0] for name in names} | {WHITE: "Hull White PW6"},
        np.maximum(k * held, 0.05), s * held, g, rng.uniform(0.22, 0.38, 7),
        1.53 if unseen else float(rng.uniform(1.47, 1.52)),
        *((0.07, 0.35) if unseen else (0.1, 0.3)),
    )  # fmt: skip


Optics = Callable[[Box, Array, Array, Array], Array]


def _fresnel(n: float, cosine: Array | float) -> Array:
    """Unpolarised, from air into index n."""
    inside = np.sqrt(1 - (1 - np.square(cosine)) / n**2)
    s = (cosine - n * inside) / (cosine + n * inside)
    p = (n * cosine - inside) / (n * cosine + inside)
    return np.asarray((s**2 + p**2) / 2)


@cache
def _turned_back(n: float) -> float:
    """Of diffuse light from inside, by the detailed balance of what gets in."""
    mu = (np.arange(4000) + 0.5) / 4000
    return float(1 - (1 - np.mean(2 * mu * _fresnel(n, mu))) / n**2)


def two_flux(of: Box, shares: Array, thickness: Array, ground: Array) -> Array:
    """Reflectance 45:0 of films (D, W) over grounds of inside reflectance (D, W)."""
    volume = shares @ of.k, shares @ of.s
    k, s = (np.maximum(v, 1e-9) for v in volume)
    root = np.sqrt(k * (k + 2 * s))
    # Written with a decaying exponential alone, so that a thick film doesn't overflow.
    e = np.exp(-2 * root * thickness[:, None])
    plus, minus = 1 + e, 1 - e
    below = (k + s - s * ground) * minus + root * plus
    inside = (s * minus + ground * (root * plus - (k + s) * minus)) / below
    let = (1 - _fresnel(of.n, 1.0)) * (1 - _fresnel(of.n, np.sqrt(0.5))) / of.n**2
    return np.asarray(let * inside / (1 - _turned_back(of.n) * inside))


def transport(of: Box, shares: Array, thickness: Array, ground: Array) -> Array:
    """The same by radiative transfer; its absorption is half of K, its scattering 4/3 of S."""
    scattering = 4 / 3 * of.s / (1 - of.g)
    absorb, scatter = shares @ of.k / 2, shares @ scattering
    g = shares @ (scattering * of.g) / scatter
    depth = (absorb + scatter) * thickness[:, None]
    index = round(of.n * 50) / 50
    made = films(
        (scatter / (absorb + scatter)).ravel(),
        depth.ravel(),
        g.ravel(),
        angles(index, POINTS, "45"),
    )
    return made.over(ground.ravel()).reshape(depth.shape)


OPTICS: dict[str, Optics] = {"two_flux": two_flux, "transport": transport}


def brushed(of: Box, optics: Optics, shares: Array, rng: np.random.Generator) -> dict[str, Array]:
    """Films as brushed, one thickness a step: over each ground (D, nodes of the spread, W)."""
    mean = rng.uniform(of.thinnest, of.thickest, len(shares))
    thickness = (mean[:, None] * (1 + SPREAD * NODES)).ravel()
    each = np.repeat(shares, NODES.size, axis=0)
    made = {}
    for name, ground in (("black", BLACK_CARD), ("white", WHITE_CARD)):
        seen = optics(of, each, thickness, np.broadcast_to(ground, (thickness.size, GRID.size)))
        made[name] = seen.reshape(len(shares), NODES.size, GRID.size)
    return made


def bare(of: Box, optics: Optics) -> dict[str, Array]:
    """The sealed card, (W,) each."""
    only = np.zeros((2, len(of.labels)))
    only[:, -1] = 1
    seen = optics(of, only, np.full(2, 1e-7), np.stack([BLACK_CARD, WHITE_CARD]))
    return dict(zip(("black", "white"), seen, strict=True))


def hiding(of: Box, optics: Optics, shares: Array) -> Array:
    """Films that hide, (D, W): what a mix is judged by."""
    thick = np.full(len(shares), HIDES_MM)
    return optics(of, shares, thick, np.full((len(shares), GRID.size), 0.3))


def mixtures(of: Box, count: int, seed: int) -> Sequence[dict[str, float]]:
    """Mixes of two to four paints by weight, every other one with white."""
    rng = np.random.default_rng([seed, 0x31])
    found = []
    for i in range(count):
        size = int(rng.integers(2, 5))
        some = [str(p) for p in rng.choice(of.paints[:-1], size - i % 2, replace=False)]
        some += [WHITE] * (i % 2)
        parts = 0.02 + (1 - 0.02 * size) * rng.dirichlet(np.ones(size))
        found.append({p: round(10 * float(x), 3) for p, x in zip(some, parts, strict=True)})
    return found
