"""What is known of a tube before any of its paint is read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

TYPICAL_DENSITY = 1.3
"""g/ml of artists' acrylic tube paint whose label tells nothing; common practice, no source."""
_ORGANIC = 1.5
"""g/ml of an organic pigment (from memory; 1.3 to 1.7)."""
_MINERAL = {
    "PW1": 6.7, "PW4": 5.6, "PW5": 4.3, "PW6": 4.1, "PW7": 4.0, "PW18": 2.7, "PW19": 2.6,
    "PW21": 4.4, "PW22": 4.4, "PW24": 2.4, "PW26": 2.8,
    "PY31": 4.5, "PY32": 3.8, "PY34": 5.8, "PY35": 4.5, "PY36": 3.4, "PY37": 4.6, "PY40": 3.2,
    "PY41": 9.0, "PY42": 4.0, "PY43": 3.2, "PY53": 4.5, "PY184": 5.9,
    "PO20": 4.7, "PO21": 6.7,
    "PR101": 5.0, "PR102": 3.5, "PR104": 5.6, "PR105": 9.1, "PR106": 8.1, "PR108": 4.8,
    "PR113": 5.0, "PR259": 2.35,
    "PV14": 3.9, "PV15": 2.35, "PV16": 2.8,
    "PB27": 1.9, "PB28": 4.2, "PB29": 2.35, "PB35": 4.5, "PB36": 4.6, "PB74": 4.1,
    "PG17": 5.1, "PG18": 3.3, "PG19": 5.0, "PG21": 3.3, "PG23": 2.7, "PG26": 5.0, "PG50": 4.7,
    "PBr6": 4.7, "PBr7": 3.7, "PBr24": 4.5, "PBr33": 5.0,
    "PBk6": 1.8, "PBk7": 1.8, "PBk8": 1.7, "PBk9": 2.4, "PBk10": 2.25, "PBk11": 4.8, "PBk28": 5.3,
}  # fmt: skip
"""g/ml by Colour Index generic name; from memory of handbooks, each good to some 5 %, of earths
and blacks to 15 %."""
_OIL, _WATER = (0.93, 0.40), (1.05, 0.12)
"""Of a medium: g/ml without pigment, and the share of the tube that pigment fills. Linseed oil is
lighter than water, and holds three times as much pigment as an acrylic (common practice, no
source; shares from the weights of oil that pigments take, from memory)."""
TYPICAL_VOLUME_SOLIDS = 0.4
"""Dry volume over wet volume of artists' acrylic tube paint; common practice, no source."""


@dataclass(frozen=True)
class Tube:
    """A lot of a paint.

    Attributes
    ----------
    paint : str
        Nickname.
    density : float or None
        Of the tube paint, g/ml.
    volume_solids : float or None
        Dry volume over wet volume.
    refuse : str or None
        Why the theory can't hold for it (metallic, interference, fluorescent), if so.
    typical : float
        Density that its label lets one expect, g/ml, where it was not weighed.

    Examples
    --------
    A gram of a paint of 1.5 g/ml that is 40 % solids by volume leaves 0.27 ml:

    >>> round(Tube("BLUE", density=1.5, volume_solids=0.4).dry_volume, 3)
    0.267
    """

    paint: str
    density: float | None = None
    volume_solids: float | None = None
    lot: str = ""
    refuse: str | None = None
    typical: float = TYPICAL_DENSITY

    @property
    def dry_volume(self) -> float:
        """Dry volume that a gram leaves, ml/g; typical where unknown.

        Examples
        --------
        >>> round(Tube("BLUE").dry_volume, 3)
        0.308
        """
        solids = TYPICAL_VOLUME_SOLIDS if self.volume_solids is None else self.volume_solids
        return solids / self.wet_density

    @property
    def wet_density(self) -> float:
        """Density of the tube paint, g/ml; typical where unknown.

        Examples
        --------
        >>> Tube("BLUE").wet_density
        1.3
        """
        return self.typical if self.density is None else self.density

    @property
    def dry_volume_measured(self) -> bool:
        """Whether the dry volume rests on the lot's own figures.

        Examples
        --------
        >>> Tube("BLUE", 1.5, 0.4).dry_volume_measured, Tube("BLUE", 1.5).dry_volume_measured
        (True, False)
        """
        return self.density is not None and self.volume_solids is not None


def typical_density(pigments: Sequence[str], binder: str = "") -> float:
    """Density of a tube paint, as is usual for what its label names.

    Parameters
    ----------
    pigments : sequence of str
        Colour Index generic names; of several the mean is taken.
    binder : str
        As on the label; where it names an oil, the paint is one. By default an acrylic.

    Returns
    -------
    float
        g/ml; `TYPICAL_DENSITY` where a pigment is unknown.

    Examples
    --------
    A titanium white and a phthalocyanine green, and lead white in oil:

    >>> [round(typical_density([name]), 2) for name in ("PW6", "PG7")]
    [1.42, 1.1]
    >>> round(typical_density(["PW1"], "linseed oil"), 1)
    3.2
    """
    found = []
    for name in pigments:
        match = re.fullmatch(r"([PN](?:Br|Bk|[A-Z])\d+)(?:[:.].*)?", name.strip())
        if not match:
            return TYPICAL_DENSITY
        found.append(_MINERAL.get(match[1], _ORGANIC))
    if not found:
        return TYPICAL_DENSITY
    words = re.findall(r"[a-z]+", binder.casefold())
    medium, share = _OIL if {"oil", "oils", "alkyd"} & set(words) else _WATER
    return float(medium + share * (np.mean(found) - medium))
