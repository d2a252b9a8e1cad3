"""What a set of tubes can make: its gamut by hue and lightness, and which tube would widen it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...calibrate.optics.spectra import Array
from .palette import Palette
from .search import lattice, search, sets

HUES, LIGHTNESSES = 24, np.arange(25.0, 96.0, 10.0)
_FINEST = 3
"""Paints in the mixes that a gamut is drawn from: its skin is made of few."""


@dataclass(frozen=True)
class Gamut:
    """Most chroma that the tubes come to.

    Attributes
    ----------
    hues : (H,) array
        Middles, degrees.
    lightnesses : (L,) array
        Middles, L*.
    chroma : (L, H) array
        Greatest C* found there; zero where nothing was.
    lightest, darkest : float
        L*.
    volume : float
        Of the convex hull in CIELAB, for comparing palettes.
    colours : (N, 3) array
        CIELAB of the mixes that it is drawn from, the tubes alone first.
    """

    hues: Array
    lightnesses: Array
    chroma: Array
    lightest: float
    darkest: float
    volume: float
    colours: Array


def gamut(palette: Palette) -> Gamut:
    """Draw what the tubes can make, from mixes of up to three of them."""
    from scipy.spatial import ConvexHull, QhullError

    count = len(palette.paints)
    mixed = [np.eye(count)]
    for size in range(2, min(_FINEST, count) + 1):
        tubes, points = sets(count, size), lattice(size)
        shares = np.zeros((len(tubes), len(points), count))
        for i in range(size):
            shares[np.arange(len(tubes)), :, tubes[:, i]] = points[:, i]
        mixed.append(shares.reshape(-1, count))
    colours = palette.lab(np.concatenate(mixed) / palette.strength)
    hue = np.degrees(np.arctan2(colours[:, 2], colours[:, 1])) % 360
    at_hue = np.floor(hue / (360 / HUES)).astype(int) % HUES
    half = (LIGHTNESSES[1] - LIGHTNESSES[0]) / 2
    chroma = np.zeros((len(LIGHTNESSES), HUES))
    for i, lightness in enumerate(LIGHTNESSES):
        here = np.abs(colours[:, 0] - lightness) <= half
        np.maximum.at(chroma[i], at_hue[here], np.hypot(colours[here, 1], colours[here, 2]))
    try:
        volume = float(ConvexHull(colours).volume)
    except QhullError:
        volume = 0.0
    return Gamut(
        (np.arange(HUES) + 0.5) * 360 / HUES,
        LIGHTNESSES,
        chroma,
        float(colours[:, 0].max()),
        float(colours[:, 0].min()),
        volume,
        colours,
    )


_GAP = 12.0
"""Distance in a* and b* that mixes may lie apart and still count as joined: no spot of the outline
is then farther than half of it from a mix, and so far apart colours are still seen as neighbours
(our choice)."""


def outline(drawn: Gamut) -> Array:
    """Return the outline of what is mixable, whatever its lightness: its edges in a* and b*.

    Mixes that lie near each other are joined to triangles; the outline is what these cover, so
    that it may bend inward. What lies amid mixes can be mixed too, however far apart those are that
    were tried: the outline has no islands. Of mixes on a line there is none.

    Returns
    -------
    (3 N, 2) array
        Both ends of each edge and a NaN after them, as a line with gaps is drawn.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import Delaunay, QhullError

    spots = np.unique(np.round(drawn.colours[:, 1:], 1), axis=0)
    try:
        triangles = Delaunay(spots)
    except (QhullError, ValueError):
        return np.zeros((0, 2))
    corners, beside = triangles.simplices, triangles.neighbors
    edges = np.stack([corners, np.roll(corners, 1, axis=1)], axis=2)
    length = np.linalg.norm(spots[edges[..., 0]] - spots[edges[..., 1]], axis=2)
    wide = length.max(axis=1) > _GAP
    # Wide triangles that hang together with the outside, which stands as one more, are outside.
    one, side = np.nonzero(wide[:, None] & ((beside < 0) | wide[beside]))
    other = np.where(beside[one, side] < 0, len(corners), beside[one, side])
    links = coo_array((np.ones(len(one)), (one, other)), shape=(len(corners) + 1,) * 2)
    group = connected_components(links, directed=False)[1]
    joined = np.sort(edges[group[:-1] != group[-1]].reshape(-1, 2), axis=1)
    # An edge of one triangle alone lies outside.
    edge, times = np.unique(joined, axis=0, return_counts=True)
    ends = spots[edge[times == 1]]
    gap = np.full((len(ends), 1, 2), np.nan)
    result: Array = np.concatenate([ends, gap], axis=1).reshape(-1, 2)
    return result


@dataclass(frozen=True)
class Widening:
    """One tube more, and what it does.

    Attributes
    ----------
    paint : str
    difference : float
        CIEDE2000 from the target with it; from none where there is no target.
    volume : float
        Of the gamut with it, over without.
    """

    paint: str
    difference: float
    volume: float


def one_more(
    whole: Palette, on_hand: Sequence[str], target: Array | None = None, most: int = 4
) -> list[Widening]:
    """Try each further tube beside those on hand, best first.

    Parameters
    ----------
    whole : Palette
        Every tube that may be had.
    on_hand : sequence of str
    target : (3,) array, optional
        CIELAB to come nearer to; else the gamut is to be widened.
    most : int
        Tubes in a mix.
    """
    before = gamut(whole.select(on_hand)).volume
    found = []
    for paint in (p for p in whole.paints if p not in on_hand):
        palette = whole.select([*on_hand, paint])
        off = 0.0
        if target is not None:
            off = min(float(s.difference.min()) for s in search(palette, target, most))
        wider = gamut(palette).volume / before if before else np.inf
        found.append(Widening(paint, off, float(wider)))
    return sorted(found, key=lambda w: (round(w.difference, 1), -w.volume))


def spread(drawn: Gamut, count: int) -> Array:
    """Return so many colours of a gamut, (N, 3), that lie as far from one another as can be.

    Each next one is the one that lies farthest from all before, the lightest first.
    """
    colours = drawn.colours
    chosen = [int(colours[:, 0].argmax())]
    away = np.full(len(colours), np.inf)
    while len(chosen) < min(count, len(colours)):
        away = np.minimum(away, np.linalg.norm(colours - colours[chosen[-1]], axis=1))
        chosen.append(int(away.argmax()))
    return colours[chosen]
