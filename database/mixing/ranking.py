"""All that a mix is ranked by: match, tubes, a clumsy hand, other lights, parts too small."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...calibrate.optics.colour import (
    D50,
    ILLUMINANTS,
    View,
    ciede2000,
    lab_of_xyz,
    weights,
    xyz,
)
from ...calibrate.optics.colour_difference import ciede2000_metric
from ...calibrate.optics.spectra import Array
from .palette import Palette
from .target import Target

VISIBLE = 1.0
"""CIEDE2000 that is hard to see: a nearer match is no better (a rule of thumb, no source)."""
SLIP = 0.10
"""Relative error of each part, by which a recipe's robustness is judged."""
SMALLEST_PART = 0.01
"""Share by weight under which a part is better taken from a tint mixed beforehand."""
# What a recipe costs, in CIEDE2000 (our own rule, no source): a tube more, a slip of 10 %, a part
# too small to measure, e times the misfit of its spectrum, and each CIEDE2000 that it parts from it
# under the worst of the other lights, beyond what is hard to see.
_TUBE, _CLUMSY, _TINY, _SPECTRUM, _LIGHT = 0.4, 0.15, 1.0, 0.5, 0.5
_JUDGED = 600
"""Sets that are judged on more than their match."""
_OFFSET, _SLOPE = 0.002, 0.03
"""What a predicted reflectance is off by, as a rule: so much, and so much of itself."""


@dataclass(frozen=True)
class Judged:
    """Mixes (N) and all that they are ranked by; see `Recipe`.

    Attributes
    ----------
    shares : (N, P) array
        By dry volume.
    masses : (N, P) array
        By weight.
    difference, clumsy, cost : (N,) array
    lights : dict of light to (N,) array
    """

    shares: Array
    masses: Array
    difference: Array
    clumsy: Array
    lights: dict[str, Array]
    cost: Array


def judge(palette: Palette, shares: Array, target: Target) -> Judged:
    """Judge mixes (N, P) by everything that counts; only the likeliest are kept."""
    off = ciede2000(palette.lab(shares), target.lab)
    tubes = (shares > 0).sum(axis=1)
    masses = shares / palette.coefficients.dry_volume
    masses /= masses.sum(axis=1, keepdims=True)
    smallest = np.where(masses > 0, masses, 1).min(axis=1)
    cost = (
        np.maximum(off, VISIBLE)
        + np.maximum(off - VISIBLE, 0)
        + _TUBE * tubes
        + _TINY * (smallest < SMALLEST_PART)
    )
    rows = np.argsort(cost, kind="stable")[:_JUDGED]
    shares, masses, cost = shares[rows], masses[rows], cost[rows]
    clumsy = clumsiness(palette, shares, target.lab)
    cost = cost + _CLUMSY * clumsy
    lights = {}
    if target.reflectance is not None:
        made = palette.reflectance(shares)
        lights = special_metamerism(
            made, target.reflectance, palette.coefficients.wavelengths, palette.view
        )
        # A mix of the same spectrum holds under every light, and tells what the target is made of.
        cost = cost + _SPECTRUM * np.log(np.maximum(misfit(made, target.reflectance), 0.01))
        worst = np.max(list(lights.values()), axis=0)
        cost = cost + _LIGHT * np.maximum(worst - VISIBLE, 0)
    return Judged(shares, masses, off[rows], clumsy, lights, cost)


def clumsiness(palette: Palette, shares: Array, near: Array, slip: float | Array = SLIP) -> Array:
    """Root mean square CIEDE2000, to first order, of independent relative errors of each part.

    Parameters
    ----------
    shares : (N, P) array
    near : (3,) array
        CIELAB near which differences are judged.
    slip : float, (P,) or (N, P) array
        Standard deviation of each part's relative error.

    Returns
    -------
    (N,) array
    """
    by = slopes_by_part(palette, shares) * np.broadcast_to(slip, np.shape(shares))[..., None]
    metric = ciede2000_metric(near)[0]
    result: Array = np.sqrt(np.einsum("npi,ij,npj->n", by, metric, by))
    return result


_NUDGE = 0.01


def slopes_by_part(palette: Palette, shares: Array) -> Array:
    """How CIELAB moves by the relative change of each part, (N, P, 3): by small steps."""
    shares = np.atleast_2d(shares)
    n, count = shares.shape
    moved = np.repeat(shares[:, None, :], count, axis=1) * (1 + _NUDGE * np.eye(count))
    moved /= moved.sum(axis=2, keepdims=True)
    by = np.zeros((n, count, 3))
    used = shares > 0
    by[used] = palette.lab(moved[used]) - np.repeat(palette.lab(shares), used.sum(axis=1), axis=0)
    return by / _NUDGE


def misfit(mixes: Array, target: Array) -> Array:
    """Root mean square over wavelength of the difference from a spectrum, in its usual error.

    Parameters
    ----------
    mixes : (N, W) array
        Reflectance; NaN where unread.
    target : (W,) array
        NaN where unread.

    Returns
    -------
    (N,) array
    """
    seen = np.isfinite(target) & np.isfinite(mixes).all(axis=0)
    off = (mixes[:, seen] - target[seen]) / (_OFFSET + _SLOPE * target[seen])
    result: Array = np.sqrt((off**2).mean(axis=1))
    return result


def special_metamerism(
    mixes: Array,
    target: Array,
    wavelengths: Array,
    reference: View = D50,
    others: tuple[View, ...] | None = None,
) -> dict[str, Array]:
    """CIE special metamerism index, change in illuminant, with CIEDE2000 as the difference.

    What the pair already differs by under the reference is taken out first, as CIE 15 advises: the
    mix's tristimulus values are multiplied by what makes them the target's there.

    Parameters
    ----------
    mixes : (N, W) array
    target : (W,) array
    wavelengths : (W,) array, nm
    reference : View
        That they are matched under.
    others : tuple of View, optional
        By default every other light that there is a table of.

    Returns
    -------
    dict of illuminant to (N,) array

    References
    ----------
    CIE 15:2018, Colorimetry, special metamerism index: change in illuminant.
    """
    seen = np.isfinite(target) & np.isfinite(mixes).all(axis=0)
    mixes, target, wl = mixes[:, seen], target[None, seen], wavelengths[seen]
    correction = xyz(target, wl, reference) / xyz(mixes, wl, reference)
    found = {}
    for view in others or [View(each) for each in ILLUMINANTS if each != reference.illuminant]:
        white = weights(wl, view)[1]
        one = lab_of_xyz(xyz(mixes, wl, view) * correction / white)
        found[view.illuminant] = ciede2000(one, lab_of_xyz(xyz(target, wl, view) / white))
    return found
