"""Which faults the readings insist on, and how likely every other answer is beside the best.

Each answer, a choice of widths, is judged by its evidence: the likelihood of the readings with all
values integrated out (MacKay 1992, Neural Computation 4, 415-447; from memory), to first order
about the best answer so far. So a fault that explains little is left out although some value of it
always fits a little better.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...optics.spectra import Array
from .model import Model
from .priors import ODDS, OFF, OFF_ODDS, Priors

Choice = Mapping[str, int]
"""For each fault, and for each tile as ``off T``, which of its widths."""
_LEAST = 1e-3
"""Share of the best answer's likelihood below which another isn't taken into account."""
_ROUNDS = 60
_BETTER = 1e-6
"""Of evidence: less is rounding."""


@dataclass(frozen=True)
class Answer:
    """One choice of widths, and what follows from it.

    Attributes
    ----------
    choice : mapping
    evidence : float
        Log, up to a constant, with the odds of the choice.
    at : (A,) int array
        Places of the values that it leaves open.
    mean : (A,) array
    covariance : (A, A) array
    """

    choice: Choice
    evidence: float
    at: NDArray[np.intp]
    mean: Array
    covariance: Array


class Evidence:
    """The readings about one state of the faults.

    Parameters
    ----------
    model : Model
    priors : Priors
    normal : (P, P) array
        Derivatives of all readings, squared, over the noise.
    pull : (P,) array
        Derivatives times what the readings leave over, over the noise.
    """

    def __init__(self, model: Model, priors: Priors, normal: Array, pull: Array) -> None:
        from scipy.linalg import cho_factor, cho_solve

        self._model, self._priors = model, priors
        at, precision = priors.precision(model)
        self._rest, self._normal, self._pull = at, normal, pull
        self._prior = precision
        self._own = cho_factor(normal[np.ix_(at, at)] + precision)
        main = np.arange(model.at["tile_scale"].stop)
        across = normal[np.ix_(at, main)]
        taken = cho_solve(self._own, np.column_stack([across, pull[at]]))
        self._squared = normal[np.ix_(main, main)] - across.T @ taken[:, :-1]
        self._pulled = pull[main] - across.T @ taken[:, -1]

    def answer(self, choice: Choice) -> Answer:
        """What follows from a choice."""
        from scipy.linalg import cho_solve, cholesky

        at, widths, odds = self._open(choice)
        scaled = np.eye(at.size) + widths[:, None] * self._squared[np.ix_(at, at)] * widths
        root = cholesky(scaled, lower=True)
        pulled = widths * self._pulled[at]
        mean = cho_solve((root, True), pulled)
        evidence = 0.5 * float(pulled @ mean) - float(np.log(np.diag(root)).sum()) + odds
        inverse = cho_solve((root, True), np.eye(at.size))
        return Answer(choice, evidence, at, widths * mean, widths[:, None] * inverse * widths)

    def whole(self, answer: Answer) -> Array:
        """All values of an answer, tiles' own errors too, (P,)."""
        from scipy.linalg import cho_solve

        theta = np.zeros(self._model.size)
        theta[answer.at] = answer.mean
        left = self._pull[self._rest] - self._normal[self._rest] @ theta
        theta[self._rest] = cho_solve(self._own, left)
        return theta

    def best(self, start: Choice) -> Answer:
        """The likeliest answer that changes of one or two places come to."""
        found = self.answer(start)
        for _ in range(_ROUNDS):
            for others in (self.beside, self._exchanged):
                tried = max(
                    map(self.answer, others(found.choice)), key=lambda a: a.evidence, default=found
                )
                if tried.evidence > found.evidence + _BETTER:
                    break
            else:
                break
            found = tried
        return found

    def _exchanged(self, choice: Choice) -> Iterator[Choice]:
        """Choices in which one that is there makes way for another."""
        for there in [name for name, i in choice.items() if i]:
            rest = {**choice, there: 0}
            for other in self.beside(rest):
                if other[there] == 0:
                    yield other

    def beside(self, choice: Choice, tiles: bool = True) -> Iterator[Choice]:
        """Choices that differ in one place; with `tiles`, also in what is held of a tile."""
        for name, widths in self._priors.may.items():
            for i in range(len(widths)):
                if i != choice[name]:
                    yield {**choice, name: i}
        for name in choice if tiles else ():
            if name.startswith("off "):
                yield {**choice, name: 1 - choice[name]}

    def spent(self, choice: Choice) -> float:
        """How many values the readings settle, at a choice."""
        at, widths, _ = self._open(choice)
        every = np.concatenate([at, self._rest])
        precision = np.zeros((every.size, every.size))
        precision[: at.size, : at.size] = np.diag(1 / widths**2)
        precision[at.size :, at.size :] = self._prior
        normal = self._normal[np.ix_(every, every)]
        return float(np.trace(np.linalg.solve(normal + precision, normal)))

    def doubt(self, best: Answer) -> Array:
        """Mean square of all faults about the best answer's, (F, F): its own, and the others'."""
        answers = [best, *map(self.answer, self.beside(best.choice, tiles=False))]
        share = np.exp(np.array([a.evidence for a in answers]) - best.evidence)
        centre, total = np.zeros(self._model.at["tile_scale"].stop), 0.0
        centre[best.at] = best.mean
        square = np.zeros((centre.size, centre.size))
        for each, weight in zip(answers, share, strict=True):
            if weight < _LEAST:
                continue
            off = -centre
            off[each.at] += each.mean
            square += weight * np.outer(off, off)
            square[np.ix_(each.at, each.at)] += weight * each.covariance
            total += weight
        faults = self._model.faults
        found: Array = square[faults, faults] / total
        return found

    def otherwise(self, best: Answer) -> dict[str, tuple[float, float]]:
        """First value, and its uncertainty, of each fault that isn't there, as if it were."""
        found = {}
        for name, widths in self._priors.may.items():
            if len(widths) > 1 and not best.choice[name]:
                tried = self.answer({**best.choice, name: len(widths) - 1})
                i = int(np.flatnonzero(tried.at == self._model.at[name].stop - 1)[0])
                if name == "bend":
                    i -= 1
                found[name] = float(tried.mean[i]), float(np.sqrt(tried.covariance[i, i]))
        return found

    def _open(self, choice: Choice) -> tuple[NDArray[np.intp], Array, float]:
        at, widths, odds = [], [], 0.0
        for name, options in self._priors.may.items():
            width = options[choice[name]]
            if width:
                place = self._model.at[name]
                at.append(np.arange(place.start, place.stop))
                widths.append(self._priors.widths(self._model, name, width))
            if choice[name]:
                odds += ODDS
        scales = self._priors.tile_scales()
        for t in range(scales.size):
            if choice.get(f"off {t}"):
                scales[t] = OFF
                odds += OFF_ODDS
        place = self._model.at["tile_scale"]
        at.append(np.arange(place.start, place.stop))
        return np.concatenate(at), np.concatenate([*widths, scales]), odds
