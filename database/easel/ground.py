"""What lies below a film: a tube, a mix, a reading, or a colour whose spectrum nobody read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...calibrate.errors import Field, InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour import ciede2000
from ...calibrate.optics.spectra import Array
from ...calibrate.optics.surface import Surface, to_inside
from ..mixing.film import FilmPalette, Ground
from ..mixing.palette import Palette
from ..mixing.recipes import recipes
from ..mixing.target import Target
from ..mixing.viewing import AS_READ
from .basis import usable

if TYPE_CHECKING:
    from ..store.store import Store

_LIKELY = 6
"""Mixes of a colour that stand for what it may be made of, where nobody read it."""


def ground_of(store: Store, target: Target, read: Coefficients | None = None) -> Ground:
    """Return a colour as a film's ground.

    Of a colour that is no spectrum the likeliest mix of the studio's tubes is taken for it, and
    other mixes of that colour tell how much that matters.

    Parameters
    ----------
    read : Coefficients, optional
        Of paints, as they were read; by default of the tubes on hand.

    Raises
    ------
    InputError
        Where it reads darker than its surface alone; and as `usable`.
    """
    read = read or usable(store)
    if target.reflectance is not None:
        below = target.under(AS_READ, read.surface)
        assert below.reflectance is not None
        return Ground(target.said, _inside(target.said, below.reflectance, read.surface))
    first, *others = _likely(target, target.viewing.of(usable(store)))
    return Ground(target.said, first, tuple(others))


def _inside(said: str, reflectance: Array, surface: Surface) -> tuple[float, ...]:
    """Reflectance inside of what was read."""
    inside = to_inside(reflectance, surface)
    if np.nanmin(inside) < 0:
        raise InputError(
            Field("over"), said, "reads darker than its surface alone",
            "read it with the instrument and geometry of the paints",
        )  # fmt: skip
    return tuple(float(r) for r in inside)


def _likely(target: Target, seen: Coefficients) -> list[tuple[float, ...]]:
    """Reflectance inside of the likeliest mixes of a colour, as the eye sees them."""
    ways = recipes(seen, target, ways=_LIKELY, view=target.viewing.view).recipes
    return [_inside(target.said, way.reflectance, seen.surface) for way in ways]


def unsure(palette: Palette, lab: Array, shares: Array) -> float:
    """CIEDE2000 that a film may be off since its ground's spectrum isn't known, 95 of 100 times.

    Parameters
    ----------
    palette : Palette
        Of the films.
    lab : (3,) array
        What the film looks like over the likeliest ground.
    shares : (P,) array
        Dry-volume fractions.
    """
    film = palette.film if isinstance(palette, FilmPalette) else None
    if film is None or film.ground is None or not film.ground.others:
        return 0.0
    off = []
    for other in film.ground.others:
        over = film.on(film.thickness_um, Ground(film.over, other), film.coats)
        there = FilmPalette(palette.coefficients, palette.view, over)
        off.append(float(ciede2000(there.lab(shares[None])[0], lab)))
    return 2 * float(np.sqrt(np.mean(np.square(off))))
