"""Normal equations of a fit: small blocks, one for each paint, and the border that they share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ...optics.spectra import Array
from ..problem.arrays import Problem
from .clusters import clusters
from .forward import Block, BlockBatch


@dataclass(frozen=True)
class Prior:
    """What is believed of log K and log S before the readings, for every paint alike.

    Attributes
    ----------
    center : (P, 2, W) array
    precision : (P, 2 W, 2 W) array
        Of log K, then log S.
    """

    center: Array
    precision: Array

    def pull(self, theta: Array) -> tuple[Array, float]:
        """How hard it pulls each paint back to its center, (P, 2 W), and what that costs."""
        off = (theta - self.center).reshape(len(theta), self.precision.shape[1])
        pull = (self.precision @ off[..., None])[..., 0]
        return pull, float((pull * off).sum())


class Normal(NamedTuple):
    """Those of G blocks, without what is believed of K and S: own parts (L), and the border's (B).

    Attributes
    ----------
    blocks : tuple of G Block
    own : callable
        A block's own part (L, L), of which the lower triangle counts, and how the border meets it
        with its right-hand side last (B + 1, L); both new arrays.
    bb, gb : (B, B), (B,) array
        What the blocks add to the border's.
    fitted, by_bare : (G, N, W) array
    """

    blocks: tuple[Block, ...]
    own: Callable[[int], tuple[Array, Array]]
    bb: Array
    gb: Array
    cost: float
    fitted: Array
    by_bare: Array


def normal_equations(batch: BlockBatch, theta: Array, nu: Array, weight: Array) -> Normal:
    """Form the normal equations of a batch of blocks at the current values.

    Parameters
    ----------
    batch : BlockBatch
    theta : (P, 2, W) array
        Log K and log S.
    nu : (M,) array
        Nuisance values in prior standard deviations.
    weight : (N, W) array
        Inverse variance of each reading; 0 for what has no say.

    Returns
    -------
    Normal
    """
    problem, n_w = batch.problem, theta.shape[2]
    nuisance = np.append(nu, 0.0)[batch.scalars]
    seen = batch.predict(theta[batch.paints], nuisance)
    w = np.where(batch.real[..., None], weight[batch.rows], 0.0)
    root = np.sqrt(w)[:, :, None]
    residual = np.where(w > 0, problem.measured[batch.rows] - seen.measured, 0.0)
    e = residual[:, :, None] * root
    felt = seen.features * root
    n_g, n_n, n_q, _ = felt.shape
    by_ks = seen.spectral.reshape(n_g, n_n, -1, n_w) * root
    n_s, n_m = by_ks.shape[2], nuisance.shape[1]
    through = seen.through.reshape(n_g, n_n * n_q, n_m)
    back = through.transpose(0, 2, 1)
    hss = np.einsum("gniw,gnjw->gijw", by_ks, by_ks)
    # One block at a time: what is multiplied out is large.
    each = [
        b @ (f[:, :, None] * k[:, None]).reshape(n_n * n_q, n_s * n_w)
        for b, f, k in zip(back, felt, by_ks, strict=True)
    ]
    hms = np.array(each).reshape(n_g, n_m, n_s, n_w)
    gram = felt @ felt.transpose(0, 1, 3, 2)
    hmm = back @ (gram @ seen.through).reshape(through.shape)
    gs = (by_ks * e).sum(axis=1)
    gm = (back @ (felt * e).sum(axis=3).reshape(n_g, -1, 1))[..., 0]

    own, ml = 2 * batch.own, batch.own_scalars
    mine, hub = own * n_w, (n_s - own) * n_w
    shared = clusters(problem)[1]
    place = (shared[:, None] == batch.scalars[:, None, ml:]).astype(float)
    border = hub + shared.size

    def own_part(g: int) -> tuple[Array, Array]:
        ll, bl = np.zeros((mine + ml, mine + ml)), np.zeros((border + 1, mine + ml))
        _same_wavelength(ll[:mine, :mine], n_w)[...] = hss[g, :own, :own]
        ll[mine:, :mine] = hms[g, :ml, :own].reshape(ml, mine)
        ll[mine:, mine:] = hmm[g, :ml, :ml] + np.eye(ml)
        _same_wavelength(bl[:hub, :mine], n_w)[...] = hss[g, own:, :own]
        bl[:hub, mine:] = hms[g, :ml, own:].reshape(ml, hub).T
        bl[hub:-1, :mine] = place[g] @ hms[g, ml:, :own].reshape(n_m - ml, mine)
        bl[hub:-1, mine:] = place[g] @ hmm[g, ml:, :ml]
        bl[-1, :mine], bl[-1, mine:] = gs[g, :own].ravel(), gm[g, :ml] - nuisance[g, :ml]
        return ll, bl

    bb = np.zeros((border, border))
    _same_wavelength(bb[:hub, :hub], n_w)[...] = hss[:, own:, own:].sum(axis=0)
    bb[hub:, :hub] = (place @ hms[:, ml:, own:].reshape(n_g, n_m - ml, hub)).sum(axis=0)
    bb[:hub, hub:] = bb[hub:, :hub].T
    bb[hub:, hub:] = (place @ hmm[:, ml:, ml:] @ place.transpose(0, 2, 1)).sum(axis=0)
    gb = np.append(gs[:, own:].sum(axis=0), (place @ gm[:, ml:, None]).sum(axis=0))
    cost = float((residual**2 * w).sum() + (nuisance[:, :ml] ** 2).sum())
    return Normal(batch.blocks, own_part, bb, gb, cost, seen.measured, seen.by_bare)


def _same_wavelength(part: Array, n_w: int) -> Array:
    """View of what each of some K and S at a wavelength is to others there, (I, J, W)."""
    rows, columns = part.shape
    return np.einsum("iwjw->ijw", part.reshape(rows // n_w, n_w, columns // n_w, n_w))


class Equations(NamedTuple):
    """All normal equations: the blocks', the border's, and what is believed of K and S."""

    normals: list[Normal]
    prior: Prior
    pull: Array
    bb: Array
    gb: Array
    cost: float


def assemble(
    problem: Problem, normals: list[Normal], theta: Array, nu: Array, prior: Prior
) -> Equations:
    """Put the blocks' equations together, and what was believed before beside them.

    Parameters
    ----------
    problem : Problem
    normals : list of Normal
        Of all batches.
    theta : (P, 2, W) array
        Log K and log S.
    nu : (M,) array
        Nuisance values in prior standard deviations.
    prior : Prior

    Returns
    -------
    Equations
    """
    shared, hubs = clusters(problem)[1], np.array(problem.hubs, dtype=np.intp)
    width = prior.precision.shape[1]
    hub = width * hubs.size
    bb = sum((n.bb for n in normals), np.zeros((hub + shared.size,) * 2))
    gb = sum((n.gb for n in normals), np.zeros(hub + shared.size))
    bb[hub:, hub:] += np.eye(shared.size)
    gb[hub:] -= nu[shared]
    pull, off = prior.pull(theta)
    for i, paint in enumerate(hubs):
        at = slice(i * width, (i + 1) * width)
        bb[at, at] += prior.precision[paint]
    gb[:hub] -= pull[hubs].ravel()
    cost = sum(n.cost for n in normals) + off + float((nu[shared] ** 2).sum())
    return Equations(normals, prior, pull, bb, gb, cost)
