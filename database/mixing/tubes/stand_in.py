"""Stand-ins for a tube that is gone: the nearest mix with another tube in its place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ....calibrate.optics.colour import View, ciede2000, lab
from ....calibrate.optics.spectra import Array
from ..palette import Ints, Palette
from ..ranking import VISIBLE
from ..search import Solutions, search
from ..viewing import LIGHTS
from .fewest import POOL

_PAIRED = 3
"""Tubes that are left of a mix, up to which pairs are tried beside them."""


@dataclass(frozen=True)
class StandIn:
    """A mix with another tube, or two, in place of one.

    Attributes
    ----------
    paints : tuple of str
        What stands in; empty where the mix does best without any.
    parts : dict of nickname to share by weight
        The greatest first.
    difference : float
        CIEDE2000 from the mix as it was, under the light that it is looked at.
    """

    paints: tuple[str, ...]
    parts: dict[str, float]
    difference: float

    @property
    def paint(self) -> str:
        """What stands in, in one word for programs; empty where nothing does."""
        return "+".join(self.paints)


def stand_ins(palette: Palette, parts: Mapping[str, float], gone: str) -> tuple[StandIn, ...]:
    """Try every other tube in place of one, nearest first.

    Parameters
    ----------
    palette : Palette
        The tubes of the mix and those that may stand in.
    parts : mapping of nickname to parts by weight
    gone : str
        Nickname of the tube of the mix that is gone.

    Returns
    -------
    tuple of StandIn
        One for each other tube. Where none of them comes so near that it is hard to see, the
        nearest pair is among them too, if it comes nearer by what can be seen.

    Notes
    -----
    Of very many tubes each is tried alone; those that come nearest so are gone on with, and in
    pairs.
    """
    rest = [paint for paint in parts if paint != gone]
    few = palette.select([paint for paint in palette.paints if paint != gone])
    wanted = palette.lab(_dry(palette, parts)[None])[0]
    if len(few.paints) > POOL:
        few = few.select([*rest, *_likeliest(few, rest, wanted)])
    solved = search(few, wanted, len(rest) + (2 if len(rest) <= _PAIRED else 1))
    if len(rest) == len(few.paints):
        return tuple(_with(few, rest, solved[-1]))
    found = _with(few, rest, solved[len(rest)])
    if found[0].difference > VISIBLE and len(solved) > len(rest) + 1:
        pairs = _with(few, rest, solved[-1])
        found = [each for each in pairs[:1] if each.difference < found[0].difference - VISIBLE] + (
            found
        )
    return tuple(found)


def _likeliest(palette: Palette, rest: Sequence[str], wanted: Array) -> list[str]:
    """The tubes that come nearest alone beside what is left, as many as sets are compared of."""
    others = [paint for paint in palette.paints if paint not in rest]
    off = [
        float(search(palette.select([*rest, other]), wanted, len(rest) + 1)[-1].difference.min())
        for other in others
    ]
    return [others[i] for i in np.argsort(off, kind="stable")[: POOL - len(rest)]]


def _with(palette: Palette, rest: Sequence[str], solved: Solutions) -> list[StandIn]:
    """Of all sets of one size those that hold what is left, nearest first."""
    held = [palette.paints.index(paint) for paint in rest]
    holds = np.array([np.isin(held, tubes).all() for tubes in solved.tubes])
    rows = np.flatnonzero(holds)
    return [
        _stand_in(palette, rest, solved.tubes[row], solved.shares[0, row],
                  float(solved.difference[0, row]))
        for row in rows[np.argsort(solved.difference[0, rows], kind="stable")]
    ]  # fmt: skip


def _stand_in(
    palette: Palette, rest: Sequence[str], tubes: Ints, shares: Array, off: float
) -> StandIn:
    masses = shares / palette.coefficients.dry_volume[tubes]
    masses = masses / masses.sum()
    names = [palette.paints[i] for i in tubes]
    order = np.argsort(-masses, kind="stable")
    parts = {names[i]: float(masses[i]) for i in order if masses[i] > 0}
    return StandIn(tuple(n for n in names if n in parts and n not in rest), parts, off)


def _dry(palette: Palette, parts: Mapping[str, float]) -> Array:
    """Dry-volume fractions (P,) of a mix by weight."""
    dense = np.array([parts.get(p, 0.0) for p in palette.paints]) * palette.coefficients.dry_volume
    result: Array = dense / dense.sum()
    return result


def by_light(
    palette: Palette, one: Mapping[str, float], other: Mapping[str, float]
) -> dict[str, float]:
    """CIEDE2000 of two mixes by weight under each light that colours are shown under."""
    made = palette.reflectance(np.array([_dry(palette, one), _dry(palette, other)]))
    wavelengths = palette.coefficients.wavelengths
    seen = palette.seen
    found = {}
    for light in LIGHTS:
        both = lab(made[:, seen], wavelengths[seen], View(light, palette.view.observer))
        found[light] = float(ciede2000(both[0], both[1]))
    return found
