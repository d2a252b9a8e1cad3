"""How unsure channels are together: noise, and what a model gets wrong of a spectrum."""

from __future__ import annotations

import numpy as np

from ...optics.spectra import Array
from ...optics.surface import to_inside
from ..problem.arrays import Problem
from ..problem.settings import FitSettings
from .patch import unread_as_unsure
from .solve import ChannelsSeen


def model_sd(problem: Problem, spectra: Array, settings: FitSettings) -> Array:
    """What a model gets wrong of each patch at each wavelength, (N, W).

    Parameters
    ----------
    problem : Problem
    spectra : (N, W) array
        Reflectance as read.
    settings : FitSettings

    Returns
    -------
    (N, W) array
    """
    out = np.zeros_like(spectra)
    for n, surface in enumerate(problem.surfaces):
        r = to_inside(spectra[n], surface)
        slope = surface.tau / (1 - surface.k2 * r) ** 2
        out[n] = settings.known_spread * np.abs(slope * r * (1 - r))
    return out


def whitening(
    problem: Problem, seen: ChannelsSeen, variance: Array, spectra: Array, settings: FitSettings
) -> Array:
    """What makes the channels of each patch independent and of unit variance, (N, C, C).

    Beside the noise of the channels it holds what a model gets wrong: half of it at each
    wavelength for itself, half at all of them together, as in a prediction. An unread patch is 0.

    Parameters
    ----------
    problem : Problem
    seen : ChannelsSeen
    variance : (N, C) array
        Of the channels.
    spectra : (N, W) array
        Of the patches, as fitted so far.
    settings : FitSettings

    Returns
    -------
    (N, C, C) array
    """
    good = np.asarray(np.isfinite(seen.channels).any(axis=1))
    sd = model_sd(problem, np.where(good[:, None], spectra, 0.0), settings)
    through = sd[:, None] * seen.sensitivity
    together = through.sum(axis=2)
    noise = unread_as_unsure(seen.channels, variance)
    total = noise[:, :, None] * np.eye(len(seen.sensitivity))
    total += 0.5 * through @ through.transpose(0, 2, 1)
    total += 0.5 * together[:, :, None] * together[:, None]
    root = np.linalg.inv(np.linalg.cholesky(total))
    return np.asarray(root * good[:, None, None])
