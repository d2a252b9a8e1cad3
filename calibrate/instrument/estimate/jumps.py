"""Whether the gain moved slowly or at once between two readings of tiles, and where.

A lamp drifts; a bumped or stained port jumps. What tiles read before and after can't tell one from
the other, but their size over the time can, and readings of one patch on both sides of a jump can.
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
_STILL = 0.0005
"""That is usual however short the time."""
_JUMP = 0.02
"""Relative size of jumps, standard deviation."""
_ODDS = 0.05
"""Of a jump between two readings of tiles, before any."""
_SCATTER = 0.0003
"""Relative scatter of a patch's level that is the least, whatever its repeats say."""
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
    hours = (reading_s or 1.0) / 3600
    log, variance, jumps = np.zeros(at.size), np.zeros(at.size), []
    drift = found.of("drift")
    if not drift.any():
        return Moved(log, variance, ())
    every_at = np.concatenate([at, [one[1] for one in again]])
    pairs = _Pairs([*labels, *(one[0] for one in again)], every_at,
                   np.concatenate([values, *(one[2][None] for one in again)]))  # fmt: skip
    line = when.shares(every_at) @ drift
    before, after = when.between(every_at)
    square = found.square[found.model.at["drift"], found.model.at["drift"]]
    for v, w in sorted({(int(a), int(b)) for a, b in zip(before, after, strict=True) if a != b}):
        rows = np.flatnonzero((before == v) & (after == w))
        rows = rows[np.argsort(every_at[rows], kind="stable")]
        change = float(drift[w] - drift[v])
        unsure = float(square[v, v] + square[w, w] - 2 * square[v, w])
        slow = SLOW * hours * float(when.at[w] - when.at[v]) + _STILL
        jump = change * _JUMP**2 / (_JUMP**2 + slow**2)
        inside = np.interp(every_at[rows], when.at[[v, w]], [0.0, 1.0])
        # Row 0: slowly; row k: at once, before reading k - 1 of these.
        steps = np.triu(np.ones((rows.size + 1, rows.size)))
        beside = np.vstack([np.zeros(rows.size), jump * (steps - inside)])
        weight = np.concatenate([
            [np.log(1 - _ODDS) + _normal(change, slow**2 + unsure)],
            np.full(rows.size + 1, np.log(_ODDS / (rows.size + 1)) + _normal(
                change, _JUMP**2 + slow**2 + unsure)),
        ])  # fmt: skip
        for k, tried in enumerate(beside):
            gain = line.copy()
            gain[rows] += tried
            weight[k] += pairs.likelihood(gain)
        share = np.exp(weight - weight.max())
        share /= share.sum()
        mean = share @ beside
        own = rows < at.size
        log[rows[own]] = mean[own]
        variance[rows[own]] = (share @ (beside - mean) ** 2)[own]
        if 1 - share[0] > 0.5 and abs(jump) > _TOLD:
            jumps.append(_placed(share, rows, at.size, jump, float(np.sqrt(unsure))))
    return Moved(log, variance, tuple(jumps))


def _normal(value: float, variance: float) -> float:
    return -0.5 * (value**2 / variance + float(np.log(variance)))


def _placed(share: Array, rows: NDArray[np.intp], own: int, size: float, unsure: float) -> Jump:
    where = share[1:] / share[1:].sum()
    order = np.argsort(-where, kind="stable")
    kept = order[: int(np.searchsorted(np.cumsum(where[order]), _SURE)) + 1]
    mine = np.where(rows < own, rows, -1)
    first = mine[kept.min() - 1] if kept.min() > 0 else -1
    last = mine[kept.max()] if kept.max() < rows.size else own
    return Jump(size, unsure, int(first), int(last), float(1 - share[0]))


class _Pairs:
    """Readings of the same patch, by their levels."""

    def __init__(self, labels: Sequence[str], at: Array, values: Array) -> None:
        self._groups = []
        scatter = [np.zeros(0)]
        names = np.array(labels, dtype=object)
        for label in dict.fromkeys(labels):
            rows = np.flatnonzero(names == label)
            rows = rows[np.argsort(at[rows], kind="stable")]
            whole = ~np.isnan(values[rows]).any(axis=0)
            if rows.size < 2 or not whole.any():
                continue
            mean = values[rows][:, whole].mean(axis=0)
            level = values[rows][:, whole] @ mean / (mean @ mean)
            if (level > 0).all() and np.ptp(level) < _OTHER:
                self._groups.append((rows, np.log(level)))
                scatter.append(np.abs(np.diff(np.log(level))))
        steps = np.concatenate(scatter)
        # The median: one jump among them doesn't count.
        usual = float(np.median(steps)) / 0.6745 / np.sqrt(2) if steps.size else 0.0
        self._variance = max(usual, _SCATTER) ** 2

    def likelihood(self, gain: Array) -> float:
        """Log likelihood of the repeats if their gains were these."""
        total = 0.0
        for rows, level in self._groups:
            left = level - gain[rows]
            total += float(((left - left.mean()) ** 2).sum())
        return -0.5 * total / self._variance
