"""A block's slopes by its unknowns and the border's, and how sure they leave its readings."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ...optics.spectra import Array
from ..problem.rows import Ints
from .clusters import batches
from .forward import Block
from .solve import Solution, inverse


def slopes(block: Block, spectral: Array, scalar: Array, border_scalars: Ints) -> Array:
    """Lay a block's derivatives out in the order of the solver.

    Parameters
    ----------
    block : Block
    spectral : (N, A, 2, W) array
    scalar : (N, M, W) array
        Both as `Block.predict` returns them.
    border_scalars : int array
        Nuisance values of the border.

    Returns
    -------
    (N, W, X) array
        By own log K and log S, own nuisance values, then the border's log K, log S and nuisance
        values.
    """
    n, _, _, n_w = spectral.shape
    own, inner = 2 * block.own * n_w, 2 * block.own * n_w + block.own_scalars
    hubs = inner + 2 * (block.paints.size - block.own) * n_w
    shared = np.searchsorted(border_scalars, block.scalars[block.own_scalars :])
    at = np.arange(n_w)
    by_ks = np.zeros((n, n_w, 2 * block.paints.size, n_w))
    by_ks[:, at, :, at] = spectral.reshape(n, -1, n_w).transpose(2, 0, 1)
    by_scalar = scalar.transpose(0, 2, 1)
    out = np.zeros((n, n_w, hubs + border_scalars.size))
    out[:, :, :own] = by_ks[:, :, : 2 * block.own].reshape(n, n_w, own)
    out[:, :, own:inner] = by_scalar[:, :, : block.own_scalars]
    out[:, :, inner:hubs] = by_ks[:, :, 2 * block.own :].reshape(n, n_w, hubs - inner)
    out[:, :, hubs + shared] = by_scalar[:, :, block.own_scalars :]
    return out


def fitted_variance(solution: Solution) -> Array:
    """Variance of each fitted reading as the fit leaves it, (N, W); where unread too."""
    out = np.zeros(solution.problem.measured.shape)
    root = np.linalg.cholesky(solution.border) if solution.border.size else solution.border
    parts = {int(block.rows[0]): (factor, response) for block, factor, response in solution.blocks}
    for block, spectral, scalar in _derivatives(solution):
        factor, response = parts[int(block.rows[0])]
        by = slopes(block, spectral, scalar, solution.border_scalars)
        own, border = by[:, :, : len(factor)], by[:, :, len(factor) :]
        variance = ((own @ inverse(factor).T) ** 2).sum(axis=2) if factor.size else 0.0
        through = border - own @ response if factor.size else border
        out[block.rows] = variance + ((through @ root) ** 2).sum(axis=2)
    return out


def _derivatives(solution: Solution) -> Iterator[tuple[Block, Array, Array]]:
    """Each block with its derivatives as `Block.predict` returns them; of many at a time."""
    nu = np.append(solution.nu, 0.0)
    for batch in batches(solution.problem):
        seen = batch.predict(solution.theta[batch.paints], nu[batch.scalars])
        for g, block in enumerate(batch.blocks):
            real, there = slice(block.rows.size), batch.scalars[g] >= 0
            scalar = seen.through[g, real].transpose(0, 2, 1) @ seen.features[g, real]
            yield block, seen.spectral[g, real], scalar[:, there]


def nuisance_variance(solution: Solution) -> Array:
    """Variance of each nuisance value, (M,), in squares of its prior's standard deviation."""
    problem = solution.problem
    n_w = problem.wavelengths.size
    out = np.full(len(problem.nuisances), np.nan)
    out[solution.border_scalars] = np.diag(solution.border)[2 * len(problem.hubs) * n_w :]
    for block, factor, response in solution.blocks:
        if not block.own:
            continue
        at = slice(2 * block.own * n_w, None)
        own = (inverse(factor)[:, at] ** 2).sum(axis=0)
        via = ((response[at] @ solution.border) * response[at]).sum(axis=1)
        out[block.scalars[: block.own_scalars]] = own + via
    return out
