"""Colour of a reflectance: CIELAB, CIEDE2000 and what a display can show of it.

The colorimetry is colour-science's; here its weights are built once and applied to whole tables.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .spectra import GRID, Array

# CIELAB's cube root gives way to a line below (6/29)^3 (ISO/CIE 11664-4).
_EPSILON = (6 / 29) ** 3
_SLOPE = 1 / (3 * (6 / 29) ** 2)
_OBSERVERS = {
    2: "CIE 1931 2 Degree Standard Observer",
    10: "CIE 1964 10 Degree Standard Observer",
}
ILLUMINANTS = ("D50", "D65", "A")


@dataclass(frozen=True)
class View:
    """An illuminant and an observer; D50 and 2 degrees by default (ISO 13655)."""

    illuminant: str = "D50"
    observer: int = 2

    def __str__(self) -> str:
        return f"{self.illuminant}/{self.observer}°"


D50 = View()


@lru_cache(maxsize=64)
def _full_weights(view: View) -> tuple[Array, Array]:
    """Weights at 10 nm over 360-780 nm, (W, 3), and the white point, Y = 1."""
    with warnings.catch_warnings():
        # colour-science warns of optional packages that nothing here needs.
        warnings.simplefilter("ignore")
        import colour

        cmfs = colour.MSDS_CMFS[_OBSERVERS[view.observer]].copy()
        shape = colour.SpectralShape(360, 780, 1)
        cmfs.align(shape)
        illuminant = colour.SDS_ILLUMINANTS[view.illuminant].copy().align(shape)
        weights = colour.colorimetry.tristimulus_weighting_factors_ASTME2022(
            cmfs, illuminant, colour.SpectralShape(360, 780, 10)
        )
    w = np.asarray(weights, dtype=float)
    w = w / w[:, 1].sum()
    return w, w.sum(axis=0)


@lru_cache(maxsize=256)
def _weights(view: View, wavelengths: bytes) -> tuple[Array, Array]:
    grid = np.frombuffer(wavelengths, dtype=float)
    full, white = _full_weights(view)
    at = np.arange(360.0, 781.0, 10.0)
    # ASTM E308: weights beyond the readings go to the first and the last reading.
    index = np.abs(np.clip(at, grid[0], grid[-1])[:, None] - grid[None, :]).argmin(axis=1)
    folded = np.zeros((grid.size, 3))
    np.add.at(folded, index, full)
    return folded, white


def weights(wavelengths: Array = GRID, view: View = D50) -> tuple[Array, Array]:
    """Weights that turn reflectance into tristimulus values.

    Parameters
    ----------
    wavelengths : (W,) array
        10 nm apart, within 360-780 nm.
    view : View

    Returns
    -------
    weights : (W, 3) array
    white : (3,) array
        Tristimulus values of the perfect diffuser, Y = 1.

    References
    ----------
    ASTM E308 (readings shorter than the observer's range), ASTM E2022 (weights).
    """
    return _weights(view, np.ascontiguousarray(wavelengths, dtype=float).tobytes())


def xyz(reflectance: Array, wavelengths: Array = GRID, view: View = D50) -> Array:
    """Tristimulus values of reflectances (N, W), Y = 1 for the perfect diffuser; (N, 3).

    Wavelengths at which a row is NaN at either end of its range are treated as unread (ASTM E308);
    a gap inside its range makes the row NaN.
    """
    r = np.atleast_2d(np.asarray(reflectance, dtype=float))
    read = ~np.isnan(r)
    out = np.empty((r.shape[0], 3))
    masks, which = np.unique(read, axis=0, return_inverse=True)
    for i, mask in enumerate(masks):
        rows = np.flatnonzero(which.ravel() == i)
        good = np.flatnonzero(mask)
        if good.size == 0 or good[-1] - good[0] + 1 != good.size:
            out[rows] = np.nan
            continue
        w, _ = weights(wavelengths[good], view)
        out[rows] = r[np.ix_(rows, good)] @ w
    return out


def _f(t: Array) -> Array:
    return np.where(t > _EPSILON, np.cbrt(np.maximum(t, _EPSILON)), _SLOPE * t + 4 / 29)


def lab(reflectance: Array, wavelengths: Array = GRID, view: View = D50) -> Array:
    """CIELAB of reflectances (N, W): (N, 3)."""
    _, white = weights(GRID, view)
    f = _f(xyz(reflectance, wavelengths, view) / white)
    return np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1
    )


def lab_jacobian(reflectance: Array, wavelengths: Array = GRID, view: View = D50) -> Array:
    """Derivative of CIELAB by reflectance, (N, 3, W), for rows (N, W) without gaps."""
    w, white = weights(wavelengths, view)
    t = (np.atleast_2d(reflectance) @ w) / white
    slope = np.where(t > _EPSILON, 1 / (3 * np.cbrt(np.maximum(t, _EPSILON)) ** 2), _SLOPE)
    df = slope[:, :, None] * (w / white).T[None]
    return np.stack(
        [116 * df[:, 1], 500 * (df[:, 0] - df[:, 1]), 200 * (df[:, 1] - df[:, 2])], axis=1
    )


def chroma_hue(colours: Array) -> tuple[Array, Array]:
    """Chroma C* and hue angle (degrees, 0-360) of CIELAB colours (..., 3)."""
    a, b = colours[..., 1], colours[..., 2]
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def ciede2000(one: Array, other: Array) -> Array:
    """CIEDE2000 colour difference of CIELAB colours (..., 3), ISO/CIE 11664-6."""
    import colour

    result: Array = np.asarray(
        colour.delta_E(np.asarray(one), np.asarray(other), method="CIE 2000"), dtype=float
    )
    return result


def ciede2000_metric(colours: Array) -> Array:
    """CIEDE2000 near a colour as a quadratic form, (N, 3, 3): ``dE^2 = d @ metric @ d``.

    Notes
    -----
    Taken by small steps along and between the axes; CIEDE2000 has no closed metric.
    """
    c = np.atleast_2d(colours)
    h = 1e-2
    steps = np.eye(3) * h
    square = np.empty((3, 3, len(c)))
    for i in range(3):
        for j in range(i, 3):
            step = steps[i] if i == j else steps[i] + steps[j]
            square[i, j] = ciede2000(c - step / 2, c + step / 2) ** 2 / h**2
    metric = np.empty((len(c), 3, 3))
    for i in range(3):
        for j in range(i, 3):
            mixed = square[i, j] if i == j else (square[i, j] - square[i, i] - square[j, j]) / 2
            metric[:, i, j] = metric[:, j, i] = mixed
    return metric


def ciede2000_band(colours: Array, covariance: Array) -> Array:
    """CIEDE2000 that a colour stays within with 95 % probability, (N,).

    Parameters
    ----------
    colours : (N, 3) array
        CIELAB.
    covariance : (N, 3, 3) array
        Of CIELAB.

    Notes
    -----
    The squared distance is a sum of squared normal variables; its 95th percentile is that of a
    scaled chi-square of the same mean and variance (Welch-Satterthwaite, JCGM 100, G.4).
    """
    from scipy.stats import chi2

    product = ciede2000_metric(colours) @ np.atleast_3d(covariance)
    mean = np.trace(product, axis1=1, axis2=2)
    spread = 2 * np.trace(product @ product, axis1=1, axis2=2)
    # A colour that is sure has no freedom, and no band.
    freedom = np.where(mean > 0, 2 * mean**2 / np.maximum(spread, 1e-300), 1.0)
    result: Array = np.sqrt(mean * chi2.ppf(0.95, freedom) / freedom)
    return result


def srgb(reflectance: Array, wavelengths: Array = GRID) -> tuple[Array, NDArray[np.bool_]]:
    """What a display shows of reflectances (N, W) lit by D50.

    Returns
    -------
    rgb : (N, 3) array
        sRGB (IEC 61966-2-1), 0-1, adapted from D50 to D65 by the Bradford transform; cut to range.
    out_of_gamut : (N,) bool array
        Where it had to be cut by more than one 8-bit step.
    """
    return srgb_of_xyz(xyz(reflectance, wavelengths, D50))


def srgb_of_xyz(tristimulus: Array) -> tuple[Array, NDArray[np.bool_]]:
    """As `srgb`, from tristimulus values under D50, (N, 3)."""
    import colour

    whites = colour.CCS_ILLUMINANTS[_OBSERVERS[2]]
    rgb = np.asarray(
        colour.XYZ_to_sRGB(
            tristimulus, illuminant=whites["D50"], chromatic_adaptation_transform="Bradford"
        ),
        dtype=float,
    )
    cut = np.clip(rgb, 0, 1)
    return cut, np.any(np.abs(rgb - cut) > 1 / 255, axis=-1)


def lab_to_srgb(colours: Array) -> tuple[Array, NDArray[np.bool_]]:
    """As `srgb`, from CIELAB under D50, (N, 3)."""
    c = np.atleast_2d(colours)
    fy = (c[:, 0] + 16) / 116
    f = np.stack([fy + c[:, 1] / 500, fy, fy - c[:, 2] / 200], axis=1)
    t = np.where(f > 6 / 29, f**3, (f - 4 / 29) / _SLOPE)
    return srgb_of_xyz(t * weights(GRID, D50)[1])


def hex_code(rgb: Array) -> str:
    """Write an sRGB colour (3,), 0-1, as #rrggbb."""
    return "#" + "".join(f"{round(255 * float(x)):02x}" for x in rgb)


def in_words(difference: float) -> str:
    """A CIEDE2000 difference in everyday words (a rule of thumb, no source)."""
    if difference < 1:
        return "hard to see"
    if difference < 2:
        return "seen side by side only"
    if difference < 5:
        return "a near miss"
    return "a different colour"


def ciede2000_residual(colours: Array, targets: Array) -> Array:
    """CIEDE2000 as a vector: its three terms, turned so that their squares sum to the difference's.

    Parameters
    ----------
    colours, targets : (..., 3) array
        CIELAB, of shapes that broadcast.

    Returns
    -------
    (..., 3) array
        Its norm is CIEDE2000; smooth where the colours meet, as a least-squares solver needs.

    References
    ----------
    ISO/CIE 11664-6:2014.
    """
    c, t = np.asarray(colours, dtype=float), np.asarray(targets, dtype=float)
    parts = residual_terms((c[..., 0], c[..., 1], c[..., 2]), (t[..., 0], t[..., 1], t[..., 2]))
    return np.stack(parts, axis=-1)


def residual_terms(
    colour: tuple[Array, Array, Array], target: tuple[Array, Array, Array]
) -> tuple[Array, Array, Array]:
    """As `ciede2000_residual`, of L*, a* and b* each in an array of its own.

    Notes
    -----
    Hue angles are never formed but one: with the two colours' directions u and v the difference of
    hue is ``cross(u, v) sqrt(2 / (|u||v| + dot(u, v)))``, the mean hue the direction of their sum.
    """
    (l1, a1, b1), (l0, a0, b0) = colour, target
    return lightness_term(l1, l0), *chroma_terms(a1, b1, a0, b0)


def lightness_term(l1: Array, l0: Array) -> Array:
    """First of `residual_terms`: of L* alone."""
    mean_l = 0.5 * (l1 + l0) - 50
    mean_l *= mean_l
    result: Array = (l1 - l0) / (1 + 0.015 * mean_l / np.sqrt(20 + mean_l))
    return result


def chroma_terms(a1: Array, b1: Array, a0: Array, b0: Array) -> tuple[Array, Array]:
    """The other two of `residual_terms`: of a* and b*."""
    fullness = _fullness(0.5 * (np.sqrt(a1 * a1 + b1 * b1) + np.sqrt(a0 * a0 + b0 * b0)))
    stretch = 1.5 - 0.5 * fullness
    u1, u0 = stretch * a1, stretch * a0
    chroma1, chroma0 = np.sqrt(u1 * u1 + b1 * b1), np.sqrt(u0 * u0 + b0 * b0)
    both = chroma1 * chroma0
    # Opposite hues leave no mean and no sign; nudged, they take one of the two.
    d_hue = (u0 * b1 - b0 * u1) * np.sqrt(2 / np.maximum(both + u1 * u0 + b1 * b0, 1e-12))
    # Of a grey the other colour's hue is the mean.
    x = u1 * chroma0 + u0 * chroma1 + np.where(both < 1e-12, u1 + u0, 0.0)
    y = b1 * chroma0 + b0 * chroma1 + np.where(both < 1e-12, b1 + b0, 0.0)
    size = np.sqrt(x * x + y * y)
    over = 1 / np.maximum(size, 1e-12)
    cos = np.where(size > 1e-12, x * over, 1.0)
    sin = y * over
    cos2, sin2 = cos * cos - sin * sin, 2 * cos * sin
    cos3, sin3 = cos2 * cos - sin2 * sin, sin2 * cos + cos2 * sin
    cos4, sin4 = cos2 * cos2 - sin2 * sin2, 2 * cos2 * sin2
    t = (
        1
        - 0.17 * (cos * _COS[30] + sin * _SIN[30])
        + 0.24 * cos2
        + 0.32 * (cos3 * _COS[6] - sin3 * _SIN[6])
        - 0.20 * (cos4 * _COS[63] + sin4 * _SIN[63])
    )
    # Degrees from the hue of 275; the standard counts hues from 0, so none is more than 85 above.
    off = _DEGREES * np.arctan2(
        sin * _COS[275] - cos * _SIN[275], cos * _COS[275] + sin * _SIN[275]
    )
    off = np.where(off >= 85, off - 360, off)
    mean_c = 0.5 * (chroma1 + chroma0)
    off *= 1 / 25
    turn = _RT * np.exp(-off * off)
    half_rt = -np.sin(turn) * _fullness(mean_c)
    d_c = (chroma1 - chroma0) / (1 + 0.045 * mean_c)
    d_h = d_hue / (1 + 0.015 * mean_c * t)
    return d_c + half_rt * d_h, d_h * np.sqrt(1 - half_rt * half_rt)


def _fullness(chroma: Array) -> Array:
    """CIEDE2000's ``sqrt(C^7 / (C^7 + 25^7))``."""
    c = chroma * (1 / 25)
    c2 = c * c
    c7 = c2 * c2 * c2 * c
    result: Array = np.sqrt(c7 / (c7 + 1))
    return result


_RT, _DEGREES = float(np.radians(60)), float(np.degrees(1))
_COS = {angle: float(np.cos(np.radians(angle))) for angle in (6, 30, 63, 275)}
_SIN = {angle: float(np.sin(np.radians(angle))) for angle in (6, 30, 63, 275)}


def srgb_to_lab(rgb: Array) -> Array:
    """CIELAB under D50 of sRGB (N, 3), 0-1, adapted from D65 by the Bradford transform."""
    import colour

    whites = colour.CCS_ILLUMINANTS[_OBSERVERS[2]]
    x = np.asarray(
        colour.sRGB_to_XYZ(
            np.atleast_2d(rgb),
            illuminant=whites["D50"],
            chromatic_adaptation_transform="Bradford",
        ),
        dtype=float,
    )
    return lab_of_xyz(x / weights(GRID, D50)[1])


def lab_of_xyz(over_white: Array) -> Array:
    """CIELAB (N, 3) of tristimulus values (N, 3), each divided by the white's."""
    f = _f(over_white)
    return np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1
    )
