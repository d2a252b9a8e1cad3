"""The forward model of patches, with every derivative that a fit needs.

Blocks of one kind are laid side by side and calculated together: a fit's arrays are small, so that
what costs time is how many there are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from ...optics.transport import OPAQUE, TRANSPORT
from ..problem.arrays import Problem
from ..problem.brushed import LEANS
from ..problem.rows import SHAPES, Ints, Nuisance
from .films import by_transport, by_two_fluxes
from .patch_thickness import PatchThickness, patch_thickness

_BY_DRAWDOWN = ("thickness", "two fluxes", "crowding", "haze", "surface", "k2", "uneven")
"""Kinds of nuisance values that move one number of each drawdown they touch."""
_SHAPES = [shape for shape, _ in SHAPES.values()]
_LEANS = [shape for shape, _ in LEANS.values()]
_HALF = {"black": 1.0, "white": -1.0}


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
    def alone(self) -> BlockBatch:
        """The block laid out by itself."""
        return BlockBatch(self.problem, (self,))

    def predict(self, log_k: Array, log_s: Array, nu: Array) -> tuple[Array, Array, Array, Array]:
        """Readings of the block's patches and their derivatives.

        Parameters
        ----------
        log_k, log_s : (A, W) array
        nu : (M,) array
            This block's nuisance values.

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
        seen = self.alone.predict(np.stack([log_k, log_s], axis=1)[None], nu[None])
        scalar = seen.through.transpose(0, 1, 3, 2) @ seen.features
        return seen.measured[0], seen.spectral[0], scalar[0], seen.by_bare[0]


class FittedReadings(NamedTuple):
    """Readings of G blocks' patches, and their derivatives.

    A nuisance value is felt through a few features of its drawdown: the paints' shares, the
    thickness and so on.

    Attributes
    ----------
    measured : (G, N, W) array
    spectral : (G, N, A, 2, W) array
        By log K and log S.
    features : (G, N, Q, W) array
        By each feature.
    through : (G, N, Q, M) array
        Change of each feature with each nuisance value.
    by_bare : (G, N, W) array
        By the reading of the bare substrate.
    """

    measured: Array
    spectral: Array
    features: Array
    through: Array
    by_bare: Array


def _padded(parts: Sequence[Ints], fill: int | None = None) -> Ints:
    """Index arrays side by side; a short one goes on with `fill`, or repeats its last."""
    out = np.empty((len(parts), max(p.size for p in parts)), dtype=np.intp)
    for row, part in zip(out, parts, strict=True):
        row[: part.size] = part
        row[part.size :] = part[-1:] if fill is None else fill
    return out


