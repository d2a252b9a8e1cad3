"""Whether the gain moved slowly or at once, and where.

A lamp drifts; a bumped or stained port jumps. The whole course of a session's gain is judged, with
a jump at each place and without one: what the tiles say of it, and what readings of one patch on
both sides of a place do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from .joint import Estimate
from .visits import Visits

SLOW = 0.005
"""Relative change of a gain in an hour that is usual (common practice, no source)."""
_WARMING = (0.0005, 0.002, 0.008)
"""By as much it may move besides in a session however short, while a lamp warms up."""
_CURVED = 2.0
"""How far from a straight line: at 2 a change bows by 0.3 of itself, standard deviation."""
_ANY = 0.05
"""Of a gain after a calibration, and of a patch's level, before they are read."""
_JUMP = 0.02
"""Relative size of jumps, standard deviation."""
_ODDS = 0.05
"""That a session has a jump, and that one which has has another, before any reading."""
_MOST = 3
_SCATTER = 0.0003
"""Relative scatter of a level that is the least, whatever its repeats say."""
_TOLD = 0.004
"""Relative; a smaller change is undone and not worth a word."""
_SURE = 0.95
_OTHER = 0.05
"""Relative change from which a patch read again is another place, and tells nothing."""


@dataclass(frozen=True)
class Jump:
    """A gain that moved at once.

    Attributes
    ----------
    size, uncertainty : float
        Relative.
    first, last : int
        It came after reading `first` and not after reading `last`, of the session's readings in the
        order of time, with 95 % probability; -1 stands for the tiles before the first.
    likely : float
        Probability that it was a jump and not slow.
    """

    size: float
    uncertainty: float
    first: int
    last: int
    likely: float


@dataclass(frozen=True)
class Moved:
    """How the gain went beside a straight line between readings of tiles.

    Attributes
    ----------
    log : (N,) array
        Of the gain of each reading, beside the line.
    variance : (N,) array
    jumps : tuple of Jump
    """

    log: Array
    variance: Array
    jumps: tuple[Jump, ...]


def moved(
    found: Estimate,
    when: Visits,
    at: Array,
    labels: Sequence[str],
    values: Array,
    again: Sequence[tuple[str, float, Array]] = (),
    reading_s: float | None = None,
) -> Moved:
    """Find how the gain went between readings of tiles.

    Parameters
    ----------
    found : Estimate
    when : Visits
    at : (N,) array
        Times of the readings.
    labels : sequence of N str
        Their patches; repeats of one tell on which side of a jump they are.
    values : (N, W) array
        Readings, zero taken off.
    again : sequence of (label, time, (W,) array)
        Further readings of patches, likewise, which tell of the gain alone.
    reading_s : float, optional
        Seconds a reading takes where times are places in a file.

    Returns
    -------
    Moved
    """
    drift = found.of("drift")
    if not drift.any():
        return Moved(np.zeros(at.size), np.zeros(at.size), ())
    every_at = np.concatenate([at, [one[1] for one in again]])
    levels = _Levels([*labels, *(one[0] for one in again)], every_at,
                     np.concatenate([values, *(one[2][None] for one in again)]))  # fmt: skip
    square = found.square[found.model.at["drift"], found.model.at["drift"]]
    course = _Course(when, every_at, (reading_s or 1.0) / 3600)
    course.tell(drift, square, levels)
    beside = np.zeros((at.size, course.times.size))
    beside[:, : drift.size] = -when.shares(at)
    beside[np.arange(at.size), drift.size + np.arange(at.size)] = 1.0
    jumps: list[Jump] = []
    log, variance, likely = course.judged(beside)
    while likely > 0.5 and len(jumps) < _MOST:
        jump = course.take_in(at)
        if abs(jump.size) > _TOLD:
            jumps.append(jump)
        log, variance, likely = course.judged(beside)
    return Moved(log, variance, tuple(jumps))


class _Levels:
    """How bright patches were that were read several times.

    Attributes
    ----------
    rows : (P,) int array
        Which readings.
    log : (P,) array
        Their levels.
    doubt : (P, P) array
        Mean square error; what a patch's own level is isn't known.
    """

    def __init__(self, labels: Sequence[str], at: Array, values: Array) -> None:
        rows, log, group, scatter = [], [], [], [np.zeros(0)]
        names, order = np.array(labels, dtype=object), np.argsort(np.argsort(at, kind="stable"))
        for label in dict.fromkeys(labels):
            mine = np.flatnonzero(names == label)
            mine = mine[np.argsort(at[mine], kind="stable")]
            whole = ~np.isnan(values[mine]).any(axis=0)
            if mine.size < 2 or not whole.any():
                continue
            mean = values[mine][:, whole].mean(axis=0)
            level = values[mine][:, whole] @ mean / (mean @ mean)
            if (level > 0).all() and np.ptp(level) < _OTHER:
                rows.append(mine)
                log.append(np.log(level))
                group.append(np.full(mine.size, len(rows)))
                steps = np.abs(np.diff(np.log(level)))
                scatter.append(steps[np.diff(order[mine]) == 1])
        steps = np.concatenate(scatter)
        # The median: one jump among them doesn't count.
        usual = float(np.median(steps)) / 0.6745 / np.sqrt(2) if steps.size else 0.0
        self.rows: NDArray[np.intp] = np.concatenate([np.zeros(0, int), *rows])
        self.log = np.concatenate([np.zeros(0), *log])
        of = np.concatenate([np.zeros(0, int), *group])
        self.doubt = _ANY**2 * (of[:, None] == of) + max(usual, _SCATTER) ** 2 * np.eye(of.size)


