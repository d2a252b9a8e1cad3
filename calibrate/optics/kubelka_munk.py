"""Two-constant theory of turbid films: absorption K and scattering S to reflectance, and back.

With ``q = K (K + 2 S)`` and ``T = tanh(sqrt(q) X) / sqrt(q)`` Kubelka's solution for a film of
thickness X over a substrate Rg becomes::

    R = (Rg + T (S - Rg (S + K))) / (1 + T ((S + K) - Rg S))

which stays finite for K -> 0, S -> 0, thick films and Rg = R_inf.

References
----------
P. Kubelka, F. Munk, Ein Beitrag zur Optik der Farbanstriche, Z. techn. Phys. 12 (1931) 593.
P. Kubelka, New contributions to the optics of intensely light-scattering materials,
J. Opt. Soc. Am. 38 (1948) 448.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .spectra import Array


class FilmDerivatives(NamedTuple):
    """A film's reflectance and its derivatives, all of the broadcast shape."""

    r: Array
    d_k: Array
    d_s: Array
    d_x: Array
    d_rg: Array


def _penetration(q: Array, x: Array) -> tuple[Array, Array, Array]:
    """T = tanh(sqrt(q) X)/sqrt(q), dT/dq and dT/dX; T is X where nothing absorbs."""
    u2 = q * x * x
    small = u2 < 1e-3
    none = not small.any()
    safe_q = q if none else np.where(small, 1.0, q)
    root = np.sqrt(safe_q)
    t = np.tanh(root * x) / root
    if none:
        d_x = 1 - q * t * t
        return t, (x * d_x - t) / (2 * q), d_x
    u2 = np.minimum(u2, 1e-3)  # the series is used below that alone; above it would overflow
    t = np.where(small, x * (1 - u2 / 3 + 2 * u2**2 / 15 - 17 * u2**3 / 315), t)
    d_x = 1 - q * t * t
    d_q = np.where(
        small,
        x**3 * (-1 / 3 + 4 * u2 / 15 - 17 * u2**2 / 105 + 248 * u2**3 / 2835),
        (x * d_x - t) / (2 * safe_q),
    )
    return t, d_q, d_x


def film_reflectance(k: Array, s: Array, x: Array, rg: Array) -> Array:
    """Reflectance of a film over a substrate, by Kubelka's hyperbolic solution.

    Parameters
    ----------
    k, s : array, 1/mm
        Absorption and scattering coefficients, >= 0.
    x : array, mm
        Dry film thickness, >= 0; finite (see `opaque_reflectance`).
    rg : array
        Reflectance of the substrate, inside.

    Returns
    -------
    array of the broadcast shape

    Examples
    --------
    A film of 0.05 mm with K 10 and S 40 per mm, over black and over white:

    >>> [round(float(film_reflectance(10.0, 40.0, 0.05, rg)), 3) for rg in (0.0, 0.9)]
    [0.481, 0.527]
    """
    k, s, x, rg = (np.asarray(a, dtype=float) for a in (k, s, x, rg))
    q = k * (k + 2 * s)
    t = _penetration(q, x)[0]
    result: Array = (rg + t * (s - rg * (s + k))) / (1 + t * ((s + k) - rg * s))
    return result


def film_derivatives(k: Array, s: Array, x: Array, rg: Array) -> FilmDerivatives:
    """Reflectance of a film and its derivatives.

    Parameters
    ----------
    k, s, x, rg : array
        As for `film_reflectance`.

    Returns
    -------
    FilmDerivatives
    """
    q = k * (k + 2 * s)
    t, dt_q, dt_x = _penetration(q, x)
    a = s - rg * (s + k)
    b = (s + k) - rg * s
    over = 1 / (1 + t * b)
    r = (rg + t * a) * over
    d_t = (a - r * b) * over
    dt_k = dt_q * 2 * (k + s)
    dt_s = dt_q * 2 * k
    d_k = d_t * dt_k - t * (rg + r) * over
    d_s = d_t * dt_s + t * ((1 - rg) - r * (1 - rg)) * over
    d_rg = (1 - t * (s + k) + r * t * s) * over
    return FilmDerivatives(r, d_k, d_s, d_t * dt_x, d_rg)


