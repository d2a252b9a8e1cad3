"""Colours of a report: what a display shows of them, whether it can, and what they are called."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...calibrate.optics.coefficients import ABSOLUTE, Coefficients
from ...calibrate.optics.colour import lab
from ...calibrate.optics.colour_difference import ciede2000_band
from ...calibrate.optics.display import hex_code, lab_to_srgb, srgb
from ...calibrate.optics.predict import dry_fractions, predict
from ...calibrate.optics.spectra import Array
from ..common.words import colour_words
from ..mixing.prediction import CARD_BLACK, CARD_WHITE
from ..mixing.viewing import AS_SEEN, Viewing

Bools = NDArray[np.bool_]
FILM_UM = 60.0
"""Dry film of the swatches, µm: about two brushed coats (our choice)."""


@dataclass(frozen=True)
class Swatch:
    """One colour.

    Attributes
    ----------
    code : str
        As #rrggbb; empty where it isn't known.
    outside : bool
        Whether a display can't show it, so that `code` is the nearest that it can.
    lab : (3,) array
    """

    code: str
    words: str
    outside: bool
    lab: Array


def swatch(lab: ArrayLike) -> Swatch:
    """Return what a display shows of a CIELAB colour (3,)."""
    colour = np.asarray(lab, dtype=float)
    rgb, outside = lab_to_srgb(colour[None])
    return Swatch(hex_code(rgb[0]), colour_words(colour), bool(outside[0]), colour)


def swatches(reflectance: Array, wavelengths: Array) -> list[Swatch]:
    """Colours of reflectances (N, W) under D50/2 deg."""
    rgb, outside = srgb(reflectance, wavelengths)
    colours = lab(reflectance, wavelengths)
    return [
        Swatch(hex_code(shown), colour_words(colour), bool(out), colour)
        if np.isfinite(shown).all()
        else Swatch("", "not read", False, colour)
        for shown, out, colour in zip(rgb, outside, colours, strict=True)
    ]


def shown(reflectance: Array, wavelengths: Array, viewing: Viewing) -> tuple[Array, Bools]:
    """What a display shows of reflectances (N, W), as an eye used to the light sees them.

    As `srgb`, and whether each had to be cut.
    """
    return lab_to_srgb(lab(reflectance, wavelengths, viewing.view))


def films(
    coefficients: Coefficients,
    mixes: Sequence[dict[str, float]],
    thickness_um: float | Array = np.inf,
    over: str = "black",
    viewing: Viewing = AS_SEEN,
) -> Array:
    """Reflectance of mixes by weight, without its uncertainty, (M, W).

    Parameters
    ----------
    mixes : sequence of M mappings of nickname to parts by weight
    thickness_um : float or (M,) array
        Dry; infinite for films thick enough to hide.
    over : {"black", "white"}
        Of a typical sealed card.
    viewing : Viewing
        How they are looked at.

    Raises
    ------
    ValueError
        Where a film of finite thickness is asked of relative K and S.
    """
    x = np.broadcast_to(np.asarray(thickness_um, dtype=float) * 1e-3, len(mixes))
    if np.isfinite(x).any() and coefficients.scale != ABSOLUTE:
        raise ValueError(f"K and S are {coefficients.scale}: how thin a film looks is unknown")
    used = coefficients.select(list(dict.fromkeys(paint for mix in mixes for paint in mix)))
    # Without shared causes of uncertainty a prediction costs a fraction.
    bare = replace(used, own=used.own[:, :0], factors=used.factors[:0], factor_names=())
    under = np.full((len(mixes), used.wavelengths.size), CARD_WHITE)
    if over == "black":
        under[:] = CARD_BLACK
    surface = viewing.surface(bare.surface)
    return predict(bare, dry_fractions(bare, mixes), x, under, surface).reflectance


def tint_band(
    coefficients: Coefficients, mixes: Sequence[dict[str, float]], viewing: Viewing = AS_SEEN
) -> float:
    """CIEDE2000 that 95 of 100 of some mixes by weight stay within, in films that hide."""
    used = coefficients.select(list(dict.fromkeys(paint for mix in mixes for paint in mix)))
    found = predict(used, dry_fractions(used, mixes), surface=viewing.surface(used.surface))
    wide = ciede2000_band(found.lab(viewing.view), found.lab_covariance(viewing.view))
    return float(np.nanmax(wide))
