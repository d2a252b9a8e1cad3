"""Finds, for a target colour, the best mix of every set of up to N paints.

Sets are solved by size. A mix with a paint at nothing is a mix of fewer, so each size is searched
only within, and then compared with the sets that it holds. All sets of a size are solved at once:
from the nearest colours of a coarse lattice, damped Gauss-Newton steps in the logarithms of the
shares lower CIEDE2000 itself in single precision; the best set of each target goes on in double.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from ...calibrate.optics.colour_difference import chroma_terms, lightness_term, residual_terms
from ...calibrate.optics.spectra import Array
from ..common.stopping import go_on
from .palette import Ints, Palette, lab_slopes, to_lab

Floats = NDArray[Any]
"""Of single precision, where a search is under way."""

BLOCK = 2048
"""Mixes worked on at once by a thread: fewer waste time on each step, more leave the cache."""
WORKERS = os.cpu_count() or 1
STEPS = 40
ARRIVED, FLAT = 2e-3, 1e-3
"""CIEDE2000 below which nothing more is gained, and CIEDE2000 gained by e times a paint's share
below which a mix is at its best."""
_FINELY = 1e-5
"""Of both, what is asked for in double precision."""
UNSEEN = 0.02
"""A paint whose share, times e, moves the colour by less CIEDE2000, and which harms, has left."""
_LATTICE = {2: 24, 3: 12, 4: 8, 5: 8, 6: 8}
"""Parts that a lattice divides a mix into, by the number of paints."""
LITTLE = 0.02
"""Share at which a paint is tried beside the best mix without it."""


@dataclass(frozen=True)
class Solutions:
    """The best mix of every set of paints of one size, for T targets.

    Attributes
    ----------
    tubes : (N, M) array of int
        Rows of the palette in each set.
    shares : (T, N, M) array
        Dry-volume fractions; zero for a paint that only harms.
    difference : (T, N) array
        CIEDE2000 from the target.
    """

    tubes: Ints
    shares: Array
    difference: Array


def search(palette: Palette, targets: Array, most: int = 4) -> list[Solutions]:
    """Find the best mix of every set of one to `most` paints.

    Parameters
    ----------
    targets : (T, 3) array
        CIELAB in the palette's view.

    Returns
    -------
    list of Solutions
        By size, from one paint on.
    """
    targets = np.atleast_2d(np.asarray(targets, dtype=float))
    count = len(palette.paints)
    found: list[Solutions] = []
    with threadpool_limits(1, "blas"), ThreadPoolExecutor(WORKERS) as pool:
        for size in range(1, min(most, count) + 1):
            tubes = sets(count, size)
            fewer = found[-1] if found else None
            counted = _within(palette, tubes, fewer, targets, pool)
            solved = _settled(palette, _judge(palette, tubes, counted, targets, pool), targets)
            found.append(_or_fewer(solved, fewer, palette) if fewer else solved)
    return found


def sets(count: int, size: int) -> Ints:
    """Every set of so many of `count` paints, (N, size)."""
    return np.array(list(combinations(range(count), size)), dtype=np.intp).reshape(-1, size)


def _blocks(n: int, size: int) -> Iterator[slice]:
    for start in range(0, n, size):
        yield slice(start, min(start + size, n))


def _each(pool: ThreadPoolExecutor, work: Callable[[slice], Any], n: int, size: int) -> list[Any]:
    # Each block in this context, where it is told whether to go on.
    begun = [pool.submit(copy_context().run, work, rows) for rows in _blocks(n, size)]
    return [each.result() for each in begun]


def dense(tubes: Ints, shares: Array, count: int) -> Array:
    """Spread shares (N, M) of sets over all paints, (N, count)."""
    out = np.zeros((len(shares), count), dtype=shares.dtype)
    np.put_along_axis(out, tubes, shares, axis=1)
    return out


@lru_cache(maxsize=16)
def lattice(size: int) -> Array:
    """Mixes of `size` paints that lie about evenly in colour, none at nothing, (L, size)."""
    parts = _LATTICE.get(size, size + 3)
    cuts = np.array(list(combinations(range(1, parts), size - 1)), dtype=float)
    edges = np.concatenate(
        [np.zeros((len(cuts), 1)), cuts.reshape(len(cuts), -1), np.full((len(cuts), 1), parts)], 1
    )
    spread = np.diff(edges, axis=1) ** 2
    result: Array = spread / spread.sum(axis=1, keepdims=True)
    return result


def _within(
    palette: Palette,
    tubes: Ints,
    fewer: Solutions | None,
    targets: Array,
    pool: ThreadPoolExecutor,
) -> Array:
    """Best shares, counted in strength, with every paint in the mix, (T, N, M)."""
    size = tubes.shape[1]
    if fewer is None:
        return np.ones((len(targets), len(tubes), 1))
    points = lattice(size)
    colours = _lattice_colours(palette, tubes, points, pool)
    face, left_out = _best_face(tubes, fewer, palette)
    n = len(tubes)
    best, theta = np.empty((len(targets) * n, size)), np.log(points)

    def work(rows: slice) -> None:
        which = np.arange(rows.start, rows.stop)
        t, at = which // n, which % n
        off = np.full(which.size, np.inf)

        def improve(left: Ints, start: Array) -> None:
            shares, e = descend(palette, tubes[at[left]], start, targets[t[left]])
            e = np.where(e < off[left], e, np.inf)
            # Of several starts of one set the best is written last.
            order = np.argsort(-e)
            order = order[np.isfinite(e[order])]
            best[which[left[order]]], off[left[order]] = shares[order], e[order]

        if size > 2:
            counted = fewer.shares[t, face[t, at]] * palette.strength[fewer.tubes[face[t, at]]]
            counted = np.maximum(counted / counted.sum(axis=1, keepdims=True), LITTLE)
            start = np.full((which.size, size), LITTLE)
            kept = np.arange(size - 1) + (np.arange(size - 1) >= left_out[t, at][:, None])
            np.put_along_axis(start, kept, counted, axis=1)
            improve(np.arange(which.size), np.log(start))
        goal = tuple(targets[t, i].astype(np.float32) for i in range(3))
        near = np.array(
            [
                sum(p * p for p in residual_terms(tuple(c[i, at] for c in colours), goal))
                for i in range(len(points))
            ]
        )
        point, left = _starts(near, points)
        wanting = off[left] > ARRIVED
        improve(left[wanting], theta[point[wanting]])

    _each(pool, work, len(best), -(-len(best) // (2 * WORKERS)))
    return best.reshape(len(targets), n, size)


def _starts(near: Array, points: Array) -> tuple[Ints, Ints]:
    """Which lattice points to start from (first) for which mixes (second), of differences (L, N).

    For two paints each point that is nearer than its neighbours, for three the nearest of each
    paint's corner, for more the nearest.
    """
    size = points.shape[1]
    if size == 2:
        padded = np.pad(near, ((1, 1), (0, 0)), constant_values=np.inf)
        point, mix = np.nonzero((near <= padded[:-2]) & (near <= padded[2:]))
        return point, mix
    leads = points.argmax(axis=1) if size == 3 else np.zeros(len(points), dtype=np.intp)
    groups = [np.flatnonzero(leads == lead) for lead in np.unique(leads)]
    point = np.concatenate([group[near[group].argmin(axis=0)] for group in groups])
    return point, np.tile(np.arange(near.shape[1]), len(groups))


def _faces(tubes: Ints, fewer: Solutions, palette: Palette) -> Ints:
    """Rows of `fewer` that lack each paint of each set in turn, (M, N)."""
    size = tubes.shape[1]
    place = np.zeros((len(palette.paints),) * (size - 1), dtype=np.intp)
    place[tuple(fewer.tubes.T)] = np.arange(len(fewer.tubes))
    return np.array([place[tuple(np.delete(tubes, i, axis=1).T)] for i in range(size)])


def _best_face(tubes: Ints, fewer: Solutions, palette: Palette) -> tuple[Ints, Ints]:
    """Row of `fewer` that each set does best with, and which paint it lacks, (T, N) each."""
    faces = _faces(tubes, fewer, palette)
    left_out = fewer.difference[:, faces].argmin(axis=1)
    return faces[left_out, np.arange(len(tubes))], left_out


def _lattice_colours(
    palette: Palette, tubes: Ints, points: Array, pool: ThreadPoolExecutor
) -> list[Floats]:
    """CIELAB of every set at every point, in single precision: three of (L, N)."""
    optics, count = palette.optics[np.float32], len(palette.paints)
    out = [np.empty((len(points), len(tubes)), dtype=np.float32) for _ in range(3)]
    points = points.astype(np.float32)

    def work(rows: slice) -> None:
        here = tubes[rows]
        for i, point in enumerate(points):
            mixed = dense(here, np.broadcast_to(point, here.shape), count)
            for axis, part in enumerate(to_lab(optics.xyz(mixed))):
                out[axis][i, rows] = part

    _each(pool, work, len(tubes), BLOCK)
    return out


def descend(
    palette: Palette,
    tubes: Ints,
    theta: Floats,
    targets: Floats,
    plate: Array | None = None,
    finely: bool = False,
) -> tuple[Floats, Floats]:
    """Lower CIEDE2000 from given logarithms of shares (N, M); return shares and CIEDE2000.

    With a `plate` (P,), counted in strength, the shares are what is added to it, in its unit.
    `finely`: in double precision, to the end.

    As mixes arrive, others take their place, so that as many are worked on at once to the end.
    """
    n, size = tubes.shape
    kind: Any = np.float64 if finely else np.float32
    arrived, flat = (x * (_FINELY if finely else 1.0) for x in (ARRIVED, FLAT))
    theta, targets = theta.astype(kind), targets.astype(kind)
    least: Floats = np.full(n, np.inf, dtype=kind)
    turns, damping = np.zeros(n, dtype=np.intp), np.full(n, 6e-3, dtype=kind)
    live, begun = np.empty(0, dtype=np.intp), 0
    step: Floats = np.empty((0, size), dtype=kind)
    here: Floats = np.empty((3, 0), dtype=kind)
    by: Floats = np.empty((3, 0, size), dtype=kind)
    hoped: Floats = np.empty(0, dtype=kind)
    while live.size or begun < n:
        go_on()
        fresh = np.arange(begun, min(n, begun + BLOCK - live.size))
        begun += fresh.size
        live = np.concatenate([live, fresh])
        trial = theta[live]
        trial[: len(step)] += step
        tried, slopes = _residual(palette, tubes[live], trial, targets[live], plate)
        e = np.sqrt((tried * tried).sum(axis=0))
        before = least[live] ** 2
        better = e < least[live]
        took = live[better]
        least[took], theta[took] = e[better], trial[better]
        kept = np.flatnonzero(~better)
        tried[:, kept], slopes[:, kept] = here[:, kept], by[:, kept]
        # Nielsen's rule: the less of what was hoped for is gained, the shorter the next step.
        gained = np.clip((before - e * e)[: len(hoped)] / hoped, -1, 2)
        change = np.full(len(live), 1 / 6, dtype=kind)
        change[: len(hoped)] = np.clip(1 - (2 * gained - 1) ** 3, 1 / 6, 6)
        damping[live] *= np.where(better, change, kind(6))
        turns[live] += 1
        down = np.einsum("in,inm->nm", tried, slopes) / np.maximum(least[live, None], arrived)
        unseen = np.einsum("inm,inm->nm", slopes, slopes) < UNSEEN**2
        on = (least[live] > arrived) & (np.abs(down).max(axis=1) > flat)
        on &= (damping[live] < 1e5) & (turns[live] < STEPS) & ~(unseen & (down > 0)).any(axis=1)
        live, here, by = live[on], tried[:, on], slopes[:, on]
        step = _step(here, by, damping[live])
        there = here + np.einsum("inm,nm->in", by, step)
        hoped = np.maximum((here * here - there * there).sum(axis=0), 1e-9)
    if plate is None:
        theta = theta - theta.max(axis=1, keepdims=True)
    return np.exp(theta).astype(float), least


def _residual(
    palette: Palette, tubes: Ints, theta: Floats, targets: Floats, plate: Array | None
) -> tuple[Floats, Floats]:
    """CIEDE2000 as a vector (3, N), and its slopes by the logarithms of the shares (3, N, M)."""
    shares = np.exp(theta - theta.max(axis=1, keepdims=True) if plate is None else theta)
    mixed = dense(tubes, shares, len(palette.paints))
    if plate is not None:
        mixed += plate.astype(mixed.dtype)
    kind: Any = shares.dtype.type
    x, slopes = palette.optics[kind].xyz_and_slopes(mixed)
    at = np.arange(len(slopes))[:, None, None], np.arange(3)[:, None], tubes[:, None]
    dx = np.take(slopes, np.ravel_multi_index(at, slopes.shape)) * shares[:, None, :]
    (light, a, b), dlab = to_lab(x), lab_slopes(x, dx)
    (light0, a0, b0), small = targets.T, _SMALL[kind]
    here = np.array([lightness_term(light, light0), *chroma_terms(a, b, a0, b0)])
    by_l = (lightness_term(light + small, light0) - here[0]) / small
    by_a = (np.array(chroma_terms(a + small, b, a0, b0)) - here[1:]) / small
    by_b = (np.array(chroma_terms(a, b + small, a0, b0)) - here[1:]) / small
    turned = np.empty_like(dlab)
    turned[0] = by_l[:, None] * dlab[0]
    turned[1:] = by_a[:, :, None] * dlab[1] + by_b[:, :, None] * dlab[2]
    return here, turned


_SMALL: dict[Any, Any] = {np.float32: np.float32(0.05), np.float64: 1e-5}
"""Step of CIELAB by which CIEDE2000's slopes are taken, by precision."""