class _Course:
    """The log of the gain at the moments of tiles and at readings of patches.

    It is a Gaussian process: between two calibrations a straight line, an integrated random walk
    from end to end beside it (Wahba 1978, Journal of the Royal Statistical Society B 40, 364-372;
    from memory), of as many sizes as are tried, and a step. So how likely each place of a jump is
    follows in closed form.

    Attributes
    ----------
    times : (M,) array
        Of the moments, then of the readings.
    """

    def __init__(self, when: Visits, at: Array, hours: float) -> None:
        self.times = t = np.concatenate([when.at, at])
        piece = np.concatenate([when.piece, when.piece_of(at)])
        same = piece[:, None] == piece
        start, long = (np.array([of(t[piece == p]) for p in piece]) for of in (np.min, np.ptp))
        u = (t - start) / np.where(long > 0, long, 1.0)
        shape = u[:, None] * u + _CURVED**2 * _bowed(u)
        usual = SLOW * hours * long
        self._prior = [same * (_ANY**2 + np.outer(usual + w, usual + w) * shape) for w in _WARMING]
        # A jump before each but the first; within a visit to the tiles none is looked for.
        joined = np.concatenate([when.joined, np.zeros(at.size, bool)])
        order = np.lexsort((np.arange(t.size), t, piece))
        first = np.diff(piece[order], prepend=-1) != 0
        self._before = [i for i, new in zip(order, first, strict=True) if not (new or joined[i])]
        self._steps = np.array(
            [same[i] & (t >= t[i]) for i in self._before], float
        ).reshape(-1, t.size)  # fmt: skip

    def tell(self, drift: Array, square: Array, levels: _Levels) -> None:
        """Take in the gain at the moments, (V,), its mean square error, and patches' levels."""
        self._of = np.concatenate([np.arange(drift.size), drift.size + levels.rows])
        self._told = np.concatenate([drift, levels.log])
        self._noise = np.zeros((self._told.size,) * 2)
        self._noise[: drift.size, : drift.size] = square + _SCATTER**2 * np.eye(drift.size)
        self._noise[drift.size :, drift.size :] = levels.doubt

    def judged(self, beside: Array) -> tuple[Array, Array, float]:
        """Judge all places of a jump.

        Parameters
        ----------
        beside : (N, M) array
            What is asked for: sums of the gain at times.

        Returns
        -------
        mean, variance : (N,) arrays
            Of what is asked for, over all places, and with none.
        likely : float
            Probability that there is a jump.
        """
        from scipy.linalg import cho_solve, cholesky

        log, means, variances, sizes = [], [], [], []
        places = len(self._steps)
        odds = np.log([1 - _ODDS, *[_ODDS / max(places, 1)] * places])
        steps = np.vstack([np.zeros(self.times.size), self._steps])
        for prior in self._prior:
            root = cholesky(prior[np.ix_(self._of, self._of)] + self._noise, lower=True)
            asked = beside @ prior
            solved = cho_solve((root, True), np.column_stack([self._told, steps[:, self._of].T]))
            told, by_step = solved[:, 0], solved[:, 1:]
            precision = 1 / _JUMP**2 + np.einsum("kp,pk->k", steps[:, self._of], by_step)
            size = steps[:, self._of] @ told / precision
            log.append(
                odds - 0.5 * self._told @ told - np.log(np.diag(root)).sum()
                + 0.5 * size**2 * precision - 0.5 * np.log(_JUMP**2 * precision)
            )  # fmt: skip
            moves = steps @ beside.T - (asked[:, self._of] @ by_step).T
            means.append(asked[:, self._of] @ told + size[:, None] * moves)
            within = cho_solve((root, True), asked[:, self._of].T)
            spread = np.sum(asked * beside, axis=1) - np.sum(asked[:, self._of] * within.T, axis=1)
            variances.append(spread + moves**2 / precision[:, None])
            sizes.append(np.stack([size, precision**-0.5], axis=1))
        share = np.exp(np.array(log) - np.max(log))
        share /= share.sum()
        each = np.array(means)
        mean = np.einsum("sk,skn->n", share, each)
        variance = np.einsum("sk,skn->n", share, np.array(variances) + (each - mean) ** 2)
        self._places, self._sizes = share[:, 1:], np.array(sizes)[:, 1:]
        return mean, np.maximum(variance, 0.0), float(self._places.sum())

    def take_in(self, at: Array) -> Jump:
        """Take the jump that was found for given, and say where it is among the readings, (N,)."""
        likely = float(self._places.sum())
        scale, best = np.unravel_index(int(self._places.argmax()), self._places.shape)
        size, unsure = self._sizes[scale, best]
        where = self._places.sum(axis=0) / likely
        step = _JUMP**2 * self._steps.T * where @ self._steps
        self._prior = [prior + step for prior in self._prior]
        order = np.argsort(-where, kind="stable")
        kept = order[: int(np.searchsorted(np.cumsum(where[order]), _SURE)) + 1]
        moments = self.times[[self._before[k] for k in kept]]
        before, after = np.flatnonzero(at < moments.min()), np.flatnonzero(at >= moments.max())
        return Jump(
            float(size), float(unsure),
            int(before[at[before].argmax()]) if before.size else -1,
            int(after[at[after].argmin()]) if after.size else at.size,
            likely,
        )  # fmt: skip


def _bowed(u: Array) -> Array:
    """Covariance of an integrated random walk that is 0 at 0 and at 1, (M, M)."""
    low, high = np.minimum(u[:, None], u), np.maximum(u[:, None], u)
    walk, to_end = low**2 * (3 * high - low) / 6, u**2 * (3 - u) / 6
    found: Array = walk - u[:, None] * to_end - to_end[:, None] * u + u[:, None] * u / 3
    return found
