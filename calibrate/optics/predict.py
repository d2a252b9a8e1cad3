"""From a mix and its paints' K and S to what an instrument would read, and how surely."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .coefficients import Coefficients, dry_volume_spread
from .colour import D50, View, lab, lab_jacobian
from .kubelka_munk import film_derivatives, opaque_derivatives
from .spectra import Array
from .surface import Surface, to_measured


@dataclass(frozen=True)
class Prediction:
    """Predicted readings of M mixes, with their uncertainty.

    Attributes
    ----------
    wavelengths : (W,) array, nm
    reflectance : (M, W) array
    local : (M, W) array
        Variance that each wavelength has to itself.
    factors : (M, F, W) array
        Change at one standard deviation of each independent shared cause.
    """

    wavelengths: Array
    reflectance: Array
    local: Array
    factors: Array

    @property
    def uncertainty(self) -> Array:
        """Standard uncertainty of the reflectance, (M, W)."""
        result: Array = np.sqrt(self.local + (self.factors**2).sum(axis=1))
        return result

    def lab(self, view: View = D50) -> Array:
        """CIELAB, (M, 3)."""
        return lab(self.reflectance, self.wavelengths, view)

    def lab_covariance(self, view: View = D50) -> Array:
        """Covariance of CIELAB, (M, 3, 3), to first order (JCGM 100)."""
        slope = lab_jacobian(self.reflectance, self.wavelengths, view)
        moved = np.einsum("miw,mfw->mif", slope, self.factors)
        own = np.einsum("miw,mw,mjw->mij", slope, self.local, slope)
        result: Array = own + np.einsum("mif,mjf->mij", moved, moved)
        return result


def dry_fractions(coefficients: Coefficients, masses: Sequence[Mapping[str, float]]) -> Array:
    """Dry-volume fractions of mixes given in grams (or parts by mass) of tube paint, (M, P).

    Raises
    ------
    KeyError
        For a paint that the coefficients don't have.
    """
    out = np.zeros((len(masses), len(coefficients.paints)))
    for i, mix in enumerate(masses):
        for paint, mass in mix.items():
            out[i, coefficients.index(paint)] += mass
    out *= coefficients.dry_volume
    result: Array = out / out.sum(axis=1, keepdims=True)
    return result


def volume_solids(coefficients: Coefficients, masses: Sequence[Mapping[str, float]]) -> Array:
    """Dry over wet volume of mixes given in grams, (M,)."""
    dry, wet = np.zeros(len(masses)), np.zeros(len(masses))
    for i, mix in enumerate(masses):
        for paint, mass in mix.items():
            at = coefficients.index(paint)
            dry[i] += mass * coefficients.dry_volume[at]
            wet[i] += mass / coefficients.density[at]
    return dry / wet


def predict(
    coefficients: Coefficients,
    fractions: Array,
    thickness: Array | None = None,
    substrate: Array | None = None,
    surface: Surface | None = None,
) -> Prediction:
    """Predict what an instrument reads of mixes.

    Parameters
    ----------
    coefficients : Coefficients
    fractions : (M, P) array
        Dry-volume fractions.
    thickness : (M,) array, mm, optional
        Dry film thickness; infinite, or None, for opaque films.
    substrate : (M, W) array, optional
        Inside reflectance of the substrate; needed with a finite thickness.
    surface : Surface, optional
        The surface to predict for; by default the one fitted. Its k2 must be the fitted one.

    Raises
    ------
    ValueError
        Where a film is asked of relative coefficients, or without a substrate, or where the surface
        isn't the one that K and S belong to.
    """
    surface = surface or coefficients.surface
    if abs(surface.k2 - coefficients.surface.k2) > 1e-9:
        raise ValueError("K and S belong to the k2 they were fitted with")
    c = np.atleast_2d(fractions)
    k, s = c @ coefficients.k, c @ coefficients.s
    r, dk, ds = opaque_derivatives(k, s)
    dx = np.zeros_like(r)
    thin = np.isfinite(np.full(len(c), np.inf) if thickness is None else thickness)
    if thin.any():
        if coefficients.scale != "absolute":
            raise ValueError(f"a film needs K and S in 1/mm; these are {coefficients.scale}")
        if substrate is None:
            raise ValueError("a film needs its substrate")
        x = np.asarray(thickness, dtype=float)[thin, None]
        film = film_derivatives(k[thin], s[thin], x, np.atleast_2d(substrate)[thin])
        r[thin], dk[thin], ds[thin], dx[thin] = film.r, film.d_k, film.d_s, film.d_x * x
    slope = surface.tau / (1 - surface.k2 * r) ** 2
    dk, ds, dx = slope * dk, slope * ds, slope * dx
    both = np.stack([dk, ds], axis=1)
    local = np.einsum("miw,pijw,mjw,mp->mw", both, coefficients.local, both, c**2)
    shared = np.einsum("miw,fpiw,mp->mfw", both, coefficients.factors, c)
    own = np.einsum("miw,pgiw,mp->mpgw", both, coefficients.own, c)
    used = c.any(axis=0)
    own = own[:, used].reshape(c.shape[0], -1, k.shape[1])
    # A gram that leaves more dry volume than believed makes less of a film of given thickness.
    spread = np.array([dry_volume_spread(bool(m)) for m in coefficients.dry_volume_measured])
    volume = (c * spread)[:, used, None] * dx[:, None, :]
    # Half of what is wrong at a wavelength is wrong at all of them, half each for itself.
    model = np.broadcast_to(np.sqrt(0.5) * coefficients.model_error, (len(c), 1, k.shape[1]))
    local = local + model[:, 0] ** 2
    # A paint alone was fitted as it is; only a mix is beyond what was read.
    mixed = ((c > 0).sum(axis=1) > 1) * (c @ coefficients.mix_error)
    bent = (dk * k * mixed[:, None])[:, None, :]
    factors = np.concatenate([shared, own, volume, bent, model], axis=1)
    return Prediction(coefficients.wavelengths, to_measured(r, surface), local, factors)
