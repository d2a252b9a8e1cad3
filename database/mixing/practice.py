"""Practice: how a hand that mixes by feel errs, and which exercise would tell most of it.

A hand is given a colour and its tubes, and takes parts by feel. Each part errs by chance, and the
parts of one tube may err alike every time: that is a bias. What the mix came to, or the parts that
were taken, tell how each part erred but for what all of them share, for a heap twice as large is
the same colour.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ...calibrate.optics.spectra import Array
from .palette import Ints, Palette
from .ranking import slopes_by_part

_LIKELY_BIAS = 0.35
"""Logarithm by which a biased part is off, one standard deviation (a guess, no source)."""
_SPREADS = np.array([0.08, 0.12, 0.17, 0.24, 0.34, 0.48])
"""Standard deviations of a part's logarithm that a hand by feel may have, as likely each (a guess,
no source)."""
_TOLD, _SEEN = 0.03, 0.6
"""How exactly parts are told, relative, and a dried colour is known, units of CIELAB."""
_SURE = 20.0
"""How much likelier a bias has to be than none, before it is said. Of hands without one at most
one in so many is accused, however often it is looked at and whatever exercises were chosen
(Ville's inequality for a ratio of likelihoods; from memory)."""
_ONE = 0.75
"""Share of what speaks for any bias that has to speak for this tube's."""
_POOL, _TUBES, _TURNS = 120, 4, 4
"""Exercises that are compared, tubes in one, and steps in which a dried colour is explained."""


@dataclass(frozen=True)
class Round:
    """One mix of a hand.

    Attributes
    ----------
    wanted : (3,) array
        CIELAB.
    asked : mapping of nickname to parts by weight
        The right mix of the tubes that were used.
    given : mapping of nickname to parts by weight, or None
        What the hand says that it took.
    dried : (3,) array or None
        CIELAB that the mix dried to; it tells more than what the hand says.
    """

    wanted: Array
    asked: Mapping[str, float]
    given: Mapping[str, float] | None = None
    dried: Array | None = None


@dataclass(frozen=True)
class Exercise:
    """A colour to mix by feel.

    Attributes
    ----------
    lab : (3,) array
    parts : dict of nickname to share by weight
        The right mix, the greatest first.
    """

    lab: Array
    parts: dict[str, float]


@dataclass(frozen=True)
class Bias:
    """A tube of which a hand always takes too much, or too little.

    Attributes
    ----------
    times : float
        What it takes over what is right.
    band : (low, high)
        That 95 of 100 such hands lie within.
    """

    paint: str
    times: float
    band: tuple[float, float]

    @property
    def words(self) -> str:
        """Say it as the end of a sentence: ``too much, 1.4 times what is right``."""
        how = "too much" if self.times > 1 else "too little"
        low, high = self.band
        return f"{how}: {self.times:.2f} times what is right ({low:.2f} to {high:.2f})"


@dataclass(frozen=True)
class Hand:
    """How a hand errs.

    Attributes
    ----------
    biases : tuple of Bias
        What is sure, the surest first.
    spread : float
        Relative error of a part by chance, one standard deviation.
    """

    biases: tuple[Bias, ...]
    spread: float
    rounds: int


def hand_of(palette: Palette, rounds: Sequence[Round]) -> Hand:
    """Say how a hand errs, of what is sure."""
    evidence, found = _Evidence.of(palette, rounds), list[Bias]()
    named: list[int] = []
    while True:
        for_each = evidence.ratios(tuple(named))
        if for_each.mean() < _SURE or for_each.max() < _ONE * for_each.sum():
            break
        named.append(int(for_each.argmax()))
    if named:
        mean, spread = evidence.biases(tuple(named))
        for n, row in enumerate(named):
            low, high = (float(np.exp(mean[n] + z * spread[n])) for z in (-1.96, 1.96))
            found.append(Bias(palette.paints[row], float(np.exp(mean[n])), (low, high)))
    return Hand(tuple(found), evidence.spread(tuple(named)), len(rounds))


def exercise(palette: Palette, rounds: Sequence[Round], seed: int = 0) -> Exercise:
    """Propose the exercise that tells most of how a hand errs.

    Parameters
    ----------
    rounds : sequence of Round
        What was practised so far.
    seed : int
        Of the mixes that are compared: another one proposes another of the same use.

    Notes
    -----
    Of mixes of up to four tubes the one is taken from which the evidence of a bias is likely to
    grow most: what a round tells of each tube's bias, times what that bias may be, squared, where
    a tube counts the more the likelier it is biased. To narrow what is open of every tube alike
    tells more of hands as a whole, and less of what they always do wrong.
    """
    evidence = _Evidence.of(palette, rounds)
    mixes = _pool(palette, np.random.default_rng([seed, len(rounds), 0x9A]))
    labs = palette.lab(mixes)
    spread = evidence.spread(())
    counts, dried = evidence.counts(spread), evidence.dried
    best, most = 0, -np.inf
    for n, (mix, slopes) in enumerate(zip(mixes, slopes_by_part(palette, mixes), strict=True)):
        rows = np.flatnonzero(mix)
        told = _information(_contrasts(len(rows)), spread, _TOLD)
        seen = _information(slopes[rows].T, spread, _SEEN)
        use = float(counts[rows] @ ((1 - dried) * told + dried * seen))
        if use > most:
            best, most = n, use
    masses = mixes[best] / palette.coefficients.dry_volume
    masses /= masses.sum()
    order = np.argsort(-masses, kind="stable")
    parts = {palette.paints[i]: float(masses[i]) for i in order if masses[i] > 0}
    return Exercise(labs[best], parts)


def _pool(palette: Palette, rng: np.random.Generator) -> Array:
    """Mixes in which every tube can be seen, as dry-volume fractions (N, P)."""
    count = len(palette.paints)
    size = min(_TUBES, count)
    mixes = np.zeros((_POOL, count))
    for mix in mixes:
        rows = rng.choice(count, size, replace=False)
        mix[rows] = rng.dirichlet(np.full(size, 3.0)) / palette.strength[rows]
    result: Array = mixes / mixes.sum(axis=1, keepdims=True)
    return result


def _contrasts(count: int) -> Array:
    """What parts tell of their errors: all but what they share, (N - 1, N), orthonormal."""
    centred = np.eye(count) - 1 / count
    return np.linalg.svd(centred)[2][: count - 1]


def _information(by: Array, spread: float, unsure: float) -> Array:
    """What a round tells of each part's bias alone, (N,): one over the variance.

    Parameters
    ----------
    by : (M, N) array
        What is observed by the logarithms of the parts.
    spread : float
        By chance, of each part.
    unsure : float
        Of each observation.
    """
    noise = spread**2 * by @ by.T + unsure**2 * np.eye(len(by))
    result: Array = np.einsum("mn,mn->n", by, np.linalg.solve(noise, by))
    return result


@dataclass(frozen=True)
class _Observed:
    """What one round says: `seen` = `by` times the errors of the tubes `rows`, and `unsure`."""

    rows: Ints
    by: Array
    seen: Array
    unsure: float


@dataclass(frozen=True)
class _Evidence:
    """All rounds of a hand."""

    count: int
    observed: tuple[_Observed, ...]

    @classmethod
    def of(cls, palette: Palette, rounds: Sequence[Round]) -> _Evidence:
        return cls(len(palette.paints), tuple(_observed(palette, each) for each in rounds))

    @cached_property
    def sums(self) -> tuple[Array, Array, Array]:
        """For each spread: information (S, P, P), score (S, P), and log-likelihood of no bias."""
        count = len(_SPREADS)
        information = np.zeros((count, self.count, self.count))
        score, null = np.zeros((count, self.count)), np.zeros(count)
        for each in self.observed:
            for s, spread in enumerate(_SPREADS):
                noise = spread**2 * each.by @ each.by.T + each.unsure**2 * np.eye(len(each.by))
                weighed = np.linalg.solve(noise, np.column_stack([each.by, each.seen]))
                information[s][np.ix_(each.rows, each.rows)] += each.by.T @ weighed[:, :-1]
                score[s, each.rows] += each.by.T @ weighed[:, -1]
                null[s] -= 0.5 * (each.seen @ weighed[:, -1] + np.linalg.slogdet(noise)[1])
        return information, score, null

    def _likelihoods(self, tubes: Sequence[int]) -> Array:
        """Log-likelihood of a bias of these tubes, whatever its size, for each spread, (S,)."""
        information, score, null = self.sums
        rows = list(tubes)
        if not rows:
            return null
        open_ = information[:, rows][:, :, rows] + np.eye(len(rows)) / _LIKELY_BIAS**2
        best = np.linalg.solve(open_, score[:, rows, None])[..., 0]
        wide = np.linalg.slogdet(open_ * _LIKELY_BIAS**2)[1]
        result: Array = null + 0.5 * ((best * score[:, rows]).sum(axis=1) - wide)
        return result

    def ratios(self, named: tuple[int, ...]) -> Array:
        """How much likelier each tube's bias beside the named ones makes what was seen, (P,)."""
        without = np.logaddexp.reduce(self._likelihoods(named))
        found = np.zeros(self.count)
        for tube in range(self.count):
            if tube not in named:
                with_it = np.logaddexp.reduce(self._likelihoods((*named, tube)))
                found[tube] = np.exp(min(with_it - without, 700.0))
        return found

    def spread(self, named: tuple[int, ...]) -> float:
        """Relative error by chance, the mean of what it may be."""
        likely = self._likelihoods(named)
        shares = np.exp(likely - np.logaddexp.reduce(likely))
        return float(np.exp(shares @ np.log(_SPREADS)))

    def biases(self, named: tuple[int, ...]) -> tuple[Array, Array]:
        """Logarithms of biases and their standard uncertainty, (N,) each."""
        information, score, _ = self.sums
        rows, s = list(named), int(self._likelihoods(named).argmax())
        open_ = information[s][np.ix_(rows, rows)] + np.eye(len(rows)) / _LIKELY_BIAS**2
        covariance = np.linalg.inv(open_)
        return covariance @ score[s, rows], np.sqrt(np.diag(covariance))

    def counts(self, spread: float) -> Array:
        """What each tube's bias counts for in the choice of an exercise, (P,).

        Half its likely square is by how much the logarithm of its ratio grows with each unit of
        information; and a tube counts the more the likelier it is biased.
        """
        s = int(np.abs(np.log(_SPREADS / spread)).argmin())
        known = np.diag(self.sums[0][s]) + 1 / _LIKELY_BIAS**2
        square = (self.sums[1][s] / known) ** 2 + 1 / known
        result: Array = self.ratios(()) * square
        return result

    @property
    def dried(self) -> float:
        """Share of rounds that told a dried colour: so will the next; one half before any."""
        return float(np.mean([0.5, *(each.unsure == _SEEN for each in self.observed)]))


def _observed(palette: Palette, each: Round) -> _Observed:
    """What a round says of the errors of its parts."""
    names = [p for p in each.asked if p in palette.paints and each.asked[p] > 0]
    rows = np.array([palette.paints.index(p) for p in names], dtype=np.intp)
    right = np.array([each.asked[p] for p in names])
    if each.dried is None:
        assert each.given is not None, "a round tells parts, or what they dried to"
        least = 1e-3 * right
        taken = np.maximum([each.given.get(p, 0.0) for p in names], least)
        by = _contrasts(len(rows))
        return _Observed(rows, by, by @ np.log(taken / right), _TOLD)
    dry = right * palette.coefficients.dry_volume[rows]
    # Steps toward the errors by which the mix came to that colour, the likeliest of them.
    error = np.zeros(len(rows))
    for _ in range(_TURNS):
        mix = np.zeros((1, len(palette.paints)))
        mix[0, rows] = dry * np.exp(error)
        mix /= mix.sum()
        by = slopes_by_part(palette, mix)[0][rows].T
        seen = by @ error + (each.dried - palette.lab(mix)[0])
        noise = 0.09 * by @ by.T + _SEEN**2 * np.eye(3)
        error = np.clip(0.09 * by.T @ np.linalg.solve(noise, seen), -1.5, 1.5)
    return _Observed(rows, by, seen, _SEEN)
