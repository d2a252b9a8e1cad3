"""The forward model of a set of patches, with every derivative that a fit needs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..optics.kubelka_munk import film_derivatives, opaque_derivatives
from ..optics.spectra import Array
from ..optics.transport import OPAQUE, TRANSPORT, Films, films, over_substrate
from .problem import Ints, Problem


@dataclass(frozen=True)
class Block:
    """The patches of one cluster of paints, and the unknowns they depend on.

    Attributes
    ----------
    rows : (N,) int array
        Patches of the problem.
    paints : (A,) int array
        Paints in them, the cluster's own first, then hubs.
    own : int
        How many of `paints` are the cluster's own.
    scalars : (M,) int array
        Nuisance values they depend on, the cluster's own first.
    own_scalars : int
    """

    problem: Problem
    rows: Ints
    paints: Ints
    own: int
    scalars: Ints
    own_scalars: int

    @cached_property
    def drawdowns(self) -> Ints:
        """Drawdowns of the rows, each once."""
        return np.unique(self.problem.drawdown[self.rows])

    @cached_property
    def at(self) -> Ints:
        """Place of each row's drawdown in `drawdowns`, (N,)."""
        return np.searchsorted(self.drawdowns, self.problem.drawdown[self.rows])

    @cached_property
    def surface_arrays(self) -> tuple[Array, Array, Array, Array, Array, Array]:
        """k1, alpha, k2, whether tau holds k2, tau's other part, the bare card's floor, (N,)."""
        surfaces = [self.problem.surfaces[i] for i in self.rows]
        k1 = np.array([s.k1 for s in surfaces])
        alpha = np.array([s.alpha for s in surfaces])
        k2 = np.array([s.k2 for s in surfaces])
        sphere = np.array([s.geometry != "45:0" for s in surfaces], dtype=float)
        fixed = np.where(sphere > 0, 1 - k1, [s.tau for s in surfaces])
        # The sealed bare card is glossy: of its surface it shows what a sphere shows, or nothing.
        bare = [replace(s, gloss="gloss", haze=0.0) for s in surfaces]
        return k1, alpha, k2, sphere, fixed, np.array([s.alpha * s.k1 for s in bare])

    @cached_property
    def mass_slopes(self) -> Array:
        """Change of the mass fractions with each nuisance value, (D, M, A)."""
        p = self.problem
        out = np.zeros((self.drawdowns.size, self.scalars.size, self.paints.size))
        for m, scalar in enumerate(self.scalars):
            if p.nuisances[scalar].kind == "weighing":
                touched = np.array(p.nuisances[scalar].drawdowns)
                here = np.isin(touched, self.drawdowns)
                slopes = p.weighing[int(scalar)][:, self.paints]
                out[np.searchsorted(self.drawdowns, touched[here]), m] = slopes[here]
        return out

    def _slopes(self, kind: str, drawdowns: Ints) -> Array:
        """What the nuisance values of a kind do to each of some drawdowns, at one sd, (D, M)."""
        out = np.zeros((drawdowns.size, self.scalars.size))
        for m, scalar in enumerate(self.scalars):
            nuisance = self.problem.nuisances[scalar]
            if nuisance.kind == kind:
                out[np.isin(drawdowns, nuisance.drawdowns), m] = nuisance.spread
        return out

    @cached_property
    def thickness_slopes(self) -> Array:
        """Change of log thickness with each nuisance value of that kind, (D, M)."""
        return self._slopes("thickness", self.drawdowns)

    @cached_property
    def two_flux_slopes(self) -> Array:
        """Change of log K of the mix with each nuisance value of that kind, (D, M)."""
        return self._slopes("two fluxes", self.drawdowns)

    @cached_property
    def volume_slopes(self) -> Array:
        """Change of log dry volume per gram with each nuisance value, (M, A)."""
        p = self.problem
        out = np.zeros((self.scalars.size, self.paints.size))
        for m, scalar in enumerate(self.scalars):
            nuisance = p.nuisances[scalar]
            if nuisance.kind == "dry volume":
                out[m, self.paints == nuisance.target] = nuisance.spread
        return out

    @cached_property
    def haze_slopes(self) -> Array:
        """Change of haze with each nuisance value of that kind, (N, M)."""
        return self._slopes("haze", self.problem.drawdown[self.rows])

    @cached_property
    def k2_at(self) -> list[int]:
        """Places of nuisance values of kind k2, none or one."""
        kinds = [self.problem.nuisances[i].kind for i in self.scalars]
        return [m for m, kind in enumerate(kinds) if kind == "k2"]

    def mixes(self, nu: Array) -> tuple[Array, Array, Array, Array]:
        """Dry-volume fractions and log thickness of each drawdown, with slopes.

        Parameters
        ----------
        nu : (M,) array
            This block's nuisance values.

        Returns
        -------
        c : (D, A) array
        log_x : (D,) array
        dc : (D, M, A) array
        dlog_x : (D, M) array
        """
        p = self.problem
        w0 = p.fractions[np.ix_(self.drawdowns, self.paints)]
        dw = self.mass_slopes
        w = np.maximum(w0 + np.einsum("dma,m->da", dw, nu), 1e-3 * w0)
        v = p.dry_volume[self.paints] * np.exp(nu @ self.volume_slopes)
        rho = p.inverse_density[self.paints]
        # K and S are stated for the dry volume per gram as first believed, so that a wrong belief
        # cancels wherever thickness follows from what was weighed; it remains in the whole volume.
        stated = p.dry_volume[self.paints]
        total = (w * v).sum(axis=1, keepdims=True)
        c = w * stated / total
        dtotal = (dw * v + (w * v)[:, None, :] * self.volume_slopes[None]).sum(axis=2)
        dc = (dw * stated - c[:, None, :] * dtotal[:, :, None]) / total[:, :, None]
        wet = w @ rho
        counts = p.solids_count[self.drawdowns].astype(float)
        log_x = p.log_thickness[self.drawdowns] + self.thickness_slopes @ nu
        log_x = log_x + counts * np.log(total[:, 0] / wet)
        dlog_x = self.thickness_slopes + counts[:, None] * (
            dtotal / total - (dw @ rho) / wet[:, None]
        )
        return c, log_x, dc, dlog_x

    def predict(self, log_k: Array, log_s: Array, nu: Array) -> tuple[Array, Array, Array, Array]:
        """Readings of the block's patches and their derivatives.

        Parameters
        ----------
        log_k, log_s : (A, W) array
        nu : (M,) array

        Returns
        -------
        measured : (N, W) array
        spectral : (N, A, 2, W) array
            By log K and log S.
        scalar : (N, M, W) array
            By the nuisance values.
        by_bare : (N, W) array
            By the reading of the bare substrate.
        """
        p = self.problem
        k, s = np.exp(log_k), np.exp(log_s)
        c, log_x, dc, dlog_x = self.mixes(nu)
        c_row, dc_row, dlog_row = c[self.at], dc[self.at], dlog_x[self.at]
        slopes = self.two_flux_slopes[self.at]
        bend = np.exp(slopes @ nu)[:, None]
        km, sm = (c_row @ k) * bend, c_row @ s
        x = np.exp(log_x[self.at])[:, None]
        film = p.film[p.drawdown[self.rows]][:, None]
        k1, alpha, k2, sphere, fixed, bare_floor = self.surface_arrays
        k2_at, haze = self.k2_at, self.haze_slopes
        for m in k2_at:
            k2 = k2 + p.nuisances[self.scalars[m]].spread * nu[m]
        tau = fixed * np.where(sphere > 0, 1 - k2, 1.0)
        # Where the bare card is unread a reading has no weight; any substrate keeps it finite.
        bare = np.nan_to_num(p.bare[self.rows]) - bare_floor[:, None]
        inner = tau[:, None] + k2[:, None] * bare
        rg = bare / inner
        if p.model == TRANSPORT:
            # Patches of one drawdown are one film.
            _, first = np.unique(self.at, return_index=True)
            depth = np.where(film, x, OPAQUE)
            made = films(km[first], sm[first], depth[first], sphere[first, None] == 0)
            made = Films(*(numbers[:, self.at] for numbers in made))
            r, dr_k, dr_s, dr_x, dr_rg = over_substrate(made, km, sm, depth, rg)
            seen, slope, lift = r, np.ones((1, 1)), np.ones((1, 1))
        else:
            r, dr_k, dr_s, dr_x, dr_rg = film_derivatives(km, sm, x, rg)
            if not film.all():
                o, o_k, o_s = opaque_derivatives(km, sm)
                r, dr_k, dr_s = (
                    np.where(film, r, o),
                    np.where(film, dr_k, o_k),
                    np.where(film, dr_s, o_s),
                )
                dr_x, dr_rg = np.where(film, dr_x, 0.0), np.where(film, dr_rg, 0.0)
            lift = 1 / (1 - k2[:, None] * r)
            slope = tau[:, None] * lift**2
            seen = tau[:, None] * r * lift
        alpha = alpha + haze @ nu
        measured = (alpha * k1)[:, None] + seen
        spectral = np.empty((self.rows.size, self.paints.size, 2, k.shape[1]))
        spectral[:, :, 0] = (slope * dr_k * bend)[:, None, :] * c_row[:, :, None] * k
        spectral[:, :, 1] = (slope * dr_s)[:, None, :] * c_row[:, :, None] * s
        scalar = (slope * dr_k * km)[:, None, :] * slopes[:, :, None]
        scalar += (slope * dr_k * bend)[:, None, :] * (dc_row @ k) + (slope * dr_s)[:, None, :] * (
            dc_row @ s
        )
        scalar += (slope * dr_x * x)[:, None, :] * dlog_row[:, :, None]
        scalar += (haze * k1[:, None])[:, :, None]
        for m in k2_at:
            dtau = -(fixed * sphere)[:, None]
            d_rg = -bare * (dtau + bare) / inner**2
            by_k2 = dtau * r * lift + tau[:, None] * r**2 * lift**2 + slope * dr_rg * d_rg
            scalar[:, m] += p.nuisances[self.scalars[m]].spread * by_k2
        by_bare = slope * dr_rg * tau[:, None] / inner**2
        return measured, spectral, scalar, by_bare