def opaque_reflectance(k: Array, s: Array) -> Array:
    """Reflectance of a film thick enough to hide its substrate, R_inf.

    Parameters
    ----------
    k, s : array
        Absorption and scattering, any common unit; not both zero.

    Returns
    -------
    array of the broadcast shape

    Examples
    --------
    >>> round(float(opaque_reflectance(1.0, 4.0)), 6)
    0.5
    """
    k, s = np.asarray(k, dtype=float), np.asarray(s, dtype=float)
    result: Array = s / (s + k + np.sqrt(k * (k + 2 * s)))
    return result


def opaque_derivatives(k: Array, s: Array) -> tuple[Array, Array, Array]:
    """R_inf and its derivatives by K and S.

    Parameters
    ----------
    k, s : array
        K > 0 (at K = 0 the slope is infinite).

    Returns
    -------
    r, d_k, d_s : array
    """
    root = np.sqrt(k * (k + 2 * s))
    over = 1 / (s + k + root)
    r = s * over
    d_k = -r * over * (1 + (k + s) / root)
    d_s = over - r * over * (1 + k / root)
    return r, d_k, d_s


def k_over_s(r_inf: Array) -> Array:
    """K/S of an opaque film, (1 - R)^2 / 2R.

    Parameters
    ----------
    r_inf : array
        Reflectance inside the film (see `to_inside`), 0-1.

    Returns
    -------
    array

    Examples
    --------
    >>> float(k_over_s(0.5))
    0.25
    """
    r = np.asarray(r_inf, dtype=float)
    result: Array = (1 - r) ** 2 / (2 * r)
    return result


def k_s_over_black_and_white(
    over_black: Array, over_white: Array, black: Array, white: Array, x: Array
) -> tuple[Array, Array]:
    """K and S of one film from its reflectance over a dark and a light substrate.

    Parameters
    ----------
    over_black, over_white, black, white : array
        Inside reflectances of the film over each substrate, and of the bare substrates.
    x : array, mm
        Dry film thickness.

    Returns
    -------
    k, s : array, 1/mm
        NaN where the film shows no difference between the substrates, or none that is physical.

    Notes
    -----
    Kubelka's a follows from the two readings in closed form: with ``R`` over ``Rg`` one has
    ``coth(b S X) = (a (R + Rg) - R Rg - 1) / (b (Rg - R))`` for both, so equating them gives a.
    ISO 9416 is the special case of a black cavity and an opaque pad.

    Examples
    --------
    >>> over_black, over_white = film_reflectance(10.0, 40.0, 0.05, np.array([0.0, 0.9]))
    >>> k, s = k_s_over_black_and_white(over_black, over_white, 0.0, 0.9, 0.05)
    >>> round(float(k), 1), round(float(s), 1)
    (10.0, 40.0)
    """
    r0, r1, g0, g1 = (np.asarray(a, dtype=float) for a in (over_black, over_white, black, white))
    with np.errstate(all="ignore"):
        d0, d1 = g0 - r0, g1 - r1
        a = ((1 + r0 * g0) * d1 - (1 + r1 * g1) * d0) / ((r0 + g0) * d1 - (r1 + g1) * d0)
        b = np.sqrt(a * a - 1)
        # The substrate furthest from the film's own colour gives the better conditioned coth.
        use1 = np.abs(d1) > np.abs(d0)
        r, g, d = np.where(use1, r1, r0), np.where(use1, g1, g0), np.where(use1, d1, d0)
        tanh = b * d / (a * (r + g) - r * g - 1)
        s = np.arctanh(tanh) / (b * x)
        k = s * (a - 1)
    good = np.isfinite(k) & np.isfinite(s) & (s > 0) & (k >= 0)
    return np.where(good, k, np.nan), np.where(good, s, np.nan)
