"""Carries the uncertainty of K and S into any figure made of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...optics.coefficients import Coefficients
from ...optics.colour import View, lab, lab_jacobian, weights
from ...optics.predict import read_films
from ...optics.spectra import Array


def covariance_of(coefficients: Coefficients, slopes: Array) -> Array:
    """Covariance of figures of K and S, to first order (JCGM 102).

    Parameters
    ----------
    coefficients : Coefficients
    slopes : (N, P, 2, W) array
        Derivative of each figure by every K and S.

    Returns
    -------
    (N, N) array
    """
    c = coefficients
    alone = np.einsum("npiw,pijw,mpjw->nm", slopes, c.local, slopes, optimize=True)
    own = np.einsum("npiw,pgiw->npg", slopes, c.own).reshape(len(slopes), -1)
    shared = np.einsum("npiw,fpiw->nf", slopes, c.factors)
    result: Array = alone + own @ own.T + shared @ shared.T
    return result


def read_by_all(coefficients: Coefficients, paints: Sequence[str]) -> Coefficients:
    """The given paints, at the wavelengths that all of them were read at.

    Parameters
    ----------
    coefficients : Coefficients
    paints : sequence of str
        Nicknames.

    Returns
    -------
    Coefficients

    Raises
    ------
    ValueError
        Where these are none, or leave a gap: a colour needs a whole range.
    """
    c = coefficients.select(paints)
    good = np.flatnonzero(~np.isnan(c.k + c.s).any(axis=0))
    if not good.size or good[-1] - good[0] + 1 != good.size:
        raise ValueError(f"{', '.join(dict.fromkeys(paints))}: a gap in the wavelengths read")
    at = slice(int(good[0]), int(good[-1]) + 1)
    return replace(
        c,
        wavelengths=c.wavelengths[at],
        k=c.k[:, at],
        s=c.s[:, at],
        local=c.local[..., at],
        own=c.own[..., at],
        factors=c.factors[..., at],
        ratio_only=c.ratio_only[:, at],
        model_error=c.model_error[at],
    )


def beside(
    one: Coefficients, other: Coefficients, mark: str
) -> tuple[Coefficients, dict[str, str]]:
    """Two sets as one.

    A paint of which both hold the same record is held once. Where they hold one with the same
    shared factors they come from one fit, and stay correlated; else they are independent.

    Parameters
    ----------
    one, other : Coefficients
    mark : str
        Tells the other's paints from those of the same name, as in ``ANCHOR (old lot)``.

    Returns
    -------
    both : Coefficients
    names : dict
        What each of the other's paints is called in it.

    Raises
    ------
    ValueError
        Where their wavelengths or scales differ, or they belong to surfaces that don't go together.
    """
    if not np.array_equal(one.wavelengths, other.wavelengths):
        raise ValueError("the two were not fitted at the same wavelengths")
    if one.scale != other.scale:
        raise ValueError(f"the K and S of one are {one.scale}, of the other {other.scale}")
    if (one.surface.k2, one.surface.n) != (other.surface.k2, other.surface.n):
        raise ValueError("the two were fitted with different surfaces")
    same = {p for p in other.paints if p in one.paints and _same_record(one, other, p)}
    one_fit = bool(same) and all(_same_factors(one, other, p) for p in same)
    clash = set(one.paints) - same
    names = {p: f"{p} ({mark})" if p in clash else p for p in other.paints}
    rest = other.select([p for p in other.paints if p not in same])
    new = replace(
        _numbered(rest, 0 if one_fit else len(one.factors)),
        paints=tuple(names[p] for p in rest.paints),
        surface=one.surface,
        model_error=one.model_error,
    )
    return Coefficients.concat([_numbered(one, 0), new]), names


def _numbered(coefficients: Coefficients, start: int) -> Coefficients:
    """The same, its shared factors named by their numbers alone."""
    numbers = range(start + 1, start + len(coefficients.factors) + 1)
    return replace(coefficients, factor_names=tuple(f"shared {i}" for i in numbers))


def _same_record(one: Coefficients, other: Coefficients, paint: str) -> bool:
    i, j = one.index(paint), other.index(paint)
    return all(
        np.array_equal(a[i], b[j], equal_nan=True)
        for a, b in ((one.k, other.k), (one.s, other.s), (one.local, other.local))
    )


def _same_factors(one: Coefficients, other: Coefficients, paint: str) -> bool:
    a, b = one.factors[:, one.index(paint)], other.factors[:, other.index(paint)]
    return np.array_equal(a, b, equal_nan=True)


@dataclass(frozen=True)
class ReadMixes:
    """Reflectances of M mixes as read, and their slopes.

    Attributes
    ----------
    wavelengths : (W,) array, nm
    r : (M, W) array
    by_ks : (M, P, 2, W) array
        By K and S of each paint.
    by_share : (M, P, W) array
        By the dry-volume fractions.
    by_x : (M, W) array, 1/mm
        By the film's thickness; 0 where opaque.
    """

    wavelengths: Array
    r: Array
    by_ks: Array
    by_share: Array
    by_x: Array

    def bright(self, view: View) -> tuple[Array, Array]:
        """Tristimulus value Y, (M,), and its slope by reflectance, (W,)."""
        w = weights(self.wavelengths, view)[0][:, 1]
        return self.r @ w, w

    def lab(self, view: View) -> tuple[Array, Array]:
        """CIELAB, (M, 3), and its slope by reflectance, (M, 3, W)."""
        return lab(self.r, self.wavelengths, view), lab_jacobian(self.r, self.wavelengths, view)


def see(
    coefficients: Coefficients,
    shares: Array,
    thickness: float | None = None,
    substrates: Array | None = None,
) -> ReadMixes:
    """Predict mixes with all slopes: opaque, or as one film over several substrates.

    Parameters
    ----------
    coefficients : Coefficients
        Without gaps; see `read_by_all`.
    shares : (M, P) array
        Dry-volume fractions.
    thickness : float, mm, optional
    substrates : (M, W) array, optional
        Inside reflectances.

    Returns
    -------
    ReadMixes
    """
    c = coefficients
    by_s = c.scattering_shares(shares)
    k, s = shares @ c.k, by_s @ c.s
    if thickness is not None and substrates is None:
        raise ValueError("a film needs its substrate")
    x = np.inf if thickness is None else thickness
    under = 0.0 if substrates is None else substrates
    offset = shares @ c.surface_offset
    d = read_films(c.model, c.surface, k, s, x, under, offset[:, None])
    both = np.stack([d.d_k, d.d_s], axis=1)
    own = c.surface.alpha * c.surface_offset[:, None]
    return ReadMixes(
        c.wavelengths,
        d.r,
        np.stack([shares, by_s], axis=2)[..., None] * both[:, None],
        both[:, None, 0] * c.k
        + (1 + c.crowding * (1 - 2 * shares))[..., None] * both[:, None, 1] * c.s
        + own,
        d.d_x,
    )
