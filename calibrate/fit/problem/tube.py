"""What is known of a tube before any of its paint is read."""

from __future__ import annotations

from dataclasses import dataclass

from .typical_density import TYPICAL_DENSITY

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
    lot : str
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
