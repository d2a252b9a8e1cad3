"""Which cautions a paint needs, by the pigments on its label.

Colour Index generic names with cadmium, cobalt, lead or chromium: from memory, not from a source,
and not all there are. Colour advice is not safety advice: label and safety data sheet come first.
"""

from __future__ import annotations

from collections.abc import Iterable

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
