"""A colour to match, as a spectrum or as CIELAB."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...calibrate.errors import InputError
from ...calibrate.optics.colour import lab
from ...calibrate.optics.display import srgb_to_lab
from ...calibrate.optics.spectra import GRID, Array, Spectra, to_grid
from ...calibrate.optics.surface import Surface, to_inside, to_measured
from ..common.words import colour_words
from .viewing import AS_READ, AS_SEEN, Viewing

HEX = re.compile(r"#?([0-9a-fA-F]{6}|[0-9a-fA-F]{3})")
_SCREEN = "a colour on a screen is an estimate; a reading is surer"
_NUMBER = r"[-+\u2212]?(?:\d+\.?\d*|\.\d+)"
_LAB = re.compile(
    rf"(?:(?:cie)?\s*l\*?a\*?b\*?\s*[:(=]?\s*)?({_NUMBER})%?[\s,;]+({_NUMBER})[\s,;]+({_NUMBER})\s*\)?",
    re.IGNORECASE,
)
_RGB = re.compile(
    rf"rgb\s*\(?\s*({_NUMBER})(%?)[\s,;]+({_NUMBER})(%?)[\s,;]+({_NUMBER})(%?)\s*\)?", re.IGNORECASE
)
_DECIMAL_COMMAS = re.compile(r"([-+]?\d+,\d+)\s*[;\s]\s*([-+]?\d+,\d+)\s*[;\s]\s*([-+]?\d+,\d+)")
WAYS = (
    "write L*,a*,b* such as '62,-18,-9', sRGB such as '#5f8ea0' or 'rgb(95, 142, 160)', a file of "
    "readings, a tube, a tube let down such as 'ANCHOR 4:1' (white to colour), a mix such as "
    "'ANCHOR=1,HULL=4', a kept recipe, or CARD/STEP"
)


@dataclass(frozen=True)
class Target:
    """A colour to match.

    Attributes
    ----------
    said : str
        What it was taken for.
    lab : (3,) array
        CIELAB under the light of its viewing condition.
    reflectance : (W,) array or None
        On the inside grid; None where only a colour is known. Light that changes then tells how
        far a mix parts from it.
    estimate : bool
        Whether it was shown on a screen, or by a camera, rather than read.
    band : float
        CIEDE2000 that the colour itself is within of what is said, 95 of 100 times; 0 for one that
        was read or stated.
    notes : tuple of str
        How far to trust it, in words.
    viewing : Viewing
        Whether it is meant as the eye sees it, or as an instrument reads it.
    parts : mapping of nickname to parts by weight, or None
        The mix of tubes that it is the colour of; None where it isn't known to be one.
    """

    said: str
    lab: Array
    reflectance: Array | None = None
    estimate: bool = False
    band: float = 0.0
    notes: tuple[str, ...] = ()
    viewing: Viewing = AS_READ
    parts: Mapping[str, float] | None = None

    @property
    def words(self) -> str:
        """Light or dark, greyed or clean, and of what hue."""
        return colour_words(self.lab)

    def under(self, viewing: Viewing, surface: Surface) -> Target:
        """Return the colour under another viewing condition.

        A spectrum is calculated anew for the other surface. Of a colour that is no spectrum the
        user says how it is meant, so its figures stay.

        Parameters
        ----------
        surface : Surface
            Of the paints, as they were read.
        """
        if viewing == self.viewing:
            return self
        if self.reflectance is None:
            return replace(self, viewing=viewing)
        seen, own = self.reflectance, self.viewing.surface(surface)
        if viewing.surface(surface) != own:
            seen = to_measured(to_inside(seen, own), viewing.surface(surface))
        moved = of_spectrum(self.said, seen, viewing=viewing)
        return replace(self, lab=moved.lab, reflectance=moved.reflectance, viewing=viewing)

    def lit(self, light: str) -> Target:
        """Return the colour under another light; of one that is no spectrum the figures stay."""
        viewing = replace(self.viewing, light=light)
        if self.reflectance is None:
            return replace(self, viewing=viewing)
        return replace(self, lab=lab(self.reflectance, view=viewing.view)[0], viewing=viewing)


def of_spectrum(
    said: str, reflectance: Array, wavelengths: Array = GRID, viewing: Viewing = AS_READ
) -> Target:
    """Make a target of a reflectance (W,); wavelengths unread are NaN."""
    row = Spectra.from_values(wavelengths, np.atleast_2d(reflectance), [said])
    values = to_grid(row).values
    colour = lab(values, view=viewing.view)[0]
    if not np.isfinite(colour).all():
        raise InputError(None, said, "its spectrum has gaps", "read it again")
    return Target(said, colour, values[0], viewing=viewing)


def of_lab(lightness: float, a: float, b: float) -> Target:
    """Make a target of CIELAB, under whatever light colours are matched under.

    Raises
    ------
    InputError
        For a colour that no surface has.
    """
    said = f"L*a*b* {lightness:g}, {a:g}, {b:g}"
    if not (0 <= lightness <= 100) or max(abs(a), abs(b)) > 150:
        raise InputError(
            "target", said, "expected L* from 0 to 100, a* and b* from -150 to 150", WAYS
        )
    return Target(said, np.array([lightness, a, b], dtype=float), viewing=AS_SEEN)


def said_colour(text: str) -> Target | None:
    """Make a target of a colour in figures: CIELAB, ``rgb(...)`` or ``#...``; None for other text.

    Raises
    ------
    InputError
        For figures that are no colour.
    """
    text = text.strip()
    if match := _DECIMAL_COMMAS.fullmatch(text):
        return of_lab(*(float(x.replace(",", ".")) for x in match.groups()))
    if match := _LAB.fullmatch(text):
        return of_lab(*(float(x.replace("\u2212", "-")) for x in match.groups()))
    if match := _RGB.fullmatch(text):
        return of_rgb(text, match.groups())
    return of_hex(text) if text.startswith("#") else None


def of_name(text: str) -> Target | None:
    """Make a target of a name of the CSS Color Module Level 4, such as teal; None for others."""
    from PIL import ImageColor

    code = ImageColor.colormap.get(text.strip().casefold().replace(" ", ""))
    return of_hex(code) if isinstance(code, str) else None


def of_rgb(text: str, parts: Sequence[str]) -> Target:
    """Make a target of sRGB in three numbers of 0 to 255, or percent of full; each with its sign.

    Raises
    ------
    InputError
        For numbers outside.
    """
    figures, percent = [float(x.replace("\u2212", "-")) for x in parts[::2]], parts[1::2]
    levels = [2.55 * x if sign else x for x, sign in zip(figures, percent, strict=True)]
    if not all(0 <= level <= 255 for level in levels):
        raise InputError("target", text, "expected three numbers of 0 to 255", WAYS)
    return of_hex("#" + "".join(f"{round(level):02x}" for level in levels))


def of_hex(text: str) -> Target:
    """Make a target of an sRGB colour such as ``#5f8ea0`` or ``#59a``.

    Raises
    ------
    InputError
        For any other text.
    """
    match = HEX.fullmatch(text.strip())
    if not match:
        raise InputError("target", text, "expected sRGB as #rrggbb", WAYS)
    digits = match[1] if len(match[1]) == 6 else "".join(2 * c for c in match[1])
    rgb = np.array([[int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]])
    return Target(
        f"sRGB #{digits.lower()}", srgb_to_lab(rgb)[0], estimate=True, notes=(_SCREEN,),
        viewing=AS_SEEN,
    )  # fmt: skip