class BlockBatch:
    """Blocks with as many paints each, laid side by side.

    A block with fewer patches than the largest repeats its last one, which has no say: see `real`.
    Nuisance values that a block lacks move nothing.

    Attributes
    ----------
    problem : Problem
    blocks : sequence of G Block
    rows : (G, N) int array
    real : (G, N) bool array
    paints : (G, A) int array
    scalars : (G, M) int array
        The blocks' own first, then shared ones; -1 where there is none.
    own, own_scalars : int
    """

    def __init__(self, problem: Problem, blocks: Sequence[Block]) -> None:
        self.problem, self.blocks = problem, tuple(blocks)
        self.rows = _padded([b.rows for b in blocks])
        self.real = _padded([b.rows for b in blocks], -1) >= 0
        self.paints = np.stack([b.paints for b in blocks])
        mine = _padded([b.scalars[: b.own_scalars] for b in blocks], -1)
        self.scalars = np.hstack([mine, _padded([b.scalars[b.own_scalars :] for b in blocks], -1)])
        self.own, self.own_scalars = blocks[0].own, mine.shape[1]
        self._drawdowns = _padded([b.drawdowns for b in blocks])
        self._at = np.arange(len(blocks))[:, None], _padded([b.at for b in blocks])
        self._weighed = problem.fractions[self._drawdowns[:, :, None], self.paints[:, None]]
        self._stated = problem.dry_volume[self.paints]
        self._crowding = problem.crowding[self.paints][:, None]
        self._wet = problem.inverse_density[self.paints][..., None]
        self._counts = problem.solids_count[self._drawdowns].astype(float)
        self._log_thickness = problem.log_thickness[self._drawdowns]
        dry = self._weighed * self._stated[:, None]
        self._shares = dry / dry.sum(axis=2, keepdims=True)
        self._lay_out_nuisances()
        self._lay_out_surfaces()

    def _lay_out_nuisances(self) -> None:
        """What each nuisance value moves, and how far at one standard deviation."""
        (n_g, n_m), n_a = self.scalars.shape, self.paints.shape[1]
        n_d = self._drawdowns.shape[1]
        self._mass = np.zeros((n_g, n_d, n_m, n_a))
        self._volume = np.zeros((n_g, n_m, n_a))
        self._moves = {kind: np.zeros((n_g, n_d, n_m)) for kind in _BY_DRAWDOWN}
        self._leans = np.zeros((len(_LEANS), n_g, n_d, n_m))
        self._half, self._own = np.zeros((2, *self.rows.shape, n_m))
        self._beneath: dict[int, Array] = {}
        for g, block in enumerate(self.blocks):
            place = {d: i for i, d in enumerate(block.drawdowns.tolist())}
            for m, scalar in enumerate(self.scalars[g].tolist()):
                if scalar >= 0:
                    self._lay_out_one(g, m, scalar, place)
            last = len(place) - 1
            for moves in (self._mass, *self._moves.values(), *self._leans):
                moves[g, last + 1 :] = moves[g, last]
        self._moves = {kind: moves for kind, moves in self._moves.items() if moves.any()}

    def _lay_out_one(self, g: int, m: int, scalar: int, place: dict[int, int]) -> None:
        """What one nuisance value moves in a block; `place` is that of each drawdown in it."""
        p, block = self.problem, self.blocks[g]
        n = p.nuisances[scalar]
        at = [i for d, i in place.items() if d in n.touched]
        if n.kind == "dry volume":
            self._volume[g, m] = n.spread * (block.paints == n.target)
        elif n.kind == "weighing":
            rows = [n.drawdowns.index(d) for d in place if d in n.touched]
            self._mass[g, at, m] = p.weighing[scalar].of(block.paints)[rows]
        elif n.kind in ("substrate", "own surface"):
            felt = self._own
            if n.kind == "substrate":
                felt = self._beneath.setdefault(n.target, np.zeros_like(self._half))
            on = np.array([n.over in ("", p.patches[row].over) for row in block.rows.tolist()])
            felt[g, : block.rows.size, m] = n.spread * (on & self._touched(block, n))
        elif n.kind == "half":
            sign = [_HALF[p.patches[row].over] for row in block.rows.tolist()]
            self._half[g, : block.rows.size, m] = n.spread * self._touched(block, n) * sign
        elif n.kind == "white's scattering":
            self._leans[n.target, g, at, m] = n.spread
        elif n.kind in self._moves:
            self._moves[n.kind][g, at, m] = n.spread
            if n.kind == "surface":
                mine = int(np.flatnonzero(block.paints == n.target)[0])
                self._moves[n.kind][g, at, m] *= self._shares[g, at, mine]

    def _touched(self, block: Block, n: Nuisance) -> NDArray[np.bool_]:
        """Which of a block's patches are of a drawdown that a nuisance value touches, (N,)."""
        return np.array([d in n.touched for d in block.drawdowns.tolist()])[block.at]

    def _lay_out_surfaces(self) -> None:
        """The surfaces' numbers, (G, N, 1), and the bare card beneath, (G, N, W)."""
        p = self.problem
        surfaces = [p.surfaces[n] for n in self.rows.ravel()]

        def numbers(values: list[float]) -> Array:
            return np.array(values, dtype=float).reshape(*self.rows.shape, 1)

        self._k1 = numbers([s.k1 for s in surfaces])
        self._alpha = numbers([s.alpha for s in surfaces])
        self._k2 = numbers([s.k2 for s in surfaces])
        self._sphere = numbers([s.geometry != "45:0" for s in surfaces])
        # tau, less what k2 is to it.
        fixed = numbers([s.tau for s in surfaces])
        self._fixed = np.where(self._sphere > 0, 1 - self._k1, fixed)
        # The sealed bare card is glossy: of its surface it shows what a sphere shows, or nothing.
        glossy = {s: replace(s, gloss="gloss", haze=0.0) for s in set(surfaces)}
        floor = numbers([glossy[s].alpha * s.k1 for s in surfaces])
        # Where the bare card is unread a reading has no weight; any substrate keeps it finite.
        self._read_bare = np.nan_to_num(p.bare[self.rows])
        self._bare = self._read_bare - floor
        self._known = (self._shares @ p.surface_offset[self.paints][..., None])[self._at]
        self._film = p.film[p.drawdown[self.rows]][..., None]
        brushed = p.brushed[p.drawdown[self.rows]][..., None]
        self._uneven = p.uneven[p.drawdown[self.rows]][..., None]
        # Where nothing was brushed, thickness is alike at all wavelengths.
        self._scatters = brushed * p.white_scatters if brushed.any() else np.zeros(1)

    def mixes(self, nu: Array) -> tuple[Array, Array, Array, Array]:
        """Dry-volume fractions and log thickness of each drawdown, with slopes.

        Parameters
        ----------
        nu : (G, M) array
            The blocks' nuisance values.

        Returns
        -------
        c : (G, D, A) array
        log_x : (G, D) array
        dc : (G, D, M, A) array
        dlog_x : (G, D, M) array
        """
        dw, w0, stated = self._mass, self._weighed, self._stated
        moved = (nu[:, None, None] @ dw)[:, :, 0]
        w = np.maximum(w0 + moved, 1e-3 * w0)
        # K and S are stated for the dry volume per gram as first believed, so that a wrong belief
        # cancels wherever thickness follows from what was weighed; it remains in the whole volume.
        v = stated * np.exp((nu[:, None] @ self._volume)[:, 0])
        each = w * v[:, None]
        total = each.sum(axis=2, keepdims=True)
        c = w * stated[:, None] / total
        dtotal = (dw @ v[:, None, :, None])[..., 0] + each @ self._volume.transpose(0, 2, 1)
        dc = (dw * stated[:, None, None] - c[:, :, None] * dtotal[..., None]) / total[..., None]
        wet = w @ self._wet
        thickness = self._moves.get("thickness", np.zeros_like(dtotal))
        log_x = self._log_thickness + (thickness @ nu[..., None])[..., 0]
        log_x = log_x + self._counts * np.log(total / wet)[..., 0]
        dwet = (dw @ self._wet[:, None])[..., 0]
        dlog_x = thickness + self._counts[..., None] * (dtotal / total - dwet / wet)
        return c, log_x, dc, dlog_x

    def predict(self, theta: Array, nu: Array) -> FittedReadings:
        """Readings of the blocks' patches and their derivatives.

        Parameters
        ----------
        theta : (G, A, 2, W) array
            The blocks' log K and log S.
        nu : (G, M) array
            Their nuisance values.

        Returns
        -------
        FittedReadings
        """
        p = self.problem
        both = np.exp(theta)
        k, s = both[:, :, 0], both[:, :, 1]
        c, log_x, dc, dlog_x = self.mixes(nu)
        shift = {kind: moves @ nu[..., None] for kind, moves in self._moves.items()}
        c_row = c[self._at]
        bend = np.exp(shift["two fluxes"][self._at]) if "two fluxes" in shift else 1.0
        crowding = np.broadcast_to(self._crowding, c_row.shape)
        if "crowding" in shift:
            crowding = crowding * np.exp(shift["crowding"][self._at])
        gain = crowding * (1 - c_row)
        counted = c_row * (1 + gain)
        km, sm = (c_row @ k) * bend, counted @ s
        depth = self._depth(log_x, shift, nu)
        k2 = self._k2 + (shift["k2"][self._at] if "k2" in shift else 0.0)
        tau = self._tau(k2)
        stained = sum((moves @ nu[..., None]) * _SHAPES[j] for j, moves in self._beneath.items())
        bare = self._bare + stained * self._read_bare
        inner = tau + k2 * bare
        rg = bare / inner
        if p.model == TRANSPORT:
            x = np.where(self._film, depth.x, OPAQUE)
            # Patches of one drawdown are one film.
            alone = len(x) == 1 and not self._half.any()
            alike = self._at[0] * self._drawdowns.shape[1] + self._at[1] if alone else None
            r, dr_k, dr_s, dr_x, dr_rg = by_transport(km, sm, x, rg, self._sphere == 0, alike)
            seen, slope = r, np.ones((1, 1, 1))
        else:
            r, dr_k, dr_s, dr_x, dr_rg = by_two_fluxes(km, sm, depth.x, rg, self._film)
            lift = 1 / (1 - k2 * r)
            slope = tau * lift**2
            seen = tau * r * lift
        # What a film's own surface throws back beyond the record's doesn't get in.
        more = self._own @ nu[..., None]
        slope = slope * (1 - more)
        inside = depth.mean(seen)
        by_log_x = slope * dr_x * depth.x
        alpha = self._alpha + (shift["haze"][self._at] if "haze" in shift else 0.0)
        own = self._known + (shift["surface"][self._at] if "surface" in shift else 0.0)
        by_k, by_s = depth.mean(slope * dr_k), depth.mean(slope * dr_s)
        by_bent = by_k * bend
        spectral = np.empty((*self.rows.shape, self.paints.shape[1], 2, k.shape[2]))
        spectral[..., 0, :] = by_bent[:, :, None] * k[:, None]
        spectral[..., 1, :] = by_s[:, :, None] * s[:, None]
        by_share = (1 + gain - crowding * c_row)[..., None] * spectral[..., 1, :]
        features = [*(spectral[..., 0, :] + by_share).transpose(2, 0, 1, 3)]
        spectral *= np.stack([c_row, counted], axis=3)[..., None]
        by_thickness = depth.mean(by_log_x)
        features.append(by_thickness)
        through = [*dc.transpose(3, 0, 1, 2), dlog_x]
        by_kind: dict[str, Callable[[], Array]] = {
            "two fluxes": lambda: by_k * km,
            "crowding": lambda: by_s * ((c_row * gain) @ s),
            "haze": lambda: np.broadcast_to(self._k1 + own, by_k.shape),
            "surface": lambda: np.broadcast_to(alpha, by_k.shape),
            "k2": lambda: depth.mean(self._by_k2(k2, r, bare, slope * dr_rg, 1 - more)),
            "uneven": lambda: depth.by_unevenness(by_log_x),
        }
        features += [made() for kind, made in by_kind.items() if kind in shift]
        through += [self._moves[kind] for kind in by_kind if kind in shift]
        if self._leans.any():
            features += [by_thickness * lean for lean in _LEANS]
            through += [*self._leans]
        by_row = np.stack(through, axis=2)[self._at]
        by_row[:, :, self.paints.shape[1]] += self._half
        if self._own.any():
            features.append(1 - inside)
            by_row = np.concatenate([by_row, self._own[:, :, None]], axis=2)
        by_beneath = depth.mean(slope * dr_rg) * tau / inner**2
        for j, moves in self._beneath.items():
            features.append(by_beneath * _SHAPES[j] * self._read_bare)
            by_row = np.concatenate([by_row, moves[:, :, None]], axis=2)
        return FittedReadings(
            alpha * (self._k1 + own) + more + (1 - more) * inside,
            spectral,
            np.stack(features, axis=2),
            by_row,
            by_beneath * (1 + stained),
        )

    def _by_k2(self, k2: Array, r: Array, bare: Array, by_rg: Array, let_in: Array) -> Array:
        """Slope of what is read by k2: at the film's own surface, and at its substrate's."""
        sphere, tau = self._fixed * self._sphere, self._tau(k2)
        lifted = r / (1 - k2 * r)
        own: Array = (tau * lifted**2 - sphere * lifted) * let_in
        return own - by_rg * bare * (bare - sphere) / (tau + k2 * bare) ** 2

    def _tau(self, k2: Array) -> Array:
        return self._fixed * np.where(self._sphere > 0, 1 - k2, 1.0)

    def _depth(self, log_x: Array, shift: dict[str, Array], nu: Array) -> PatchThickness:
        """Thickness of the patches' films, and how it is spread within each."""
        log = log_x[self._at][..., None] + self._half @ nu[..., None] + self._scatters
        if self._leans.any():
            moved = (self._leans @ nu[None, ..., None])[..., 0]
            log = log + np.einsum("jgn,jw->gnw", moved[:, self._at[0], self._at[1]], _LEANS)
        lean = np.exp(shift["uneven"][self._at]) if "uneven" in shift else 1.0
        return patch_thickness(log, self._uneven * lean)
