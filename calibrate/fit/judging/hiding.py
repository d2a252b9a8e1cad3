"""How well a paint hides: contrast ratio, and the dry film that hides black and white.

References
----------
ISO 6504-3 and ASTM D2805 (contrast ratio Yb/Yw of a film over black and over white; for white and
light-coloured paints); ISO 18314-2 (the film over black and over white differ by one CIELAB unit).
Their details here (the white chart's 0.80, the ratio 0.98, Y above 0.25, D65 and 10 degrees) are
from memory, and this is in their manner, not by their procedure: films are predicted from K and S.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...optics.coefficients import ABSOLUTE, Coefficients, dry_volume_spread
from ...optics.colour import View, lab, weights
from ...optics.predict import read_films
from ...optics.spectra import Array
from ...optics.surface import Surface, to_inside
from ...optics.transport import TRANSPORT
from ..uncertainty.propagate import ReadMixes, covariance_of, read_by_all, see
from .own_films import UNTRIED, Anchor

PAINT_VIEW = View("D65", 10)
STANDARD_UM = 75.0
"""Dry thickness that contrast ratios are reduced to, µm (our choice)."""
CHART_WHITE = 0.80
"""Reflectance of the standard white, as read; the standard black reflects nothing inside."""
HIDES_AT = 0.98
LIGHT_Y = 0.25
"""Y of an opaque film above which a paint counts as light-coloured."""
COAT_UM = 30.0
"""Dry film that one brushed coat of tube acrylic leaves, µm (common practice, no source)."""
AT_FILM, PER_FOLD = 0.05, 0.15
"""What two fluxes get wrong of a thickness that hides, relative: at the thickness of a film that
was read, and more for each factor of e away from it. Rounded as `UNTRIED` is."""
BY_TRANSPORT = 0.05
"""The same by transport, of any film: rounded up from 0.03 to 0.04, the root mean square over the
paints of the lab, nominal and where they differ in g, index or evenness."""
_THINNEST, _THICKEST = 1e-4, 10.0
_CLOSELY = 0.35
"""Relative uncertainty of a thickness beyond which it is only a rough guess (our rule)."""


@dataclass(frozen=True)
class Contrast:
    """Contrast ratio Yb/Yw of a film of a stated dry thickness.

    Attributes
    ----------
    ratio, uncertainty : float
        Standard uncertainty.
    surface : str
        How the instrument sees the surface.
    """

    paint: str
    thickness_um: float
    ratio: float
    uncertainty: float
    view: View
    surface: str

    def __str__(self) -> str:
        return (
            f"at {self.thickness_um:.0f} µm dry it is {self.ratio:.1%} as bright over black as "
            f"over white (contrast ratio {self.ratio:.3f} ± {1.96 * self.uncertainty:.3f}, "
            f"{self.view}, {self.surface})"
        )


@dataclass(frozen=True)
class Hiding:
    """Dry film that hides.

    Attributes
    ----------
    criterion : str
        ``contrast ratio 0.98`` or ``one CIELAB unit``.
    thickness_um : float
        Infinite where 10 mm don't hide.
    relative_uncertainty : float
        Standard uncertainty of the thickness's logarithm.
    spreading : float, m2/l
        Area that a litre of tube paint hides, at its volume solids.
    spreading_uncertainty : float
        Standard uncertainty of its logarithm. Less than the thickness's: paint that leaves more dry
        volume than believed makes thicker films, each to the same effect.
    solids_measured : bool
        False where a typical density or volume solids was assumed.
    hid_um : float or None
        Thinnest film that was read, where all of them hid their substrate.
    """

    paint: str
    criterion: str
    thickness_um: float
    relative_uncertainty: float
    spreading: float
    spreading_uncertainty: float
    solids_measured: bool
    hid_um: float | None
    view: View
    surface: str

    @property
    def band(self) -> tuple[float, float]:
        """95 % interval of the thickness, µm."""
        wide = float(np.exp(min(1.96 * self.relative_uncertainty, 50.0)))
        return self.thickness_um / wide, self.thickness_um * wide

    def __str__(self) -> str:
        said = f"({self.criterion}, {self.view}, {self.surface})"
        if not np.isfinite(self.thickness_um):
            return f"doesn't hide black at any thickness that can be painted {said}"
        low, high = self.band
        about = "" if self.relative_uncertainty < _CLOSELY else ", a rough guess,"
        if self.hid_um is not None and self.thickness_um < self.hid_um:
            return (
                f"hides black in every film that was read, the thinnest {self.hid_um:.0f} µm dry; "
                f"its K and S say at {self.thickness_um:.0f} µm, somewhere from {low:.0f} to "
                f"{high:.0f} µm {said}"
            )
        solids = "" if self.solids_measured else " (volume solids assumed)"
        return (
            f"hides black at {self.thickness_um:.0f} µm dry ({coats_in_words(self.thickness_um)})"
            f"{about} somewhere from {low:.0f} to {high:.0f} µm {said}; "
            f"a litre covers about {self.spreading:.2g} m² so{solids}"
        )


def coats_in_words(thickness_um: float) -> str:
    """A dry thickness in brushed coats."""
    coats = thickness_um / COAT_UM
    names = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    if coats < 0.75:
        return "less than one brushed coat"
    if coats < 10.5:
        n = round(coats)
        return f"about {names[n - 1]} brushed coat{'s' if n > 1 else ''}"
    return "far more coats than anyone brushes"


def surface_in_words(surface: Surface) -> str:
    """How an instrument sees the surface."""
    if surface.geometry == "45:0":
        return "45:0"
    return f"{surface.geometry}, surface reflection {surface.specular}"


def chart(coefficients: Coefficients) -> Array:
    """Inside reflectance of the standard black and white, (2, W)."""
    n_w = coefficients.wavelengths.size
    glossy = replace(coefficients.surface, gloss="gloss", haze=0.0)
    white = to_inside(np.full(n_w, CHART_WHITE), glossy)
    return np.stack([np.zeros(n_w), white])


def _films(coefficients: Coefficients, thickness: float, under: Array) -> ReadMixes:
    return see(coefficients, np.ones((2, 1)), thickness, under)


def _one(coefficients: Coefficients, paint: str) -> Coefficients:
    if coefficients.scale != ABSOLUTE:
        raise ValueError(
            f"K and S of {paint} are {coefficients.scale}: how thick a film hides can't be said"
        )
    return read_by_all(coefficients, [paint])


def contrast_ratio(
    coefficients: Coefficients,
    paint: str,
    thickness_um: float = STANDARD_UM,
    view: View = PAINT_VIEW,
    films: Anchor | None = None,
) -> Contrast:
    """Predict the contrast ratio of a film over the standard black and white.

    Parameters
    ----------
    coefficients : Coefficients
    paint : str
    thickness_um : float
        Dry.
    view : View
        D65/10 deg by default.
    films : Anchor, optional
        What the paint's own films say of thickness.

    Returns
    -------
    Contrast

    Raises
    ------
    ValueError
        Where K and S are relative to a white, or were read with a gap.
    """
    c = _one(coefficients, paint)
    x = thickness_um * 1e-3 * to_model(films)
    made = _films(c, x, chart(c))
    (black, white), w = made.bright(view)
    slopes = np.stack([w / white, -w * black / white**2])
    by_ks = np.einsum("mw,mpiw->piw", slopes, made.by_ks)
    by_log_x = x * float((slopes * made.by_x).sum())
    variance = float(covariance_of(c, by_ks[None])[0, 0])
    beside = np.hypot(_of_model(c, films, thickness_um), _volume(c))
    variance += (by_log_x * float(beside)) ** 2
    return Contrast(
        paint,
        thickness_um,
        float(black / white),
        float(np.sqrt(variance)),
        view,
        surface_in_words(c.surface),
    )


def to_model(films: Anchor | None) -> float:
    """Thickness that K and S need, over the thickness as painted."""
    return 1.0 if films is None else float(np.exp(-films.shift))


def _volume(coefficients: Coefficients) -> float:
    """Relative standard uncertainty of a dry thickness from that of the dry volume per gram."""
    return dry_volume_spread(bool(coefficients.dry_volume_measured[0]))


def _of_model(c: Coefficients, films: Anchor | None, thickness_um: float) -> float:
    """Relative standard uncertainty of a thickness beside that of K and S."""
    if c.model == TRANSPORT:
        return BY_TRANSPORT
    if films is None:
        return UNTRIED
    away = PER_FOLD * float(np.log(thickness_um / films.thickness_um))
    return float(np.sqrt(AT_FILM**2 + away**2 + films.uncertainty**2))


def _ratio_short(r: Array, wavelengths: Array, view: View) -> Array:
    """How far contrast ratios lie below what hides, (M,); `r` over black and white, (2, M, W)."""
    w = weights(wavelengths, view)[0][:, 1]
    black, white = r @ w
    result: Array = HIDES_AT - black / white
    return result


def _unit_short(r: Array, wavelengths: Array, view: View) -> Array:
    """How far CIELAB differences exceed 1, as `_ratio_short`."""
    black, white = (lab(one, wavelengths, view) for one in r)
    result: Array = np.linalg.norm(white - black, axis=1) - 1.0
    return result


def _ratio_slope(films: ReadMixes, view: View) -> Array:
    """Slope of `_ratio_short` by the reflectance of both films, (2, W)."""
    (black, white), w = films.bright(view)
    return np.stack([-w / white, w * black / white**2])


def _unit_slope(films: ReadMixes, view: View) -> Array:
    colours, slope = films.lab(view)
    apart = colours[1] - colours[0]
    by = np.einsum("i,miw->mw", apart / np.linalg.norm(apart), slope)
    result: Array = by * np.array([[-1.0], [1.0]])
    return result


BY_RATIO, BY_UNIT = f"contrast ratio {HIDES_AT:g}", "one CIELAB unit"
_CRITERIA = {BY_RATIO: (_ratio_short, _ratio_slope), BY_UNIT: (_unit_short, _unit_slope)}


def is_light(coefficients: Coefficients, paint: str, view: View = PAINT_VIEW) -> bool:
    """Whether an opaque film of the paint is light enough for the contrast ratio to judge it.

    Parameters
    ----------
    coefficients : Coefficients
    paint : str
        Nickname.
    view : View
        Light and observer.

    Returns
    -------
    bool
    """
    c = read_by_all(coefficients, [paint])
    return float(see(c, np.ones((1, 1))).bright(view)[0][0]) > LIGHT_Y


def hiding_thickness(
    coefficients: Coefficients,
    paint: str,
    criterion: str | None = None,
    view: View = PAINT_VIEW,
    films: Anchor | None = None,
) -> Hiding:
    """Find the dry film that hides the standard black and white.

    Parameters
    ----------
    coefficients : Coefficients
    paint : str
    criterion : str, optional
        `BY_RATIO` or `BY_UNIT`; by default the first for light paints, the second for the rest.
    view : View
        D65/10 deg by default.
    films : Anchor, optional
        What the paint's own films say of thickness.

    Returns
    -------
    Hiding

    Raises
    ------
    ValueError
        Where K and S are relative to a white, or were read with a gap.
    """
    c = _one(coefficients, paint)
    criterion = criterion or (BY_RATIO if is_light(coefficients, paint, view) else BY_UNIT)
    short, slope_of = _CRITERIA[criterion]
    under = chart(c)

    def missing(log_x: Array | float) -> Array:
        x = np.exp(np.atleast_1d(log_x))[:, None]
        r = read_films(c.model, c.surface, c.k[0], c.s[0], x, under[:, None], c.surface_offset[0]).r
        return short(r, c.wavelengths, view)

    # The thinnest film beyond which every thicker one hides.
    grid = np.linspace(np.log(_THINNEST), np.log(_THICKEST), 200)
    lacks = np.flatnonzero(missing(grid) > 0)
    x, relative = np.inf, np.inf
    if not lacks.size:
        x, relative = _THINNEST, 0.0
    elif lacks[-1] < grid.size - 1:
        from scipy.optimize import brentq

        at = int(lacks[-1])
        x = float(np.exp(brentq(lambda at: missing(at)[0], grid[at], grid[at + 1], xtol=1e-12)))
        made = _films(c, x, under)
        slopes = slope_of(made, view)
        by_ks = np.einsum("mw,mpiw->piw", slopes, made.by_ks)
        by_log_x = x * float((slopes * made.by_x).sum())
        x /= to_model(films)
        variance = float(covariance_of(c, by_ks[None])[0, 0]) / by_log_x**2
        relative = float(np.sqrt(variance + _of_model(c, films, x * 1e3) ** 2))
    solids = float(c.dry_volume[0] * c.density[0])
    return Hiding(
        paint,
        criterion,
        x * 1e3,
        float(np.hypot(relative, _volume(c))),
        solids / x if np.isfinite(x) else 0.0,
        relative,
        bool(c.dry_volume_measured[0]),
        films.thickness_um if films is not None and films.hidden else None,
        view,
        surface_in_words(c.surface),
    )
