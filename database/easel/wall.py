"""What a wall of tubes shows: tints, coats, pairs, a triangle; colours with their 95 % bands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ...calibrate.fit.judging.hiding import COAT_UM, Hiding, hiding_thickness
from ...calibrate.fit.judging.own_films import Anchor
from ...calibrate.fit.judging.strength import Strength
from ...calibrate.optics.coefficients import ABSOLUTE, Coefficients
from ...calibrate.optics.colour_difference import ciede2000_band
from ...calibrate.optics.predict import dry_fractions, predict
from ...calibrate.optics.spectra import Array
from ..mixing.made import Made, as_made
from ..mixing.measures import WEIGHED_PARTS
from ..mixing.palette import Palette
from ..mixing.prediction import CARD_BLACK, CARD_WHITE
from ..mixing.strengths import rank
from ..mixing.viewing import Viewing

TINT_STEPS = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
"""Parts of white to one of colour, by weight."""
COATS = (1, 2, 3, 4, 6, 8, 12)
SIDE = 5
"""Mixes along each side of a triangle."""
TINT_LIGHTNESS = 70.0
"""L* that pairs are let down to (our choice): they compare at one lightness."""
_HALVINGS = 30


@dataclass(frozen=True)
class Row:
    """One tube on the wall.

    Attributes
    ----------
    white : str or None
        That it was let down with.
    lab : (S, 3) array
        Its steps, in films that hide; the masstone first.
    covariance : (S, 3, 3) array
        Of these.
    coats : (2, C, 3) array
        Over white and over black, by whole coats; empty where K and S are relative.
    """

    paint: str
    white: str | None
    lab: Array
    covariance: Array
    coats: Array
    hiding: Hiding | None
    strength: Strength | None

    @property
    def band(self) -> float:
        """CIEDE2000 that 95 of 100 of its steps stay within."""
        return float(np.nanmax(ciede2000_band(self.lab, self.covariance)))


def rows(
    c: Coefficients,
    whites: Mapping[str, str],
    paints: Sequence[str],
    viewing: Viewing,
    anchors: Mapping[str, Anchor] | None = None,
) -> list[Row]:
    """Work out some tubes, the strongest first and those without a strength last.

    Parameters
    ----------
    c : Coefficients
        Of them and their whites, as they were read.
    whites : mapping of nickname to nickname
    anchors : mapping of nickname to Anchor, optional
        What paints' own films say of thickness.
    """
    ladders = {p: whites[p] for p in paints if whites.get(p) in c.paints and whites[p] != p}
    ranked = {s.paint: s for s in (rank(c, ladders)[0] if ladders else [])}
    made = [
        _row(c, paint, ladders.get(paint), viewing, (anchors or {}).get(paint), ranked.get(paint))
        for paint in paints
    ]
    return sorted(made, key=lambda row: -row.strength.ratio if row.strength else np.inf)


def _row(
    c: Coefficients,
    paint: str,
    white: str | None,
    viewing: Viewing,
    own: Anchor | None,
    strength: Strength | None,
) -> Row:
    few = c.select([paint, *([white] if white else [])])
    mixes = [{paint: 1.0}]
    if white is not None:
        mixes += [{paint: 1.0, white: parts} for parts in TINT_STEPS[1:]]
    surface = viewing.surface(few.surface)
    tints = predict(few, dry_fractions(few, mixes), surface=surface)
    coats, hiding = np.zeros((2, 0, 3)), None
    if c.scale == ABSOLUTE:
        alone = c.select([paint])
        shift = 1.0 if own is None else float(np.exp(-own.shift))
        x = np.array(COATS) * COAT_UM * 1e-3 * shift
        one = np.ones((len(COATS), 1))
        coats = np.array([
            predict(alone, one, x, np.full((len(COATS), c.wavelengths.size), ground), surface).lab(
                viewing.view
            )
            for ground in (CARD_WHITE, CARD_BLACK)
        ])  # fmt: skip
        hiding = hiding_thickness(c, paint, films=own)
    view = viewing.view
    return Row(paint, white, tints.lab(view), tints.lab_covariance(view), coats, hiding, strength)


def _measured(palette: Palette, shares: Mapping[str, float]) -> Made:
    """Return a mix by dry volume in whole parts by weight."""
    c = palette.coefficients
    masses = {p: s / float(c.dry_volume[c.index(p)]) for p, s in shares.items() if s > 1e-6}
    dense = np.zeros((1, len(palette.paints)))
    for paint, share in shares.items():
        dense[0, palette.paints.index(paint)] = share
    wanted = palette.lab(dense / dense.sum())[0]
    whole = sum(masses.values())
    parts = {p: m / whole for p, m in masses.items()}
    return as_made(palette, parts, wanted, WEIGHED_PARTS)


def _even(palette: Palette, counted: Mapping[str, float]) -> dict[str, float]:
    """Dry-volume shares of shares counted in strength, so that no strong tube swallows a weak."""
    volumes = {p: n / float(palette.strength[palette.paints.index(p)]) for p, n in counted.items()}
    whole = sum(volumes.values())
    return {p: v / whole for p, v in volumes.items()}


@dataclass(frozen=True)
class Cell:
    """Two tubes half way, counted in strength: as they are, and let down to one lightness.

    Attributes
    ----------
    paints : (str, str)
    tint : Made or None
        None where there is no white, or it is as light without.
    """

    paints: tuple[str, str]
    made: Made
    tint: Made | None


def matrix(palette: Palette, paints: Sequence[str]) -> list[Cell]:
    """Work out every pair of some tubes of a palette, half way."""
    cells = []
    for pair in combinations(paints, 2):
        shares = _even(palette, dict.fromkeys(pair, 1.0))
        cells.append(Cell(pair, _measured(palette, shares), _let_down(palette, shares)))
    return cells


def _let_down(palette: Palette, shares: Mapping[str, float]) -> Made | None:
    white = palette.white
    if white is None or white in shares:
        return None
    dense = np.zeros(len(palette.paints))
    for paint, share in shares.items():
        dense[palette.paints.index(paint)] = share
    if palette.lab(dense[None])[0, 0] >= TINT_LIGHTNESS:
        return None
    let_in = float(white_to_let_down(palette, dense[None])[0])
    return _measured(palette, {p: s * (1 - let_in) for p, s in shares.items()} | {white: let_in})


def white_to_let_down(palette: Palette, shares: Array) -> Array:
    """Find how much white lets mixes down to `TINT_LIGHTNESS`.

    Parameters
    ----------
    palette : Palette
        With its white.
    shares : (N, P) array
        Of the mixes by dry volume, without white.

    Returns
    -------
    (N,) array
        Share of white by dry volume in each let down.
    """
    at = palette.paints.index(str(palette.white))
    low, high = np.zeros(len(shares)), np.ones(len(shares))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        tried = shares * (1 - middle)[:, None]
        tried[:, at] += middle
        dark = palette.lab(tried)[:, 0] < TINT_LIGHTNESS
        low, high = np.where(dark, middle, low), np.where(dark, high, middle)
    return low


def triangle(palette: Palette, paints: Sequence[str]) -> list[tuple[tuple[int, int, int], Made]]:
    """Mix three tubes in even steps of strength.

    Returns
    -------
    list of (steps, Made)
        Steps of each tube, which add up to one less than `SIDE`.
    """
    whole, found = SIDE - 1, []
    for i in range(whole, -1, -1):
        for j in range(whole - i, -1, -1):
            steps = (i, j, whole - i - j)
            counted = {p: float(n) for p, n in zip(paints, steps, strict=True) if n}
            found.append((steps, _measured(palette, _even(palette, counted))))
    return found


def widest(rows_: Sequence[Row]) -> tuple[str, str, str] | None:
    """Return the three tubes whose purest steps span most in a* and b*, if there are three."""
    purest = {
        row.paint: row.lab[int(np.nanargmax(np.hypot(row.lab[:, 1], row.lab[:, 2]))), 1:]
        for row in rows_
    }
    best = max(
        combinations(purest, 3),
        key=lambda three: _area(*(purest[p] for p in three)),
        default=None,
    )
    return None if best is None else (best[0], best[1], best[2])


def _area(a: Array, b: Array, c: Array) -> float:
    one, other = b - a, c - a
    return abs(float(one[0] * other[1] - one[1] * other[0]))
