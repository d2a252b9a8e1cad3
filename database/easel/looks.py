"""What each fitted paint looks like: from the tube, and let down with the studio's white."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.spectra import Array
from ..mixing.order import lab_of
from ..mixing.palette import Palette
from ..mixing.viewing import Viewing
from .habits import habits

if TYPE_CHECKING:
    from ..store.store import Store

LET_DOWN = 4.0
"""Parts of white to one of the paint, by weight, in the tint that stands beside a masstone."""


@dataclass(frozen=True)
class PaintLook:
    """One paint, as it is seen in the studio.

    Attributes
    ----------
    masstone, tint : (3,) array
        CIELAB; of a white, and where there is none, both are the masstone.
    """

    masstone: Array
    tint: Array


def paint_looks(store: Store) -> Mapping[str, PaintLook]:
    """Return how every fitted paint looks, by nickname."""
    with store.snapshot():
        fitted, seen = list(store.fits.current()), habits(store).seen
        try:
            return _looks(store.fits.coefficients(fitted), seen) if fitted else {}
        except InputError:
            # Paints that can't be mixed with each other are shown each by itself.
            each = [_looks(store.fits.coefficients([paint]), seen) for paint in fitted]
            return {paint: look for some in each for paint, look in some.items()}


def _looks(read: Coefficients, seen: Viewing) -> dict[str, PaintLook]:
    viewing = seen.by(read.surface)
    palette = Palette(viewing.of(read), viewing.view)
    white = palette.white
    tints: list[dict[str, float]] = [
        {paint: 1.0} if white in (None, paint) else {paint: 1.0, str(white): LET_DOWN}
        for paint in palette.paints
    ]
    masstones = palette.lab(np.eye(len(palette.paints)))
    both = zip(palette.paints, masstones, lab_of(palette, tints), strict=True)
    return {paint: PaintLook(masstone, tint) for paint, masstone, tint in both}


def looks_key(store: Store) -> object:
    """By which two states of a studio whose paints look different are told apart."""
    seen = habits(store).seen
    return tuple(sorted(store.fits.current().items())), seen
