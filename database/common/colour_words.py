"""A colour in a painter's words."""

from __future__ import annotations

import numpy as np

from ...calibrate.optics.spectra import Array

# Hue names by CIELAB hue angle under D50; where one ends and the next begins is our own rule.
HUES = (
    (15, "magenta"),
    (45, "red"),
    (68, "orange"),
    (100, "yellow"),
    (130, "yellow-green"),
    (175, "green"),
    (215, "blue-green"),
    (255, "greenish blue"),
    (292, "blue"),
    (325, "violet"),
    (350, "purple"),
    (361, "magenta"),
)
GREY_CHROMA = 4.0
"""Below this C* a colour passes as grey (common practice, no source)."""
GREYED_CHROMA = 28.0
"""Below this C* it passes as greyed (our own rule)."""


def hue_name(hue: float) -> str:
    """Name of a CIELAB hue angle in degrees."""
    return next(name for limit, name in HUES if hue % 360 < limit)


def colour_words(colour: Array) -> str:
    """Say how light, how clean and of what hue a CIELAB colour (3,) is."""
    lightness, a, b = (float(x) for x in colour)
    chroma, hue = float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a)) % 360)
    light = (
        "very dark"
        if lightness < 20
        else "dark"
        if lightness < 40
        else "middling"
        if lightness < 62
        else "light"
        if lightness < 82
        else "very light"
    )
    if chroma < GREY_CHROMA:
        if lightness > 92:
            return "white"
        return "near black" if lightness < 18 else f"{light} grey"
    if chroma < 12:
        return f"{light} grey, leaning {hue_name(hue)}"
    clean = "greyed " if chroma < GREYED_CHROMA else "clean " if chroma > 55 else ""
    return f"{light}, {clean}{hue_name(hue)}" if clean else f"{light} {hue_name(hue)}"


def hue_turn(one: float, other: float) -> float:
    """Signed turn from one hue angle to another, -180 to 180 degrees."""
    return (other - one + 180) % 360 - 180
