"""How a mix is painted and looked at: hiding or as a film, and under which finish."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ...calibrate.optics.surface import Gloss
from ..mixing.film import Film
from ..mixing.target import Target
from ..mixing.viewing import AS_READ, Viewing
from .asked_colour import kept_viewing


@dataclass(frozen=True)
class Manner:
    """How mixes are painted and looked at.

    Attributes
    ----------
    viewing : Viewing
    film : Film or None
        None: paint that hides.
    """

    viewing: Viewing = AS_READ
    film: Film | None = None

    @classmethod
    def matching(
        cls, target: Target, finish: Gloss | None = None, film: Film | None = None
    ) -> Manner:
        """Return how a target is matched: as it is meant itself, unless a finish is named."""
        return cls(Viewing(finish) if finish else target.viewing, film)

    @classmethod
    def of_kept(cls, predicted: Mapping[str, Any]) -> Manner:
        """Return how a kept recipe was looked at."""
        film = None
        if "thickness_um" in predicted:
            film = Film(predicted["thickness_um"], predicted["over"])
        return cls(kept_viewing(predicted), film)

    @property
    def said(self) -> dict[str, Any]:
        """What is kept of it with a recipe."""
        said: dict[str, Any] = {"viewing": self.viewing.said}
        if self.film:
            said |= {"thickness_um": self.film.thickness_um, "over": self.film.over}
        return said
