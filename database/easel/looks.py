"""What each fitted paint looks like: from the tube, and let down with the studio's white."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...calibrate.errors import InputError
from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.predict import dry_fractions
from ...calibrate.optics.spectra import Array
from ..mixing.palette import Palette
from ..mixing.viewing import Viewing
from .habits import habits

if TYPE_CHECKING:
    from ..store.store import Store

LET_DOWN = 4.0
"""Parts of white to one of the paint, by weight, in the tint that stands beside a masstone."""
LADDER = (0.0, 0.5, 1.0, 2.0, LET_DOWN, 8.0, 16.0, 32.0, 64.0)
"""Parts of white to one of the paint, from masstone on, in the ladder that shows how it tints."""


@dataclass(frozen=True)
class PaintLook:
    """One paint, as it is seen in the studio.

    Attributes
    ----------
    ladder : (L, 3) array
        CIELAB as it is let down by `LADDER`; of a white, and where there is none, the masstone.
    wavelengths : (W,) array, nm
    reflectance : (2, W) array
        Of masstone and tint.
    """

    ladder: Array
    wavelengths: Array
    reflectance: Array

    @property
    def masstone(self) -> Array:
        """CIELAB of the paint alone, (3,)."""
        masstone: Array = self.ladder[0]
        return masstone

    @property
    def tint(self) -> Array:
        """CIELAB of the paint let down by `LET_DOWN`, (3,)."""
        tint: Array = self.ladder[LADDER.index(LET_DOWN) if len(self.ladder) > 1 else 0]
        return tint


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
    white, found = palette.white, {}
    for paint in palette.paints:
        alone = white in (None, paint)
        parts = (0.0,) if alone else LADDER
        mixes = [{paint: 1.0, **({str(white): part} if part else {})} for part in parts]
        shares = dry_fractions(palette.coefficients, mixes)
        two = shares[[0, 0 if alone else LADDER.index(LET_DOWN)]]
        found[paint] = PaintLook(
            palette.lab(shares), palette.coefficients.wavelengths, palette.reflectance(two)
        )
    return found


def looks_key(store: Store) -> object:
    """By which two states of a studio whose paints look different are told apart."""
    seen = habits(store).seen
    return tuple(sorted(store.fits.current().items())), seen
