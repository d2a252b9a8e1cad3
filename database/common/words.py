"""Lists, colours and cautions, in a painter's words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from ...calibrate.optics.spectra import Array


def few(names: Sequence[str], shown: int = 6) -> str:
    """Name the first so many, and say how many more there are."""
    more = f" and {len(names) - shown} more" if len(names) > shown else ""
    return ", ".join(names[:shown]) + more


def either(words: Sequence[str]) -> str:
    """``A``, ``A or B``, ``A, B or C``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


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


_METALS = {
    "cadmium": "PO20 PO20:1 PO23 PO23:1 PR108 PR108:1 PR113 PR113:1 PY35 PY35:1 PY37 PY37:1",
    "cobalt": "PB28 PB35 PB36 PB36:1 PB72 PB74 PBk13 PG14 PG19 PG26 PG50 PV14 PV47 PV48 PV49 PY40",
    "lead": "PO21 PO21:1 PR103 PR104 PR105 PW1 PW2 PW3 PY34 PY41 PY46",
    "chromium": "PBk27 PBk30 PG15 PG17 PG18 PG26 PO21 PO21:1 PR103 PR104 PY31 PY32 PY33 PY34 PY36",
}
_HOLDS: dict[str, tuple[str, ...]] = {
    pigment: tuple(metal for metal, names in _METALS.items() if pigment in names.casefold().split())
    for names in _METALS.values()
    for pigment in names.casefold().split()
}
UNKNOWN = "unknown"
"""What to write for pigments where the label names none."""


def caution(pigments: Iterable[str]) -> str:
    """Return the caution of a paint; empty where none beyond the common ones is known.

    Parameters
    ----------
    pigments : iterable of str
        As on the label.
    """
    named = [pigment.strip().casefold() for pigment in pigments if pigment.strip()]
    if not named or UNKNOWN in named:
        return "pigments unknown: gloves, never sand it or brush it dry, wet-wipe"
    metals = dict.fromkeys(metal for pigment in named for metal in _HOLDS.get(pigment, ()))
    if not metals:
        return ""
    return f"holds {' and '.join(metals)}: gloves, never sand it or brush it dry, wet-wipe"
