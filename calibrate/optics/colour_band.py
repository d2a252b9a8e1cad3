"""How far, as CIEDE2000, a colour may lie from where its covariance puts it."""

from __future__ import annotations

import math

import numpy as np

from .colour import ciede2000
from .spectra import Array


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
