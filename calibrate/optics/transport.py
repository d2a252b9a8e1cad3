"""Radiative transfer in a paint film: from absorption and reduced scattering to a reading.

A film of absorption mu_a, reduced scattering mu_s' and thickness X, under its own flat surface, is
four numbers: r and t for light from above at 0 degrees (seen by the instrument, and reaching the
substrate), rb and tb for diffuse light from the substrate (back to it, and seen). Over a Lambertian
substrate of inside reflectance Rg it reads ``r + t Rg tb / (1 - rb Rg)``. The numbers are a table,
by mu_a X and mu_s' X, of films computed by radiative transfer (adding-doubling) at one
anisotropy g and index `INDEX` for all paints: a biquadratic spline, so that slopes are exact and
continuous.

Both coefficients mix by dry volume as K and S do. Roughly mu_a is K/2 and mu_s' is 4/3 S: in
diffuse light the mean path is twice the depth, and diffusion theory makes S = 3/4 mu_s' where
absorption is weak.

References
----------
S. A. Prahl, The adding-doubling method, in Optical-Thermal Response of Laser-Irradiated Tissue,
ed. Welch and van Gemert (1995).
B. Star, J. Marijnissen, M. van Gemert, Phys. Med. Biol. 33 (1988) 437 (from memory): K and S of
diffusion theory.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import as_file, files
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from .kubelka_munk import FilmDerivatives
from .spectra import Array

TRANSPORT: Final = "transport"
"""The name of this model beside ``two-flux``."""
OF_TWO_FLUXES = np.array([1 / 2, 4 / 3])
"""Roughly, mu_a over K and mu_s' over S."""
OVER_TWO_FLUXES = float(OF_TWO_FLUXES[1] / OF_TWO_FLUXES[0])
"""Roughly, K/S over mu_a / mu_s'."""
TABLE = "transport_table.npz"
INDEX = 1.5
ABSORBED, SCATTERED = (2e-4, 20.0), (1e-3, 1e4)
"""Of mu_a X and of mu_s' X: below the first the table's steps are even, above it even in the
logarithm; beyond the second a film hides any substrate, and the ratio alone counts."""
OPAQUE = 1e9
"""A thickness in mm, for a film that hides everything; its coefficients may have any unit."""
_DEGREE = 8
"""Of the polynomial for opaque films: it lies within 3e-6 of the table."""


class Films(NamedTuple):
    """Numbers r, t, rb, tb of films under their surface, and their slopes; (4, ...) each."""

    numbers: Array
    by_absorption: Array
    by_scattering: Array


@cache
def _table() -> tuple[Array, NDArray[np.intp], tuple[int, int]]:
    """Spline coefficients (4, 2 U V) for a sphere then for 45:0, a cell's places, and (U, V)."""
    with as_file(files(__package__) / TABLE) as path, np.load(path) as stored:
        r, t, rb, tb, r45, tb45 = stored["coefficients"].astype(float)
    shape = r.shape
    both = np.array([[r, r45], [t, t], [rb, rb], [tb, tb45]]).reshape(4, -1)
    cell = (np.arange(3)[:, None] * shape[1] + np.arange(3)).reshape(9, 1)
    return both, cell, shape


def steps(depth: Array, limits: tuple[float, float], count: int) -> tuple[Array, Array]:
    """Place of an optical depth among the table's steps, and the slope of that by log depth.

    Parameters
    ----------
    depth : array
        mu_a X or mu_s' X.
    limits : (float, float)
        `ABSORBED` or `SCATTERED`.
    count : int
        Of the table's steps.

    Returns
    -------
    place, slope : array
    """
    low, high = limits
    per = (count - 1) / np.log1p(high / low)
    return per * np.log1p(depth / low), per * depth / (depth + low)


