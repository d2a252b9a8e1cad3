"""Why a mix greys: what colour it could have and has, which paint dulls it, and cleaner ways."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour_band import ciede2000_band
from ...calibrate.optics.predict import dry_fractions, predict
from ...calibrate.optics.spectra import Array
from ..common.colour_words import GREY_CHROMA, hue_name, hue_turn
from .palette import Palette
from .search import sets

_NEUTRAL = 8.0
"""C* under which a tint has no lean to speak of (our rule, no source)."""
# Where a tint of each hue leans: its neighbours on either side of the middle of its range, by
# CIELAB hue angle under D50 (our own rule).
_LEANS = (
    (350, 60, "red", 27.0, "blue", "orange"),
    (60, 105, "yellow", 88.0, "orange", "green"),
    (105, 200, "green", 160.0, "yellow", "blue"),
    (200, 310, "blue", 266.0, "green", "violet"),
    (310, 350, "violet", 330.0, "blue", "red"),
)
_STEADY = 4.0
"""Degrees of hue within which a paint leans neither way."""


@dataclass(frozen=True)
class Dulls:
    """One paint's part in a mix's greyness.

    Attributes
    ----------
    paint : str
    gain : float
        C* that the mix would gain without it.
    band : (2,) tuple of float or None
        Wavelengths, nm, over which it absorbs what the others would send back.
    share : float
        Of all absorption where the mix's lightest wavelengths are.
    """

    paint: str
    gain: float
    band: tuple[float, float] | None
    share: float


@dataclass(frozen=True)
class Muddy:
    """Why a mix is as grey as it is.

    Attributes
    ----------
    lab : (3,) array
        The mix, D50/2°.
    chroma, could : float
        C* that it has, and that these tubes could have at its hue and lightness.
    cleaner : dict of nickname to share by weight
        The pair on hand that comes to `could` (a white with it where it takes one).
    dulls : tuple of Dulls
        Most first; paints that only harm the chroma.
    leans : dict of nickname to words
        Where each paint of the mix leans in a tint.
    several : dict of nickname to pigments
        Paints of the mix with several pigments on the label.
    band : float
        CIEDE2000 that the mix stays within with 95 % probability.
    """

    lab: Array
    chroma: float
    could: float
    cleaner: dict[str, float]
    dulls: tuple[Dulls, ...]
    leans: dict[str, str]
    several: dict[str, Sequence[str]]
    band: float


def muddy(
    coefficients: Coefficients,
    mix: Mapping[str, float],
    white: str | None = None,
    pigments: Mapping[str, Sequence[str]] | None = None,
) -> Muddy:
    """Find out why a mix greys.

    Parameters
    ----------
    coefficients : Coefficients
        Of the mix's paints and of those that could be used instead.
    mix : mapping of nickname to parts by weight
    white : str, optional
        With which leans are judged and pairs are let down.
    pigments : mapping of nickname to pigments on the label, optional
    """
    palette = Palette(coefficients)
    used = coefficients.select(list(mix))
    fractions = dry_fractions(used, [mix])
    said = predict(used, fractions)
    colour = said.lab()[0]
    chroma = float(np.hypot(*colour[1:]))
    could, cleaner = cleanest_pair(palette, colour, white)
    several = {n: p for n in mix if len(p := (pigments or {}).get(n, ())) > 1}
    return Muddy(
        lab=colour,
        chroma=chroma,
        could=max(could, chroma),
        cleaner=cleaner if could > chroma else {},
        dulls=_dulls(used, mix, fractions[0], chroma),
        leans={n: lean(coefficients, n, white) for n in mix if white and n != white},
        several=several,
        band=float(ciede2000_band(said.lab(), said.lab_covariance())[0]),
    )


def _dulls(
    used: Coefficients, mix: Mapping[str, float], fractions: Array, chroma: float
) -> tuple[Dulls, ...]:
    if len(mix) < 2:
        return ()
    seen = (used.wavelengths >= 420) & (used.wavelengths <= 690)
    wl = used.wavelengths[seen]
    absorbed = fractions[:, None] * used.k[:, seen]
    reflected = predict(used, fractions[None]).reflectance[0][seen]
    bright = reflected >= np.quantile(reflected, 0.6)
    found = []
    for i, name in enumerate(mix):
        rest = {n: m for n, m in mix.items() if n != name}
        few = used.select(list(rest))
        without = predict(few, dry_fractions(few, [rest]))
        gain = float(np.hypot(*without.lab()[0][1:])) - chroma
        # Where it takes away what the rest would have sent back.
        lost = without.reflectance[0][seen] - reflected
        deep = lost > 0.5 * max(lost.max(), 1e-9)
        main = int(lost.argmax())
        low = main - int(np.argmin(deep[main::-1])) + 1 if not deep[: main + 1].all() else 0
        high = main + int(np.argmin(deep[main:])) - 1 if not deep[main:].all() else len(wl) - 1
        band = (float(wl[low]), float(wl[high])) if lost.max() > 0.01 else None
        share = float(absorbed[i, bright].sum() / absorbed[:, bright].sum())
        found.append(Dulls(name, gain, band, share))
    return tuple(sorted((d for d in found if d.gain > 1), key=lambda d: -d.gain))


def lean(coefficients: Coefficients, paint: str, white: str) -> str:
    """Say where a paint leans in a tint: ``a blue that leans violet``.

    The tint judged is the cleanest on the way to white.
    """
    both = coefficients.select([paint, white])
    share = np.geomspace(1, 1e-3, 40)
    path = predict(both, np.stack([share, 1 - share], axis=1)).lab()
    tint = path[int(np.hypot(path[:, 1], path[:, 2]).argmax())]
    chroma = float(np.hypot(*tint[1:]))
    hue = float(np.degrees(np.arctan2(tint[2], tint[1])) % 360)
    if chroma < GREY_CHROMA:
        return "a grey"
    if chroma < _NEUTRAL:
        return f"a grey that leans {hue_name(hue)}"
    for low, high, name, middle, before, after in _LEANS:
        if (low <= hue < high) if low < high else (hue >= low or hue < high):
            off = hue_turn(middle, hue)
            if abs(off) < _STEADY:
                return f"a {name} that leans neither way"
            return f"{'an' if name[0] in 'aeiou' else 'a'} {name} that leans " + (
                after if off > 0 else before
            )
    raise AssertionError("every hue has a name")


def cleanest_pair(
    palette: Palette, near: Array, white: str | None, turn: float = 8.0, step: float = 6.0
) -> tuple[float, dict[str, float]]:
    """Find the pair, let down with white or not, of most chroma at a colour's hue and lightness.

    Parameters
    ----------
    palette : Palette
    near : (3,) array
        CIELAB.
    white : str or None
    turn : float
        Degrees of hue that the pair may lie off.
    step : float
        L* that it may lie off.

    Returns
    -------
    chroma : float
        Zero where no pair comes there.
    parts : dict of nickname to share by weight
    """
    count = len(palette.paints)
    pairs = sets(count, 2)
    ratio = 1 / (1 + np.exp(-np.linspace(-6, 6, 33)))
    down = np.array([0.0, *(1 / (1 + np.exp(-np.linspace(-4, 6, 21))))]) if white else np.zeros(1)
    counted = np.zeros((len(pairs), len(ratio), len(down), count))
    rows = np.arange(len(pairs))
    for i, r in enumerate(ratio):
        counted[rows, i, :, pairs[:, 0]] = r * (1 - down)
        counted[rows, i, :, pairs[:, 1]] = (1 - r) * (1 - down)
        if white:
            counted[rows, i, :, palette.paints.index(white)] += down
    shares = counted.reshape(-1, count) / palette.strength
    colours = palette.lab(shares)
    chroma = np.hypot(colours[:, 1], colours[:, 2])
    hue = np.degrees(np.arctan2(colours[:, 2], colours[:, 1]))
    wanted = np.degrees(np.arctan2(near[2], near[1]))
    there = (np.abs((hue - wanted + 180) % 360 - 180) < turn) & (
        np.abs(colours[:, 0] - near[0]) < step
    )
    if not there.any():
        return 0.0, {}
    best = int(np.where(there, chroma, -1).argmax())
    mass = shares[best] / palette.coefficients.dry_volume
    mass /= mass.sum()
    order = np.argsort(-mass)
    return float(chroma[best]), {palette.paints[i]: float(mass[i]) for i in order if mass[i] > 1e-4}
