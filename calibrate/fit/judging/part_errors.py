"""What a model gets wrong of a paint's part in a mix, learnt from steps that were left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import minimize_scalar

from ...optics.coefficients import Coefficients
from ...optics.spectra import Array
from ..uncertainty.model_errors import FREEDOM
from .leave_out import LeftOut

_LEAST, _MOST = 1e-3, 1.0
_BELIEVED, _SPREAD = 0.03, 1.0
"""Median and spread of its logarithm before any step is seen (our choice): a single ladder's few
steps say little."""


def learnt_part_error(left: LeftOut, model_error: Array, least: float = 0.0) -> float:
    """Return the relative error of K and S of each part that steps left out show, by likelihood.

    Parameters
    ----------
    left : LeftOut
    model_error : (W,) array
        What the model gets wrong at each wavelength, as reflectance (see `Coefficients`).
    least : float
        What it comes to in any case, where steps were left out.

    Returns
    -------
    float
        0 where no mixed step was left out.
    """
    at = np.flatnonzero(left.mixed & np.isfinite(left.off).all(axis=1))
    if not at.size:
        return 0.0
    known = left.covariance[at] + _of_model(left.by_reflectance[at], model_error)
    off, parts = left.off[at], left.parts[at]
    freedom = FREEDOM + off.shape[1]

    def unlikeliness(log_error: float) -> float:
        total = known + np.exp(2 * log_error) * parts
        size = np.einsum("ni,ni->n", off, np.linalg.solve(total, off[..., None])[..., 0])
        each = np.linalg.slogdet(total)[1] + freedom * np.log1p(size / FREEDOM)
        believed = ((log_error - np.log(_BELIEVED)) / _SPREAD) ** 2
        return float(each.sum() + believed)

    bounds = (np.log(_LEAST), np.log(_MOST))
    found = minimize_scalar(unlikeliness, bounds=bounds, method="bounded").x
    return max(round(float(np.exp(found)), 4), least)


def erring(
    found: Coefficients, part_error: float | Array, surface_error: float | Array
) -> Coefficients:
    """The same, each paint's part in a mix wrong by so much, and each film's surface.

    Parameters
    ----------
    found : Coefficients
    part_error, surface_error : float or (P,) array

    Returns
    -------
    Coefficients
    """
    part, surface = (
        np.broadcast_to(e, len(found.paints)).copy() for e in (part_error, surface_error)
    )
    return replace(found, part_error=part, surface_error=surface)


def _of_model(by_reflectance: Array, model_error: Array) -> Array:
    """Covariance of CIELAB from the model's error, half of it at all wavelengths alike."""
    moved = by_reflectance * np.nan_to_num(model_error)
    alike = moved.sum(axis=2)
    each = moved @ moved.transpose(0, 2, 1)
    return np.asarray((each + alike[:, :, None] * alike[:, None]) / 2)