def films(
    absorption: Array, scattering: Array, x: Array, slanted: NDArray[np.bool_] | bool = False
) -> Films:
    """Look films up.

    Parameters
    ----------
    absorption, scattering : array, 1/mm
        mu_a and mu_s', > 0; where NaN, so is what follows.
    x : array, mm
        Dry film thickness, finite; `OPAQUE` for an opaque film.
    slanted : bool or array
        Whether it is seen at 45:0; else by a sphere.

    Returns
    -------
    Films
    """
    coefficients, cell, shape = _table()
    a, b, x, slanted = np.broadcast_arrays(absorption, scattering, x, slanted)
    # Beyond the table only the ratio counts, so back along it to the table's edge.
    far_a, far_b = a * x / ABSORBED[1], b * x / SCATTERED[1]
    over = np.fmax(np.fmax(far_a, far_b), 1.0)
    u, du = steps(a * x / over, ABSORBED, shape[0] - 2)
    v, dv = steps(b * x / over, SCATTERED, shape[1] - 2)
    place = np.array([u, v]).reshape(2, -1)
    whole = np.rint(np.nan_to_num(place))
    off = place - whole
    weight = np.array([(0.5 - off) ** 2 / 2, 0.75 - off**2, (0.5 + off) ** 2 / 2])
    slope = np.array([off - 0.5, -2 * off, off + 0.5])
    i, j = whole.astype(np.intp)
    at = i * shape[1] + j + slanted.reshape(-1) * (shape[0] * shape[1])
    held = np.take(coefficients, at + cell, axis=1).reshape(4, 3, 3, -1)

    def drawn(by_u: Array, by_v: Array) -> Array:
        found: Array = np.einsum("ul,vl,nuvl->nl", by_u, by_v, held).reshape(4, *u.shape)
        return found

    wu, wv = weight.transpose(1, 0, 2)
    by_a, by_b = drawn(slope[:, 0], wv) * du, drawn(wu, slope[:, 1]) * dv
    # At an edge, what one does along the ratio the other undoes.
    beyond = over > 1
    by_a, by_b = (
        np.where(beyond & (far_a >= far_b), -by_b, by_a),
        np.where(beyond & (far_a < far_b), -by_a, by_b),
    )
    return Films(drawn(wu, wv), by_a / a, by_b / b)


@cache
def opaque_polynomial(slanted: bool = False) -> Array:
    """Reading of films that hide, without the surface's own reflection, as a polynomial.

    What such a film reads depends on mu_a over mu_s' alone, and smoothly so by way of the opaque
    reflectance y that two fluxes would give it: ``y = 1 / (1 + q + sqrt(q (q + 2)))`` with q the
    ratio times `OVER_TWO_FLUXES`.

    Returns
    -------
    (`_DEGREE` + 1,) array
        Coefficients of the powers of ``2 y - 1``, rising.
    """
    y = np.sin(np.linspace(0, np.pi / 2, 401)[1:-1]) ** 2
    ratio = (1 - y) ** 2 / (2 * y) / OVER_TWO_FLUXES
    hides = np.full(y.shape, OPAQUE)
    read = film_derivatives(ratio, np.ones_like(y), hides, 0.0, slanted).r
    # Near 1 the table's films, deep as they are, let a trace of light through.
    known = ratio > 1e-6
    fitted = np.polynomial.Chebyshev.fit(y[known], read[known], _DEGREE, domain=[0, 1])
    powers = fitted.convert(domain=[0, 1], kind=np.polynomial.Polynomial)
    return np.asarray(powers.coef, dtype=float)


def over_substrate(made: Films, k: Array, s: Array, x: Array, rg: Array | float) -> FilmDerivatives:
    """Reading over a substrate, without the surface's own reflection, and its derivatives.

    Parameters
    ----------
    made : Films
        Of the same coefficients and thickness.
    k, s : array, 1/mm
        mu_a and mu_s'.
    x : array, mm
    rg : array
        Reflectance of the substrate, inside.

    Returns
    -------
    FilmDerivatives
    """
    r, t, rb, tb = made.numbers
    lift = rg / (1 - rb * rg)
    slopes = (np.ones_like(r), lift * tb, lift**2 * t * tb, lift * t)
    d_k, d_s = (
        sum((s * d for s, d in zip(slopes, by, strict=True)), np.zeros_like(lift * r))
        for by in (made.by_absorption, made.by_scattering)
    )
    d_rg = t * tb / (1 - rb * rg) ** 2
    return FilmDerivatives(r + t * lift * tb, d_k, d_s, (k * d_k + s * d_s) / x, d_rg)


def film_derivatives(
    k: Array, s: Array, x: Array, rg: Array | float, slanted: NDArray[np.bool_] | bool = False
) -> FilmDerivatives:
    """Reading of films over a substrate, and its derivatives: `films`, then `over_substrate`.

    Parameters
    ----------
    k, s, x, slanted : array
        As for `films`.
    rg : array
        Reflectance of the substrate, inside.

    Returns
    -------
    FilmDerivatives
    """
    return over_substrate(films(k, s, x, slanted), k, s, x, rg)
