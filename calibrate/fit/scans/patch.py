"""The spectrum of one patch, guessed from its channels alone.

A place for a fit to begin, and what a fit of the whole ladder is judged against. Also the reverse:
what a fitted patch's spectrum would have to be for its channels to agree.
"""

from __future__ import annotations

import numpy as np

from ...optics.spectra import GRID, Array

CORRECTION_SD = 0.01
"""How far at each wavelength a corrected spectrum may lie from the true one, channels aside."""
NEAR = CORRECTION_SD**2 * np.exp(-0.5 * ((GRID[:, None] - GRID[None]) / 40.0) ** 2)
"""Covariance of a correction to a spectrum: smooth, as what a fit gets wrong is."""
_UNREAD = 1e9
"""Variance of a channel that was not read: nothing weighs it."""


def unread_as_unsure(channels: Array, variance: Array) -> Array:
    """Variance (N, C) of channels, so large that it tells nothing where they were not read."""
    return np.where(np.isfinite(channels), variance, _UNREAD)


def patch_spectra(table: Array, sensitivity: Array, channels: Array, variance: Array) -> Array:
    """Guess spectra as likely mixtures of spectra seen before (Wiener's estimate).

    Parameters
    ----------
    table : (L, W) array
        Reflectances that patches are thought to be like, as their surface shows them.
    sensitivity : (C, W) array
    channels, variance : (N, C) array
        NaN where unread.

    Returns
    -------
    (N, W) array
        May leave 0 to 1.
    """
    return most_likely(table.mean(axis=0), np.cov(table.T), sensitivity, channels, variance)


def corrected(fitted: Array, sensitivity: Array, channels: Array, variance: Array) -> Array:
    """Fitted spectra (N, W), smoothly moved until their channels agree with those read.

    What is left between the two is all that a scan can say of how well a fit holds.

    Parameters
    ----------
    fitted : (N, W) array
    sensitivity : (C, W) array
    channels : (N, C) array
        NaN where unread.
    variance : (N, C) array
        Of the channels.

    Returns
    -------
    (N, W) array
    """
    return most_likely(fitted, NEAR, sensitivity, channels, variance)


def most_likely(
    mean: Array, spread: Array, sensitivity: Array, channels: Array, variance: Array
) -> Array:
    """Mean (N, W) of normal spectra of covariance (W, W), once their channels (N, C) are read.

    Parameters
    ----------
    mean : (N, W) array
    spread : (W, W) array
        Covariance.
    sensitivity : (C, W) array
    channels : (N, C) array
        NaN where unread.
    variance : (N, C) array
        Of the channels.

    Returns
    -------
    (N, W) array
    """
    projected = sensitivity @ spread
    noise = unread_as_unsure(channels, variance)[:, :, None] * np.eye(len(sensitivity))
    off = np.nan_to_num(channels - mean @ sensitivity.T)[:, :, None]
    moved = np.linalg.solve(projected @ sensitivity.T + noise, off)[:, :, 0]
    result: Array = mean + moved @ projected
    return result
