"""The viewing condition: as the eye sees a colour or an instrument reads it, and under which light.

What the eye sees leaves the mirror reflection out, and only that; a sphere that includes the
specular reads it too. A colour therefore says which of the two it is, and keeps it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from ...calibrate.optics.coefficients import Coefficients
from ...calibrate.optics.colour import D50, View
from ...calibrate.optics.surface import Geometry, Gloss, Surface, haze_prior, notation

LIGHTS = {"D50": "warm daylight", "D65": "daylight", "A": "lamplight", "LED-B3": "LED light"}
"""Lights that colours are matched and shown under, and what a painter calls them."""


@dataclass(frozen=True)
class Viewing:
    """How a colour is meant.

    Attributes
    ----------
    finish : {"gloss", "satin", "matt"} or None
        As the eye sees it under this finish; None: as an instrument reads it.
    geometry : {"di:8", "8:di", "45:0"} or None
        Of the instrument; None: of the one that the paints were read with.
    specular : {"included", "excluded"} or None
        Of that geometry.
    light : str
        A key of `LIGHTS`. The observer is the CIE's of 1931, 2 degrees.
    """

    finish: Gloss | None = None
    geometry: Geometry | None = None
    specular: Literal["included", "excluded"] | None = None
    light: str = D50.illuminant

    @classmethod
    def read(
        cls, geometry: Geometry, specular: Literal["included", "excluded"] = "included"
    ) -> Viewing:
        """Return the condition of a reading by an instrument of this geometry."""
        # 45:0 never meets the specular, whatever a file says.
        return cls(None, geometry, "excluded" if geometry == "45:0" else specular)

    @classmethod
    def of_kept(cls, said: Mapping[str, Any]) -> Viewing:
        """Return what `said` kept; nothing kept: as the paints were read."""
        light = said.get("light", D50.illuminant)
        return cls(said.get("finish"), said.get("geometry"), said.get("specular"), light)

    @property
    def said(self) -> dict[str, str]:
        """What is kept of it, and said to programs."""
        every: dict[str, str | None] = {
            "finish": self.finish,
            "geometry": self.geometry,
            "specular": self.specular,
        }
        said = {key: value for key, value in every.items() if value}
        # Before lights were kept there was this one only.
        return said if self.view == D50 else said | {"light": self.light}

    @property
    def view(self) -> View:
        """Light and observer."""
        return View(self.light)

    @property
    def words(self) -> str:
        """The condition as the end of a sentence."""
        lit = f"under {LIGHTS[self.light]} ({self.view})"
        if self.finish:
            return f"as the eye sees it in a {self.finish} finish {lit}"
        if self.geometry:
            by = notation(self.geometry, self.specular or "included")
            return f"as an instrument of geometry {by} reads it, {lit}"
        return f"as the instrument that read the paints reads it, {lit}"

    def under(self, finish: Gloss | None) -> Viewing:
        """Return the condition under a named finish and the same light; None: as it is."""
        return Viewing(finish, light=self.light) if finish else self

    def by(self, surface: Surface) -> Viewing:
        """Return the same; where it is open which instrument reads, by that of this surface."""
        if self.finish or self.geometry:
            return self
        return replace(of_reading(surface), light=self.light)

    def surface(self, own: Surface) -> Surface:
        """Return the surface of paints, `own` as they were read, under this condition.

        Gloss sends its surface reflection one way, and an eye moves out of it; matt sends it all
        about, which lifts the darks.
        """
        if self.finish:
            haze = haze_prior(self.finish)[0]
            return replace(own, specular="excluded", gloss=self.finish, haze=haze)
        if self.geometry:
            return replace(own, geometry=self.geometry, specular=self.specular or own.specular)
        return own

    def of(self, coefficients: Coefficients) -> Coefficients:
        """Return paints, given as they were read, under this condition."""
        surface = self.surface(coefficients.surface)
        # The paints themselves where nothing changes: what was computed of them stays known.
        same = surface == coefficients.surface
        return coefficients if same else replace(coefficients, surface=surface)


AS_READ = Viewing()
"""As the instrument that the paints were read with reads it."""
AS_SEEN = Viewing("gloss")
"""A colour from a screen, a photograph or a person's words."""


def of_reading(surface: Surface) -> Viewing:
    """Return the condition that paints of this surface were read in."""
    return Viewing.read(surface.geometry, surface.specular)
