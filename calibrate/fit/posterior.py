"""What a solution says of K and S, and how surely."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from ..optics.coefficients import Coefficients
from ..optics.spectra import Array
from .problem import Problem
from .solve import Solution
from .tube import Tube

OWN_FACTORS = 8
SHARED_FACTORS = 16
"""How many factors carry a paint's own, and the shared, covariance between wavelengths. What they
leave over stays in the 2x2 blocks, so that each K and S keeps its whole variance."""


def _low_rank(vectors: Array, scale: Array, most: int) -> Array:
    """The strongest directions of ``vectors @ vectors.T``, as (n, most) columns.

    Parameters
    ----------
    vectors : (n, m) array
    scale : (n,) array
        How much each row matters.
    most : int
    """
    u, s, _ = np.linalg.svd(vectors * scale[:, None], full_matrices=False)
    kept = (u * s)[:, :most] / scale[:, None]
    result: Array = np.pad(kept, ((0, 0), (0, max(0, most - kept.shape[1]))))
    return result


def _blocks_left(full: Array, kept: Array, n_w: int) -> Array:
    """2x2 blocks per wavelength of ``full - kept @ kept.T`` for one paint, (2, 2, W)."""
    rest = (full - kept @ kept.T).reshape(2, n_w, 2, n_w)
    index = np.arange(n_w)
    blocks: Array = rest[:, index, :, index].transpose(1, 2, 0)
    return _positive(blocks)


def _positive(blocks: Array) -> Array:
    """Lift what rounding pushed below zero."""
    values, vectors = np.linalg.eigh(blocks.transpose(2, 0, 1))
    lifted = np.einsum("wij,wj,wkj->wik", vectors, np.maximum(values, 0.0), vectors)
    result: Array = lifted.transpose(1, 2, 0)
    return result


def coefficients(
    problem: Problem,
    solution: Solution,
    unread: NDArray[np.bool_],
    ratio_only: NDArray[np.bool_],
    tubes: Mapping[str, Tube],
) -> Coefficients:
    """Collect K and S and their covariance.

    Notes
    -----
    A block's log K and log S, given the border, have covariance ``inv(L)`` of its own part; the
    border adds ``response @ cov(border) @ response.T``. Both are reduced to their strongest
    factors, weighed by how much a masstone and a mid tint would feel them.
    """
    n_w, n_p = problem.wavelengths.size, len(problem.paints)
    theta, hubs = solution.theta, list(problem.hubs)
    size = solution.border.shape[0]
    values, vectors = np.linalg.eigh(solution.border) if size else (np.zeros(0), np.zeros((0, 0)))
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    shared = np.zeros((n_p, 2 * n_w, size))
    own_cov: list[Array] = [np.zeros((2 * n_w, 2 * n_w)) for _ in range(n_p)]
    for i, paint in enumerate(hubs):
        shared[paint] = root[2 * i * n_w : 2 * (i + 1) * n_w]
    for block, (factor, _), response in solution.blocks:
        if not block.own:
            continue
        inverse = np.linalg.inv(factor * np.tri(factor.shape[0]))
        for i, paint in enumerate(block.paints[: block.own]):
            at = slice(2 * i * n_w, 2 * (i + 1) * n_w)
            own_cov[paint] = inverse[:, at].T @ inverse[:, at]
            shared[paint] = -response[at] @ root
    # In a mid tint a paint is felt by K/S: weigh log K and log S by the slope of an opaque film.
    k, s = np.exp(theta[:, 0]), np.exp(theta[:, 1])
    ratio = k / s
    felt = np.sqrt(ratio / (ratio + 2)) / (1 + ratio + np.sqrt(ratio * (ratio + 2))) + 0.02
    scale = np.concatenate([felt, felt], axis=1)
    stacked = shared.reshape(n_p * 2 * n_w, size)
    kept = (
        _low_rank(stacked, scale.reshape(-1), SHARED_FACTORS)
        if size
        else np.zeros((n_p * 2 * n_w, SHARED_FACTORS))
    ).reshape(n_p, 2 * n_w, SHARED_FACTORS)
    local = np.zeros((n_p, 2, 2, n_w))
    own = np.zeros((n_p, OWN_FACTORS, 2, n_w))
    for p in range(n_p):
        values, vectors = np.linalg.eigh(own_cov[p])
        mine = _low_rank(vectors * np.sqrt(np.maximum(values, 0.0)), scale[p], OWN_FACTORS)
        own[p] = mine.T.reshape(OWN_FACTORS, 2, n_w)
        local[p] = _blocks_left(own_cov[p], mine, n_w)
        local[p] += _blocks_left(shared[p] @ shared[p].T, kept[p], n_w)
    both = np.stack([k, s], axis=1)
    factors = kept.transpose(2, 0, 1).reshape(SHARED_FACTORS, n_p, 2, n_w)
    surface = problem.surfaces[0]
    return Coefficients(
        paints=problem.paints,
        wavelengths=problem.wavelengths,
        k=np.where(unread, np.nan, k),
        s=np.where(unread, np.nan, s),
        local=local * both[:, :, None] * both[:, None, :],
        own=own * both[:, None],
        factors=factors * both[None],
        factor_names=tuple(f"shared {i + 1}" for i in range(SHARED_FACTORS)),
        scale=problem.scale,
        surface=surface,
        dry_volume=problem.dry_volume,
        density=1 / problem.inverse_density,
        dry_volume_measured=np.array([tubes[p].dry_volume_measured for p in problem.paints]),
        ratio_only=ratio_only,
        scan_made=np.zeros(n_p, dtype=bool),
        model_error=model_error(problem, solution),
    )


def model_error(problem: Problem, solution: Solution) -> Array:
    """What is left over beside reading noise, RMS over the patches, as reflectance, (W,)."""
    with np.errstate(invalid="ignore"):
        excess = (problem.measured - solution.fitted) ** 2 - problem.variance
    count = np.maximum((~np.isnan(excess)).sum(axis=0), 1)
    return np.sqrt(np.maximum(np.nansum(excess, axis=0) / count, 0.0))
