"""How well an instrument repeats itself, and how well two agree, as ASTM E2214 defines it.

Single figures are the mean colour difference from the mean (MCDM); multivariate ones come from the
covariance of L*, a* and b*, and Hotelling's T squared. The standard's procedures are from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..optics.colour import ciede2000
from ..optics.spectra import Array

DIMENSIONS = 3


@dataclass(frozen=True)
class Scatter:
    """How colours of the same thing scatter.

    Attributes
    ----------
    groups, readings : int
        Things read, and readings of them.
    mcdm : float
        Mean CIEDE2000 from the mean of each thing.
    mcdm_ab : float
        The same in CIELAB 1976, as the standard has it.
    worst : float
        Largest CIEDE2000 from a mean.
    covariance : (3, 3) array
        Of one reading's L*, a*, b*, pooled over the things.
    radius : float
        Of a ball as large as the ellipsoid that holds 95 % of readings, CIELAB.
    """

    groups: int
    readings: int
    mcdm: float
    mcdm_ab: float
    worst: float
    covariance: Array
    radius: float

    @property
    def sd(self) -> float:
        """Standard deviation of one reading, CIELAB, over all directions."""
        return float(np.sqrt(np.trace(self.covariance)))


@dataclass(frozen=True)
class Agreement:
    """How two instruments agree on things that both have read.

    Attributes
    ----------
    mean, worst : float
        CIEDE2000 from one to the other.
    rms_ab : float
        CIELAB 1976, root mean square.
    bias : (3,) array
        Mean difference of L*, a*, b*: the second less the first.
    t_squared : float
        Hotelling's, of the differences; NaN for fewer than four things.
    by_chance : float
        How likely so large a bias is if there is none; NaN likewise.
    mcdm : float
        Mean CIEDE2000 of each instrument from the mean of both.
    """

    things: int
    mean: float
    worst: float
    rms_ab: float
    bias: Array
    t_squared: float
    by_chance: float
    mcdm: float

    @property
    def is_bias(self) -> bool:
        """Whether they differ systematically, at the 5 % level."""
        return self.by_chance < 0.05


def scatter(groups: Sequence[Array]) -> Scatter | None:
    """How readings scatter about the mean of the thing that they are of.

    Parameters
    ----------
    groups : sequence of (n, 3) arrays
        CIELAB of the readings of each thing.

    Returns
    -------
    Scatter, or None where nothing was read twice
    """
    from scipy.stats import chi2

    groups = [group for group in groups if len(group) > 1]
    if not groups:
        return None
    means = np.concatenate([np.tile(group.mean(axis=0), (len(group), 1)) for group in groups])
    every = np.concatenate(groups)
    off, from_mean = every - means, ciede2000(means, every)
    covariance = off.T @ off / (len(every) - len(groups))
    # det of a covariance that rounding made barely negative
    size = max(float(np.linalg.det(covariance)), 0.0) ** (1 / (2 * DIMENSIONS))
    return Scatter(
        groups=len(groups),
        readings=len(every),
        mcdm=float(from_mean.mean()),
        mcdm_ab=float(np.linalg.norm(off, axis=1).mean()),
        worst=float(from_mean.max()),
        covariance=covariance,
        radius=float(np.sqrt(chi2.ppf(0.95, DIMENSIONS))) * size,
    )


def agreement(one: Array, other: Array) -> Agreement:
    """How two instruments agree on the same things, each read by both.

    Parameters
    ----------
    one, other : (n, 3) arrays
        CIELAB, row by row of the same thing; n at least 1.

    Returns
    -------
    Agreement

    Notes
    -----
    T squared is that of paired differences; (n - 3) / (3 (n - 1)) of it has Fisher's F distribution
    with 3 and n - 3 degrees of freedom if there is no bias (Hotelling 1931).
    """
    off, n = other - one, len(one)
    between, middle = ciede2000(one, other), (one + other) / 2
    each = np.concatenate([ciede2000(middle, one), ciede2000(middle, other)])
    t_squared = by_chance = np.nan
    if n > DIMENSIONS:
        from scipy.stats import f as fisher

        spread = np.atleast_2d(np.cov(off.T))
        bias = off.mean(axis=0)
        t_squared = float(n * bias @ np.linalg.pinv(spread) @ bias)
        ratio = t_squared * (n - DIMENSIONS) / (DIMENSIONS * (n - 1))
        by_chance = float(fisher.sf(ratio, DIMENSIONS, n - DIMENSIONS))
    return Agreement(
        things=n,
        mean=float(between.mean()),
        worst=float(between.max()),
        rms_ab=float(np.sqrt((off**2).sum(axis=1).mean())),
        bias=off.mean(axis=0),
        t_squared=t_squared,
        by_chance=by_chance,
        mcdm=float(each.mean()),
    )
