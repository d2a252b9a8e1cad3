"""What to believe of a paint's K and S before its scan, so that three channels suffice.

Three numbers a patch leave most of a spectrum open; what fills it is how paints are. A scanned
paint is thought to be like one of many: of paints already measured, where there are any, and of
invented ones, edges, bands, blacks and earths at random. From the one that it is like it departs
as paints depart from each other, and by a smooth Gaussian process on log K and log S, so that no
paint is forced into the likeness of another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ...optics.coefficients import Coefficients
from ...optics.kubelka_munk import opaque_reflectance
from ...optics.spectra import GRID, Array
from ...optics.transport import OF_TWO_FLUXES, TRANSPORT

LADDER = (1.0, 0.7, 0.45, 0.25, 0.12, 0.05, 0.02)
"""Shares of colour of the mixtures that stand for what a ladder's patches look like."""
_PAINTS, _SEED = 1000, 1
"""How many paints are invented; no test paint is among them."""
_LEARNT = 0.5
"""Share of all likelihood that measured paints take."""
_WHITE_S = 150.0 * (550 / GRID) ** 0.5
"""1/mm: S of a titanium white (level invented), which K and S of paints are relative to."""
_WHITE_K = 0.2 + 150.0 / (1 + np.exp((GRID - 396) / 6))
_WHITE_S_SPREAD = 0.4
"""Relative standard uncertainty of the S of a white that isn't known."""
_JITTER = 1e-4
_LOWEST = 1e-5
_THIN = 7
"""Every so many paints are enough to say what patches look like."""


def _smooth(level: float, shape: float, length: float) -> Array:
    """Covariance (W, W) of a curve that is unsure as a whole, and in shape over some nm."""
    apart = GRID[:, None] - GRID[None]
    return np.asarray(level**2 + shape**2 * np.exp(-0.5 * (apart / length) ** 2))


def _of_both(of_k: Array, of_s: Array) -> Array:
    """Covariance of log K and log S, (2W, 2W), that have nothing to do with each other."""
    none = np.zeros_like(of_k)
    return np.block([[of_k, none], [none, of_s]]) + _JITTER * np.eye(2 * len(of_k))


_WIDTH = 0.1
"""Share of the covariance of all paints by which one departs from what it is like."""
_LIKENESS = _of_both(_smooth(0.8, 0.8, 90.0), _smooth(0.8, 0.6, 60.0))
"""How far it departs smoothly beside that: covariance of log K and log S, (2W, 2W). Chosen on the
virtual paint lab and on published acrylics: half as much predicts nearly as well, twice as much
worse where no white is measured."""


@dataclass(frozen=True)
class ScanPrior:
    """Paints, each of which a scanned one may be like.

    Attributes
    ----------
    weight : (Q,) array
        How likely each is; they sum to 1.
    logs : (Q, 2, W) array
        Log of K and S relative to white's S.
    """

    weight: Array
    logs: Array

    def by(self, model: str) -> ScanPrior:
        """Return the same paints as a model has them; they are given as two fluxes do."""
        return replace(self, logs=self.logs + _as_model(model, relative=True))

    @classmethod
    def invented(cls) -> ScanPrior:
        """Believe that paints are like invented ones; no measured paint is behind it."""
        logs = _invented()
        return cls(np.full(len(logs), 1 / len(logs)), logs)

    def learnt(self, k: Array, s: Array) -> ScanPrior:
        """Add measured paints, which take half of all likelihood.

        Parameters
        ----------
        k, s : (P, W) array
            Of colours without their white, relative to its S; no value is missing.

        Returns
        -------
        ScanPrior
        """
        logs = np.log(np.maximum(np.stack([k, s], axis=1), _LOWEST))
        weight = np.full(len(logs), _LEARNT / len(logs))
        return ScanPrior(
            np.concatenate([self.weight * (1 - _LEARNT), weight]), np.concatenate([self.logs, logs])
        )

    def learnt_from(self, known: Coefficients, white: str) -> ScanPrior:
        """As `learnt`, from fitted paints; those with gaps in their wavelengths are passed over.

        Parameters
        ----------
        known : Coefficients
        white : str
            Nickname.

        Returns
        -------
        ScanPrior

        Raises
        ------
        KeyError
            Where the white isn't among them.
        """
        w = known.index(white)
        whole = np.asarray(~np.isnan(known.k + known.s).any(axis=1))
        rows = [i for i in range(len(known.paints)) if whole[i] and i != w]
        return self.learnt(known.k[rows] / known.s[w], known.s[rows] / known.s[w])

    @property
    def ladders(self) -> Array:
        """Inside reflectances of opaque mixtures of these paints in white, (L, W)."""
        share, logs = np.array(LADDER)[:, None], self.logs[::_THIN]
        k = np.exp(logs[:, None, 0]) * share + (1 - share) * _WHITE_K / _WHITE_S
        s = np.exp(logs[:, None, 1]) * share + (1 - share)
        return np.asarray(opaque_reflectance(k, s)).reshape(-1, logs.shape[2])


def _as_model(model: str, relative: bool) -> Array:
    """Log of what a model's K and S are over those of two fluxes, roughly, (2, 1)."""
    if model != TRANSPORT:
        return np.zeros((2, 1))
    shift = np.log(OF_TWO_FLUXES)
    return np.asarray((shift - shift[1] if relative else shift)[:, None])


