"""One joint estimate of a session: faults, tiles' own errors and noise, by Gauss-Newton steps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ...optics.shared_errors import noise_variance
from ...optics.spectra import Array
from .evidence import Answer, Choice, Evidence
from .model import Model
from .priors import Priors

_SEARCHES, _STEPS = 5, 12
"""How often faults are looked for, each time about the last answer; then steps to the end of it."""
_STILL = 1e-10
"""Of any fault, in its unit: a smaller step is none."""
_WORTH = 0.25
"""Of its uncertainty: a smaller change of the scale isn't made."""
_LEAST_NOISE = 2e-5
Noise = tuple[float, float, float]
"""Variance of a value, by its powers 0 to 2: of electronics, of counting light, and in
proportion."""
_TYPICAL: Noise = (2.5e-7, 0.0, 2.5e-7)
_FARTHEST = 6.0
"""Square of a tile's level off its certificate, over what is stated, that counts at most."""
_KNOWN = 2.0
"""As many tiles is worth what is known of certificates before."""


@dataclass(frozen=True)
class Estimate:
    """What is wrong with an instrument in a session.

    Attributes
    ----------
    model : Model
    theta : (P,) array
        All values; a fault that the readings don't insist on is 0.
    answer : Answer
        Which faults are there.
    square : (F, F) array
        Mean square of the faults about their values in `theta`.
    otherwise : mapping of fault to (value, uncertainty)
        Of each that isn't there: what it would be if it were.
    noise : (3,) tuple
        Variance of a value by its powers 0 to 2.
    left : (R, W) array
        What readings of tiles leave over.
    priors : Priors
        As learnt.
    """

    model: Model
    theta: Array
    answer: Answer
    square: Array
    otherwise: Mapping[str, tuple[float, float]]
    noise: Noise
    left: Array
    priors: Priors

    def of(self, name: str) -> Array:
        """Values of a fault."""
        found: Array = self.theta[self.model.at[name]]
        return found

    def sd(self, name: str) -> Array:
        """Their standard uncertainties."""
        found: Array = np.sqrt(np.diag(self.square)[self.model.at[name]])
        return found

    def has(self, *names: str) -> bool:
        """Whether any of these faults is there."""
        return any(self.theta[self.model.at[name]].any() for name in names)


def estimate(
    model: Model, priors: Priors, repeats: tuple[Array, Array, Array] | None = None
) -> Estimate:
    """Estimate the faults that readings of tiles insist on.

    Parameters
    ----------
    model : Model
    priors : Priors
    repeats : (level, square, variance), (S,) arrays each, optional
        Of patches that were read again: mean and mean square of reflectance, variance of a value.

    Returns
    -------
    Estimate
    """
    read = np.array([one.values for one in model.seen])
    tiles = [f"off {t}" for t in priors.told_by()]
    none: Choice = {name: 0 for name in priors.may} | dict.fromkeys(tiles, 0)
    full = {**none, **{name: len(widths) - 1 for name, widths in priors.may.items()}}
    noise, theta = _TYPICAL, np.zeros(model.size)
    # With all faults open first: what they leave over is noise and the certificates' own errors.
    for _ in range(4):
        gathered = _gathered(model, priors, theta, read, noise)
        open_ = gathered.answer(full)
        theta = gathered.whole(open_)
        priors = _certificates(model, priors, theta, open_)
        left = read - model.read(theta)[0]
        noise = _learnt(model, gathered.spent(full), read, left, noise, repeats)
    choices: tuple[Choice, ...] = (full, none)
    for _ in range(_SEARCHES):
        gathered = _gathered(model, priors, theta, read, noise)
        answer = max(map(gathered.best, choices), key=lambda a: a.evidence)
        theta = gathered.whole(answer)
        priors = _certificates(model, priors, theta, answer)
        if choices == (answer.choice,):
            break
        choices = (answer.choice,)
    for _ in range(_STEPS):
        gathered = _gathered(model, priors, theta, read, noise)
        answer = gathered.answer(answer.choice)
        moved = gathered.whole(answer) - theta
        theta = theta + moved
        if np.abs(moved[model.faults]).max() < _STILL:
            break
    square = gathered.doubt(answer)
    alike, variance = priors.in_common(model)
    square[alike, alike] += variance
    level = model.at["gain_level"].start
    own = float(theta[level])
    if abs(own) < _WORTH * np.sqrt(square[level, level]):
        # It would move all readings, and make none surer.
        theta[level] = 0.0
        square[level, level] += own**2
    return Estimate(
        model=model,
        theta=theta,
        answer=answer,
        square=square,
        otherwise=gathered.otherwise(answer),
        noise=noise,
        left=read - model.read(theta)[0],
        priors=priors,
    )


def _gathered(model: Model, priors: Priors, theta: Array, read: Array, noise: Noise) -> Evidence:
    values, by = model.read(theta)
    flat = by.reshape(-1, model.size)
    weight = _weights(model, read, noise)
    weighted = flat * weight[:, None]
    pull = weighted.T @ (np.nan_to_num(read - values).ravel() + flat @ theta)
    return Evidence(model, priors, flat.T @ weighted, pull)


def _weights(model: Model, read: Array, noise: Noise) -> Array:
    used = np.array([model.used[one.tile] for one in model.seen])
    return np.where(
        used & ~np.isnan(read), 1 / noise_variance(np.nan_to_num(read), np.array(noise)), 0.0
    ).ravel()


def _learnt(
    model: Model,
    spent: float,
    read: Array,
    left: Array,
    noise: Noise,
    repeats: tuple[Array, Array, Array] | None,
) -> Noise:
    """Noise that residuals of tiles, and repeats of patches, are likeliest with."""
    from scipy.optimize import nnls

    used = _weights(model, read, noise).reshape(read.shape) > 0
    free = max(1 - spent / max(int(used.sum()), 1), 0.2)
    rows = used.any(axis=1)
    count = used.sum(axis=1)[rows]
    level, square, variance = (
        np.where(used, each, 0.0).sum(axis=1)[rows] / count
        for each in (np.abs(read), read**2, left**2 / free)
    )
    if repeats is not None:
        level, square, variance = (
            np.append(a, b) for a, b in zip((level, square, variance), repeats, strict=True)
        )
    powers = np.stack([np.ones_like(level), level, square], axis=1)
    found = np.array(noise)
    for _ in range(5):
        # A variance is uncertain in proportion to itself.
        weight = 1 / (powers @ found)
        found, _ = nnls(powers * weight[:, None], variance * weight)
        found[0] = max(found[0], _LEAST_NOISE**2)
    return float(found[0]), float(found[1]), float(found[2])


def _certificates(model: Model, priors: Priors, theta: Array, answer: Answer) -> Priors:
    """Priors with how far these certificates are off, as far as the tiles tell."""
    learning = [t for t in priors.told_by() if not answer.choice[f"off {t}"]]
    if not learning:
        return priors
    scale = model.at["tile_scale"].start
    variance = dict(zip(answer.at.tolist(), np.diag(answer.covariance).tolist(), strict=True))
    usual = replace(priors, worse=1.0).tile_scales()
    # A dirty tile tells nothing of how far certificates are off.
    square = sum(
        min((theta[scale + t] ** 2 + variance[scale + t]) / usual[t] ** 2, _FARTHEST)
        for t in learning
    )
    return replace(priors, worse=float(np.sqrt((_KNOWN + square) / (_KNOWN + len(learning)))))