def _step(here: Floats, slopes: Floats, damping: Floats) -> Floats:
    """Damped Gauss-Newton steps (N, M): ``-J^T (J J^T + damping)^-1 r``, in closed form."""
    a = [
        [np.einsum("nm,nm->n", slopes[i], slopes[j]).astype(float) for j in range(i + 1)]
        for i in range(3)
    ]
    size = a[0][0] + a[1][1] + a[2][2] + 1e-12
    d = (damping + 1e-6) * size
    xx, yy, zz = a[0][0] + d, a[1][1] + d, a[2][2] + d
    xy, xz, yz = a[1][0], a[2][0], a[2][1]
    c0, c1, c2 = yy * zz - yz * yz, xz * yz - xy * zz, xy * yz - xz * yy
    over = 1 / (xx * c0 + xy * c1 + xz * c2)
    u, v, w = here
    m = [
        (c0 * u + c1 * v + c2 * w) * over,
        (c1 * u + (xx * zz - xz * xz) * v + (xy * xz - xx * yz) * w) * over,
        (c2 * u + (xy * xz - xx * yz) * v + (xx * yy - xy * xy) * w) * over,
    ]
    step = -(slopes[0] * m[0][:, None] + slopes[1] * m[1][:, None] + slopes[2] * m[2][:, None])
    far = np.abs(step).max(axis=1, keepdims=True)
    result: Floats = (step * np.minimum(1, LONGEST / np.maximum(far, 1e-12))).astype(slopes.dtype)
    return result


