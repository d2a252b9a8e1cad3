"""Normal equations of a fit: small blocks, one for each paint, and the border that they share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..optics.spectra import Array
from .clusters import clusters
from .forward import Batch, Block
from .problem import Ints, Problem


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

    def pull(self, paints: Ints, theta: Array) -> tuple[Array, Array]:
        """How hard it pulls some paints back to its center, and how far off they are, (n, 2 W)."""
        off = (theta - self.center)[paints].reshape(len(paints), self.precision.shape[1])
        return (self.precision[paints] @ off[..., None])[..., 0], off


class Normal(NamedTuple):
    """Those of G blocks: each one's own part (L), and what they add to the border (B)."""

    blocks: tuple[Block, ...]
    ll: Array
    lb: Array
    gl: Array
    bb: Array
    gb: Array
    cost: float
    fitted: Array
    by_bare: Array


def normal_equations(batch: Batch, theta: Array, nu: Array, weight: Array, prior: Prior) -> Normal:
    """Form the normal equations of a batch of blocks at the current values."""
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
    across = by_ks.transpose(0, 2, 3, 1)[..., None] * felt.transpose(0, 3, 1, 2)[:, None]
    hss = np.einsum("gniw,gnjw->gijw", by_ks, by_ks)
    hsm = (across.reshape(n_g, n_s * n_w, -1) @ through).reshape(n_g, n_s, n_w, n_m)
    gram = felt @ felt.transpose(0, 1, 3, 2)
    hmm = back @ (gram @ seen.through).reshape(through.shape)
    gs = (by_ks * e).sum(axis=1)
    gm = (back @ (felt * e).sum(axis=3).reshape(n_g, -1, 1))[..., 0]

    own, ml = 2 * batch.own, batch.own_scalars
    mine, hub = own * n_w, (n_s - own) * n_w
    shared = clusters(problem)[1]
    place = (batch.scalars[:, ml:, None] == shared).astype(float)
    size, border = mine + ml, hub + shared.size
    ll = np.zeros((n_g, size, size))
    _same_wavelength(ll[:, :mine, :mine], n_w)[...] = hss[:, :own, :own]
    ll[:, :mine, mine:] = hsm[:, :own, :, :ml].reshape(n_g, mine, ml)
    ll[:, mine:, :mine] = ll[:, :mine, mine:].transpose(0, 2, 1)
    ll[:, mine:, mine:] = hmm[:, :ml, :ml] + np.eye(ml)
    gl = np.concatenate([gs[:, :own].reshape(n_g, mine), gm[:, :ml] - nuisance[:, :ml]], axis=1)
    cost = float((residual**2 * w).sum() + (nuisance[:, :ml] ** 2).sum())
    for i in range(batch.own):
        at = slice(2 * i * n_w, 2 * (i + 1) * n_w)
        pull, off = prior.pull(batch.paints[:, i], theta)
        ll[:, at, at] += prior.precision[batch.paints[:, i]]
        gl[:, at] -= pull
        cost += float((pull * off).sum())
    lb = np.zeros((n_g, size, border))
    _same_wavelength(lb[:, :mine, :hub], n_w)[...] = hss[:, :own, own:]
    lb[:, mine:, :hub] = hsm[:, own:, :, :ml].transpose(0, 3, 1, 2).reshape(n_g, ml, hub)
    lb[:, :mine, hub:] = hsm[:, :own, :, ml:].reshape(n_g, mine, n_m - ml) @ place
    lb[:, mine:, hub:] = hmm[:, :ml, ml:] @ place
    bb = np.zeros((border, border))
    _same_wavelength(bb[None, :hub, :hub], n_w)[...] = hss[:, own:, own:].sum(axis=0)
    bb[:hub, hub:] = (hsm[:, own:, :, ml:].reshape(n_g, hub, n_m - ml) @ place).sum(axis=0)
    bb[hub:, :hub] = bb[:hub, hub:].T
    bb[hub:, hub:] = (place.transpose(0, 2, 1) @ hmm[:, ml:, ml:] @ place).sum(axis=0)
    gb = np.append(gs[:, own:].sum(axis=0), (gm[:, None, ml:] @ place).sum(axis=0))
    return Normal(batch.blocks, ll, lb, gl, bb, gb, cost, seen.measured, seen.by_bare)


def _same_wavelength(part: Array, n_w: int) -> Array:
    """View of what each of some K and S at a wavelength is to others there, (G, I, J, W)."""
    n_g, rows, columns = part.shape
    return np.einsum("giwjw->gijw", part.reshape(n_g, rows // n_w, n_w, columns // n_w, n_w))


class Equations(NamedTuple):
    """All normal equations: the blocks', and the border's with its own priors."""

    normals: list[Normal]
    bb: Array
    gb: Array
    cost: float


def assemble(
    problem: Problem, normals: list[Normal], theta: Array, nu: Array, prior: Prior
) -> Equations:
    """Put the blocks' equations together, and the priors of the border beside them."""
    shared, hubs = clusters(problem)[1], np.array(problem.hubs, dtype=np.intp)
    width = prior.precision.shape[1]
    hub = width * hubs.size
    bb = sum((n.bb for n in normals), np.zeros((hub + shared.size,) * 2))
    gb = sum((n.gb for n in normals), np.zeros(hub + shared.size))
    bb[hub:, hub:] += np.eye(shared.size)
    gb[hub:] -= nu[shared]
    pull, off = prior.pull(hubs, theta)
    for i, paint in enumerate(hubs):
        at = slice(i * width, (i + 1) * width)
        bb[at, at] += prior.precision[paint]
    gb[:hub] -= pull.ravel()
    cost = sum(n.cost for n in normals) + float((nu[shared] ** 2).sum() + (pull * off).sum())
    return Equations(normals, bb, gb, cost)
