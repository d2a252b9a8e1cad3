"""CIEDE2000 beyond its figure: as three terms, near a colour, and how far it may come to."""

from __future__ import annotations

import math

import numpy as np

from .colour import ciede2000
from .spectra import Array

_RT, _DEGREES = float(np.radians(60)), float(np.degrees(1))
_COS = {angle: float(np.cos(np.radians(angle))) for angle in (6, 30, 63, 275)}
_SIN = {angle: float(np.sin(np.radians(angle))) for angle in (6, 30, 63, 275)}


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

    Parameters
    ----------
    colour, target : (L*, a*, b*)
        Arrays of shapes that broadcast.

    Returns
    -------
    lightness, chroma, hue : array

    Notes
    -----
    Hue angles are never formed but one: with the two colours' directions u and v the difference of
    hue is ``cross(u, v) sqrt(2 / (|u||v| + dot(u, v)))``, the mean hue the direction of their sum.
    """
    (l1, a1, b1), (l0, a0, b0) = colour, target
    return lightness_term(l1, l0), *chroma_terms(a1, b1, a0, b0)


def lightness_term(l1: Array, l0: Array) -> Array:
    """First of `residual_terms`: of L* alone.

    Parameters
    ----------
    l1, l0 : array
        L* of the colours and of the targets.

    Returns
    -------
    array
    """
    mean_l = 0.5 * (l1 + l0) - 50
    mean_l *= mean_l
    result: Array = (l1 - l0) / (1 + 0.015 * mean_l / np.sqrt(20 + mean_l))
    return result


def chroma_terms(a1: Array, b1: Array, a0: Array, b0: Array) -> tuple[Array, Array]:
    """The other two of `residual_terms`: of a* and b*.

    Parameters
    ----------
    a1, b1, a0, b0 : array
        a* and b* of the colours, then of the targets.

    Returns
    -------
    chroma, hue : array
    """
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

    Returns
    -------
    (N,) array

    Notes
    -----
    The squared distance is a sum of squared normal variables; its 95th percentile is that of a
    scaled chi-square of the same mean and variance (Welch-Satterthwaite, JCGM 100, G.4).

    Examples
    --------
    A grey whose L* alone is unsure, by a standard deviation of 1:

    >>> covariance = np.diag([1.0, 0.0, 0.0])[None]
    >>> ciede2000_band(np.array([[50.0, 0.0, 0.0]]), covariance).round(2).tolist()
    [1.96]
    """
    product = ciede2000_metric(colours) @ np.atleast_3d(covariance)
    mean = np.trace(product, axis1=1, axis2=2)
    spread = 2 * np.trace(product @ product, axis1=1, axis2=2)
    # A colour that is sure has no freedom, and no band.
    freedom = np.where(mean > 0, 2 * mean**2 / np.maximum(spread, 1e-300), 1.0)
    result: Array = np.sqrt(mean * chi_square_95(freedom) / freedom)
    return result


def chi_square_95(freedom: Array) -> Array:
    """95th percentile of chi-square for 1 to 3 degrees of freedom, whole or not.

    Notes
    -----
    Newton's steps on the series of the incomplete gamma function; scipy's takes longer to load
    than a prediction takes in all.
    """
    half = np.asarray(freedom, dtype=float) / 2
    over_gamma = np.exp([-math.lgamma(h + 1) for h in half.ravel()]).reshape(half.shape)
    x = np.full(half.shape, 3.0)  # half the percentile
    for _ in range(8):
        term = total = np.ones_like(x)
        for n in range(1, 40):
            term = term * x / (half + n)
            total = total + term
        density = x**half * np.exp(-x) * over_gamma
        x = x - (density * total - 0.95) / (density * half / x)
    return 2 * x
