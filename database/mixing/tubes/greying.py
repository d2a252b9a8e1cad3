"""Why a mix greys: what colour it could have and has, which paint dulls it, and cleaner ways."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ....calibrate.optics.coefficients import Coefficients
from ....calibrate.optics.colour_difference import ciede2000_band
from ....calibrate.optics.predict import dry_fractions, predict
from ....calibrate.optics.spectra import Array
from ...common.words import GREY_CHROMA, hue_name, hue_turn
from ..palette import Palette
from ..search import sets

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
_TURN, _STEP = 8.0, 6.0
"""Degrees of hue and L* within which a colour is of the same hue and lightness."""
_LIGHTER = 20.0
"""L* that a mix may lie off without one of its paints: what greys mostly darkens too."""
_GAINS = 1.0
"""C* that leaving a paint out has to gain."""
_DRAWN, _FAR = 4000, 6.0
"""Mixes that are tried, and how far their parts lie apart, as logarithms."""
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Dulls:
    """One paint's part in a mix's greyness.

    Attributes
    ----------
    instead : str or None
        The tube on hand that would do better in its place; None: without it the others do better.
    gain : float
        C* that would be gained so, at the mix's hue and lightness.
    band : (2,) tuple of float or None
        Wavelengths, nm, over which it absorbs what the others would send back.
    share : float
        Of all absorption where the mix's lightest wavelengths are.
    """

    paint: str
    instead: str | None
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
        Most first; those that others alone would do without, then those with one in their place.
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
    palette: Palette,
    mix: Mapping[str, float],
    pigments: Mapping[str, Sequence[str]] | None = None,
) -> Muddy:
    """Find out why a mix greys.

    Parameters
    ----------
    palette : Palette
        The mix's paints and those that could be used instead.
    mix : mapping of nickname to parts by weight
    pigments : mapping of nickname to pigments on the label, optional
    """
    coefficients, white, view = palette.coefficients, palette.white, palette.view
    used = coefficients.select(list(mix))
    fractions = dry_fractions(used, [mix])
    said = predict(used, fractions)
    colour = said.lab(view)[0]
    chroma = float(np.hypot(*colour[1:]))
    could, cleaner = cleanest_pair(palette, colour, white)
    several = {n: p for n in mix if len(p := (pigments or {}).get(n, ())) > 1}
    return Muddy(
        lab=colour,
        chroma=chroma,
        could=max(could, chroma),
        cleaner=cleaner if could > chroma else {},
        dulls=_dulls(palette, used, mix, fractions[0], colour, white),
        leans={n: lean(coefficients, n, white) for n in mix if white and n != white},
        several=several,
        band=float(ciede2000_band(said.lab(view), said.lab_covariance(view))[0]),
    )


def _dulls(
    palette: Palette,
    used: Coefficients,
    mix: Mapping[str, float],
    fractions: Array,
    colour: Array,
    white: str | None,
) -> tuple[Dulls, ...]:
    """Leave each paint out in turn, and see what comes to the mix's own hue and lightness.

    A paint without which the hue is lost greys nothing: it is what makes that hue. Of such a paint
    the tube is sought that would make it with more chroma.
    """
    if len(mix) < 2:
        return ()
    seen = (used.wavelengths >= 420) & (used.wavelengths <= 690)
    absorbed = fractions[:, None] * used.k[:, seen]
    reflected = predict(used, fractions[None]).reflectance[0][seen]
    bright = reflected >= np.quantile(reflected, 0.6)
    chroma = float(np.hypot(*colour[1:]))
    found = []
    for i, name in enumerate(mix):
        if name == white:
            continue
        others = [n for n in mix if n != name]
        rest = list(dict.fromkeys([*others, *([white] if white else [])]))
        gain, instead = _most_chroma(palette, rest, colour, _LIGHTER) - chroma, None
        if gain <= _GAINS:
            for tube in palette.paints:
                if tube not in mix and tube != white:
                    more = _most_chroma(palette, [*rest, tube], colour) - chroma
                    gain, instead = max((gain, instead), (more, tube), key=lambda each: each[0])
        if gain > _GAINS:
            few = used.select(others)
            without = predict(few, dry_fractions(few, [{n: mix[n] for n in others}]))
            band = _taken(without.reflectance[0][seen] - reflected, used.wavelengths[seen])
            share = float(absorbed[i, bright].sum() / absorbed[:, bright].sum())
            found.append(Dulls(name, instead, gain, band, share))
    return tuple(sorted(found, key=lambda d: (d.instead is not None, -d.gain)))


def _taken(lost: Array, wavelengths: Array) -> tuple[float, float] | None:
    """Where a paint takes away what the rest would send back, nm; None where it hardly does."""
    if lost.max() <= 0.01:
        return None
    deep = lost > 0.5 * lost.max()
    main = int(lost.argmax())
    low = main - int(np.argmin(deep[main::-1])) + 1 if not deep[: main + 1].all() else 0
    high = main + int(np.argmin(deep[main:])) - 1 if not deep[main:].all() else len(lost) - 1
    return float(wavelengths[low]), float(wavelengths[high])


def _most_chroma(
    palette: Palette, paints: Sequence[str], near: Array, step: float = _STEP
) -> float:
    """C* that mixes of some paints come to at a colour's hue and lightness; 0 where none is there.

    Notes
    -----
    Shares are drawn evenly in their logarithms, by a rank-one lattice (Roberts' sequence; from
    memory), so that the same is asked twice with the same answer.
    """
    count = len(paints)
    root = 2.0
    for _ in range(30):
        root = (1 + root) ** (1 / (count + 1))
    spread = (0.5 + np.outer(np.arange(1, _DRAWN + 1), root ** -np.arange(1.0, count + 1))) % 1
    counted = np.exp(_FAR * (2 * spread - 1))
    rows = [palette.paints.index(p) for p in paints]
    dense = np.zeros((_DRAWN, len(palette.paints)))
    dense[:, rows] = counted / palette.strength[rows]
    colours = palette.lab(dense / dense.sum(axis=1, keepdims=True))
    there = _alike(colours, near, _TURN, step)
    return float(np.hypot(colours[there, 1], colours[there, 2]).max()) if there.any() else 0.0


def _alike(colours: Array, near: Array, turn: float, step: float) -> Bools:
    """Whether colours (N, 3) lie at the hue and lightness of one."""
    hue = np.degrees(np.arctan2(colours[:, 2], colours[:, 1]))
    wanted = np.degrees(np.arctan2(near[2], near[1]))
    result: Bools = (np.abs((hue - wanted + 180) % 360 - 180) < turn) & (
        np.abs(colours[:, 0] - near[0]) < step
    )
    return result


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


_WARM = ("red", "orange", "yellow", "violet", "purple", "magenta")
"""Where a warm one of its hue leans; a cool one leans to blue or green (common practice, no
source)."""


def warmth(leans: str) -> str:
    """Say whether a lean is ``warm`` or ``cool``; empty where it is neither.

    Examples
    --------
    >>> warmth("a blue that leans violet"), warmth("a grey")
    ('warm', '')
    """
    to = leans.partition(" leans ")[2]
    if not to or to == "neither way":
        return ""
    return "warm" if to in _WARM else "cool"


def cleanest_pair(
    palette: Palette, near: Array, white: str | None, turn: float = _TURN, step: float = _STEP
) -> tuple[float, dict[str, float]]:
    """Find the pair, let down with white or not, of most chroma at a colour's hue and lightness.

    Parameters
    ----------
    near : (3,) array
        CIELAB.
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
    ratio = 1 / (1 + np.exp(-np.linspace(-6, 6, 97)))
    down = np.array([0.0, *(1 / (1 + np.exp(-np.linspace(-4, 6, 13))))]) if white else np.zeros(1)
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
    there = _alike(colours, near, turn, step)
    if not there.any():
        return 0.0, {}
    best = int(np.where(there, chroma, -1).argmax())
    mass = shares[best] / palette.coefficients.dry_volume
    mass /= mass.sum()
    order = np.argsort(-mass)
    return float(chroma[best]), {palette.paints[i]: float(mass[i]) for i in order if mass[i] > 1e-4}
