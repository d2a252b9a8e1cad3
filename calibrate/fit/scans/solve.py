"""Solves for K and S from channels: the fit's own blocks, seen through the sensitivities.

As in `tintladder.calibrate.fit.solver.solve` each paint has a block of its own and paints meet in a
border; but a patch gives three numbers a device, not a spectrum, so that what is believed of K and
S holds all wavelengths of a paint together.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ...optics.spectra import Array
from ..problem.arrays import Problem
from ..problem.rows import Ints
from ..solver.clusters import clusters
from ..solver.forward import Block
from ..solver.normal import Equations, Normal, Prior, assemble
from ..solver.solve import Progress, Solution, descend

_TOLERANCE = 1e-2


@dataclass(frozen=True, eq=False)
class ChannelsSeen:
    """What was seen of a problem's N patches through C channels.

    Nuisance values of the problem stand for what is unsure of the sensitivities and of the bare
    substrates; here is what each does.

    Attributes
    ----------
    sensitivity : (C, W) array
    by_scalar : mapping of nuisance to (C, W) array
        Change of the sensitivities.
    bare_by_scalar : mapping of nuisance to (N, W) array
        Change of the reading of the bare substrate under each patch.
    channels : (N, C) array
        NaN where unread.
    level_by_scalar : mapping of nuisance to (N, C) array
        Relative change of each channel.
    shift_by_scalar : mapping of nuisance to (N, C) array
        Change of each channel, as a tone curve or a veil of light makes it.
    """

    sensitivity: Array
    by_scalar: dict[int, Array]
    bare_by_scalar: dict[int, Array]
    channels: Array
    level_by_scalar: dict[int, Array]
    shift_by_scalar: dict[int, Array]

    def sensitivity_at(self, nu: Array) -> Array:
        """Sensitivities as they were fitted, (C, W)."""
        changes = [nu[m] * change for m, change in self.by_scalar.items()]
        return np.asarray(self.sensitivity + sum(changes))

    def levelled(self, nu: Array) -> Array:
        """Channels as they would be at the level and with the tones that were fitted, (N, C)."""
        gain, shift = np.ones_like(self.channels), np.zeros_like(self.channels)
        for m, change in self.level_by_scalar.items():
            gain += nu[m] * change
        for m, change in self.shift_by_scalar.items():
            shift += nu[m] * change
        return np.asarray((self.channels - shift) / gain)


@dataclass(frozen=True)
class Part:
    """A block, and where it stands in the border."""

    block: Block
    seen: ChannelsSeen
    columns: Ints

    @cached_property
    def channel_slopes(self) -> Array:
        """Change of the sensitivities with each nuisance value, (M, C, W)."""
        none = np.zeros_like(self.seen.sensitivity)
        return np.array([self.seen.by_scalar.get(int(m), none) for m in self.block.scalars])

    @cached_property
    def bare_slopes(self) -> Array:
        """Change of the bare readings with each nuisance value, (M, N, W)."""
        rows, n_w = self.block.rows, self.seen.sensitivity.shape[1]
        out = np.zeros((self.block.scalars.size, rows.size, n_w))
        for i, m in enumerate(self.block.scalars):
            if int(m) in self.seen.bare_by_scalar:
                out[i] = self.seen.bare_by_scalar[int(m)][rows]
        return out

    @cached_property
    def level_slopes(self) -> Array:
        """Relative change of the channels with each nuisance value, (M, N, C)."""
        return self._by_channel(self.seen.level_by_scalar)

    @cached_property
    def shift_slopes(self) -> Array:
        """Change of the channels with each nuisance value, (M, N, C)."""
        return self._by_channel(self.seen.shift_by_scalar)

    def _by_channel(self, by_scalar: dict[int, Array]) -> Array:
        none = np.zeros_like(self.seen.channels)
        rows = [by_scalar.get(int(m), none) for m in self.block.scalars]
        return np.array(rows)[:, self.block.rows]

    def normal(self, theta: Array, nu: Array, root: Array, size: int) -> Normal:
        """Form the normal equations; ``root`` (N, C, C) whitens each patch's channels.

        Parameters
        ----------
        theta : (A, 2, W) array
            Log K and log S.
        nu : (M,) array
            Nuisance values in prior standard deviations.
        root : (N, C, C) array
            Whitens each patch's channels.
        size : int
            Of the border.

        Returns
        -------
        Normal
        """
        block, n_w = self.block, theta.shape[2]
        values = nu[block.scalars]
        fitted, spectral, scalar, by_bare = block.predict(
            theta[block.paints, 0], theta[block.paints, 1], values
        )
        # The bare card moves so little that its share in each film is held meanwhile.
        fitted = fitted + by_bare * np.einsum("m,mnw->nw", values, self.bare_slopes)
        scalar += by_bare[:, None] * self.bare_slopes.transpose(1, 0, 2)
        seen_by = self.seen.sensitivity + np.einsum("m,mcw->cw", values, self.channel_slopes)
        gain = 1 + np.einsum("m,mnc->nc", values, self.level_slopes)
        whiten = root[block.rows] * gain[:, None, :]
        through, shown = whiten @ seen_by, fitted @ seen_by.T
        shift = np.einsum("m,mnc->nc", values, self.shift_slopes)
        off = self.seen.channels[block.rows] - shown * gain - shift
        off = np.where(np.isnan(off), 0.0, off)  # unread; nothing weighs it
        e = np.einsum("ncd,nd->nc", root[block.rows], off).ravel()
        flat = spectral.reshape(block.rows.size, 1, -1, n_w)
        js = (through[:, :, None] * flat).reshape(e.size, -1)
        jm = np.einsum("ncw,nmw->ncm", through, scalar)
        jm += np.einsum("ncd,mdw,nw->ncm", whiten, self.channel_slopes, fitted, optimize=True)
        by_level = shown * self.level_slopes + self.shift_slopes
        jm += np.einsum("ncd,mnd->ncm", root[block.rows], by_level)
        jm = jm.reshape(e.size, -1)
        mine, own = 2 * block.own * n_w, block.own_scalars
        jl = np.concatenate([js[:, :mine], jm[:, :own]], axis=1)
        jb = np.zeros((e.size, size))
        jb[:, : js.shape[1] - mine] = js[:, mine:]
        jb[:, self.columns] = jm[:, own:]
        ll, gl = jl.T @ jl, jl.T @ e
        ll[mine:, mine:] += np.eye(own)
        gl[mine:] -= values[:own]
        cost = float(e @ e + values[:own] @ values[:own])
        across = np.vstack([jb.T @ jl, gl])
        return Normal(
            (block,),
            lambda _: (ll.copy(), across.copy()),
            jb.T @ jb,
            jb.T @ e,
            cost,
            fitted[None],
            by_bare[None],
        )


def solve_channels(
    problem: Problem,
    seen: ChannelsSeen,
    start: Array,
    belief: Prior,
    root: Array,
    *,
    nu: Array | None = None,
    most: int = 60,
    progress: Progress | None = None,
) -> Solution:
    """Minimise the whitened squares of channel residuals and beliefs by damped Gauss-Newton steps.

    Parameters
    ----------
    problem : Problem
        Its measured spectra have no say.
    seen : ChannelsSeen
    start : (P, 2, W) array
        Log K and log S to begin from.
    belief : Prior
        Of each paint's log K and log S, wavelengths together.
    root : (N, C, C) array
        Whitens the channels of each patch; 0 where all are unread.
    nu : (M,) array, optional
        Nuisance values to begin from.
    most : int
        Most steps.
    progress : callable, optional
        Called with the step and the cost.

    Returns
    -------
    Solution
    """
    blocks, shared = clusters(problem)
    hub_size = 2 * len(problem.hubs) * start.shape[2]
    size = hub_size + shared.size
    parts = [
        Part(b, seen, hub_size + np.searchsorted(shared, b.scalars[b.own_scalars :]))
        for b in blocks
    ]

    def form(theta: Array, nu: Array) -> Equations:
        normals = [p.normal(theta, nu, root, size) for p in parts]
        return assemble(problem, normals, theta, nu, belief)

    return descend(problem, form, start, nu, _TOLERANCE, 1, most, progress)