def white_prior(relative: bool, model: str) -> tuple[Array, Array]:
    """What is believed of a white: center (2, W) and covariance (2W, 2W) of log K and log S.

    Parameters
    ----------
    relative : bool
        Whether K and S are relative to this white, so that its S is 1; else they are in 1/mm.
    model : str
        Whose K and S they are.
    """
    s = np.ones_like(GRID) if relative else _WHITE_S
    center = np.log(np.stack([_WHITE_K / (_WHITE_S if relative else 1.0), s]))
    center = center + _as_model(model, relative)
    # Where its absorption sets in, whites differ by some nm.
    edge = 4.0 * np.gradient(center[0], GRID)
    return center, _of_both(_smooth(1.0, 0.4, 40.0) + np.outer(edge, edge), _smooth(0.4, 0.1, 80.0))


@dataclass(frozen=True)
class Likeness:
    """A prior in the unit of a fit: paints, and how far one may lie from what it is like.

    Attributes
    ----------
    weight : (Q,) array
    centers : (Q, 2W) array
        Log K and log S.
    spread : (2W, 2W) array
    """

    weight: Array
    centers: Array
    spread: Array

    @classmethod
    def of(cls, prior: ScanPrior, white_s: Array | None, relative: bool, model: str) -> Likeness:
        """Bring a prior to a fit's unit and model.

        Parameters
        ----------
        prior : ScanPrior
        white_s : (W,) array or None
            S of the white that paints are let down with, 1/mm; None: not known.
        relative : bool
            Whether the fit's K and S are relative to white.
        model : str
            Whose K and S they are.

        Returns
        -------
        Likeness
        """
        logs = prior.by(model).logs.reshape(len(prior.logs), -1)
        mean = prior.weight @ logs
        off = logs - mean
        whole = (off.T * prior.weight) @ off
        centers, spread = mean + np.sqrt(1 - _WIDTH) * off, _WIDTH * whole + _LIKENESS
        if not relative:
            typical = np.log(_WHITE_S) + _as_model(model, relative)[1]
            scale = typical if white_s is None else np.log(white_s)
            centers = centers + np.concatenate([scale, scale])
            spread = spread + (_WHITE_S_SPREAD**2 if white_s is None else 0.0)
        return cls(prior.weight, centers, spread)

    def together(self, weight: Array) -> tuple[Array, Array]:
        """Mean (2, W) and covariance (2W, 2W) of all of them, weighed (Q,)."""
        mean = weight @ self.centers
        off = self.centers - mean
        return mean.reshape(2, -1), self.spread + (off.T * weight) @ off

    def weighed(self, information: Array, pull: Array) -> Array:
        """How likely each is, (Q,), once a ladder was read.

        Parameters
        ----------
        information : (2W, 2W) array
        pull : (2W,) array
            The readings' log likelihood is ``pull @ theta - theta @ information @ theta / 2``.

        Returns
        -------
        (Q,) array
            Sums to 1.
        """
        inverse = np.linalg.inv(self.spread)
        begun = self.centers @ inverse
        moved = begun + pull
        gain = np.einsum("qi,qi->q", moved, np.linalg.solve(inverse + information, moved.T).T)
        log = np.log(self.weight) + 0.5 * (gain - np.einsum("qi,qi->q", begun, self.centers))
        likely = np.exp(log - log.max())
        result: Array = likely / likely.sum()
        return result


@lru_cache(maxsize=1)
def _invented() -> Array:
    rng = np.random.default_rng(_SEED)
    return np.array([_invented_paint(rng) for _ in range(_PAINTS)])


def _band(centre: float, width: float) -> Array:
    """A bell with the long tails of real bands: what lies beyond one is never quite clear."""
    off = (GRID - centre) / width
    return np.asarray(0.85 * np.exp(-0.5 * off**2) + 0.15 / (1 + 0.72 * off**2))


def _invented_paint(rng: np.random.Generator) -> Array:
    """Log K and log S (2, W), relative to white's S, of a paint that nobody sells.

    Yellows to reds absorb below an edge, blues to violets in bands, blacks everywhere, earths below
    an edge and a little beyond (common practice, no source); where and how much is drawn at random.
    """
    kind = rng.choice(["edge", "bands", "black", "earth"], p=[0.35, 0.45, 0.05, 0.15])
    height = 10 ** rng.uniform(-0.3, 0.5)
    k = np.full(GRID.size, height * 10 ** rng.uniform(-3.0, -1.3))
    if kind in ("edge", "earth"):
        at = rng.uniform(430, 600)
        below = 1 / (1 + np.exp((GRID - at) / rng.uniform(6, 20)))
        k += height * below
        for _ in range(rng.integers(0, 3)):
            part = height * rng.uniform(-0.6, 0.5)
            k += part * _band(rng.uniform(380, at + 20), rng.uniform(15, 40)) * below
        if kind == "earth":
            k += (
                height
                * 10 ** rng.uniform(-1.6, -0.7)
                * _band(rng.uniform(620, 900), rng.uniform(50, 150))
            )
            k += height * 10 ** rng.uniform(-2, -1)
    elif kind == "bands":
        at = rng.uniform(500, 740)
        for j in range(rng.integers(1, 4)):
            beside = at + (rng.uniform(-80, 80) if j else 0.0)
            k += height * rng.uniform(0.3, 1) * _band(beside, rng.uniform(18, 60))
        part = height * 10 ** rng.uniform(-1.5, 0)
        k += part * _band(rng.uniform(340, 410), rng.uniform(25, 60))
    else:
        k = 2 * height * (550 / GRID) ** rng.uniform(-0.8, 0.8)
    k = np.maximum(k, height * 1e-3)
    s = 10 ** rng.uniform(-1.7, 0) * (GRID / 550) ** rng.uniform(-1, 1)
    # Beyond an absorption the refractive index, and so the scattering, is raised.
    s *= 1 + rng.uniform(0, 0.6) * np.interp(GRID - 30, GRID, k / k.max())
    return np.log(np.stack([k, s]))