LONGEST = 1.5
"""Longest step of a logarithm: beyond, the slopes tell nothing."""


def _judge(
    palette: Palette, tubes: Ints, counted: Array, targets: Array, pool: ThreadPoolExecutor
) -> Solutions:
    """Shares by dry volume, and CIEDE2000 in double precision."""
    n, size = tubes.shape
    off = np.empty(len(targets) * n)
    optics, flat = palette.optics[np.float64], counted.reshape(-1, size)

    def work(rows: slice) -> None:
        which = np.arange(rows.start, rows.stop)
        mixed = dense(tubes[which % n], flat[rows], len(palette.paints))
        goal = targets[which // n].T
        parts = residual_terms(to_lab(optics.xyz(mixed)), (goal[0], goal[1], goal[2]))
        off[rows] = np.sqrt(sum(p * p for p in parts))

    _each(pool, work, len(off), BLOCK)
    return Solutions(tubes, palette.to_shares(counted, tubes), off.reshape(len(targets), n))


def _settled(palette: Palette, solved: Solutions, targets: Array) -> Solutions:
    """Go on with the best set of each target in double precision, to the end."""
    t, best = np.arange(len(targets)), solved.difference.argmin(axis=1)
    whole = (solved.shares[t, best] > 0).all(axis=1)
    t, best = t[whole], best[whole]
    tubes = solved.tubes[best]
    counted = solved.shares[t, best] * palette.strength[tubes]
    theta = np.log(counted / counted.max(axis=1, keepdims=True))
    counted, off = descend(palette, tubes, theta, targets[t], finely=True)
    shares, difference = solved.shares.copy(), solved.difference.copy()
    nearer = off < difference[t, best]
    t, best = t[nearer], best[nearer]
    shares[t, best] = palette.to_shares(counted, tubes)[nearer]
    difference[t, best] = off[nearer]
    return Solutions(solved.tubes, shares, difference)


def _or_fewer(solved: Solutions, fewer: Solutions, palette: Palette) -> Solutions:
    """Take the mix of one paint less wherever that is as good."""
    size = solved.tubes.shape[1]
    shares, off = solved.shares.copy(), solved.difference.copy()
    for left_out, row in enumerate(_faces(solved.tubes, fewer, palette)):
        kept = np.delete(np.arange(size), left_out)
        better = fewer.difference[:, row] <= off + ARRIVED
        off = np.where(better, fewer.difference[:, row], off)
        t, at = np.nonzero(better)
        shares[t[:, None], at[:, None], kept] = fewer.shares[t, row[at]]
        shares[t, at, left_out] = 0.0
    return Solutions(solved.tubes, shares, off)
