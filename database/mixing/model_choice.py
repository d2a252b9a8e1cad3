"""Which model a studio mixes by: the one that predicted its check mixtures nearer, or both.

Where no mixture was tried by both, the steps of its ladders tell, each predicted by all the others:
in the virtual paint lab, and in worlds between it and two fluxes, they rank the models as held-out
mixtures do nine times in ten, and are wrong where the models are nearly as good (``make bench
NAME=transport.choice``).

Where neither was clearly nearer, a mix is the mean of what both predict, weighted by how likely
each is to be the nearer: their errors differ, and cancel in part.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...calibrate.errors import InputError
from ...calibrate.fit.uncertainty.check import MOST_SCAN_ERROR
from ...calibrate.optics.coefficients import TWO_FLUX
from ...calibrate.optics.transport import TRANSPORT
from ..common.remedies import StudioDo
from ..common.words import few
from .medium import MEDIUM

WORDS = {TWO_FLUX: "the two-flux model", TRANSPORT: "the radiative-transfer model"}
SYMBOLS = {TWO_FLUX: ("K", "S"), TRANSPORT: ("mu_a", "mu_s'")}
"""What each calls its absorption and its scattering, in plain letters."""
LETTERS = {TWO_FLUX: ("K", "S"), TRANSPORT: ("μₐ", "μₛ′")}
"""The same for pictures."""


LEAST_SHARE = 0.1
"""What the less likely model must count for to count at all (our choice)."""
_LEAST_OFF = 0.1
"""CIEDE2000: differences are taken to be no smaller on average, for a hand mixes no nearer."""


@dataclass(frozen=True)
class Trial:
    """How far off each model was where every one was tried.

    Attributes
    ----------
    off : mapping of model to float
        Mean CIEDE2000; empty where fewer than two models were tried on the same.
    by_steps : bool
        Whether that is of steps of ladders, each predicted by all the others.
    by_scans : bool
        Whether `off` is what each one's fits of the same scans cost instead.
    likely : float or None
        Probability that transport predicts others nearer too; None: as sure as what it was tried
        on says.
    """

    off: Mapping[str, float]
    by_steps: bool = False
    by_scans: bool = False
    likely: float | None = None

    @property
    def nearer(self) -> str:
        """The model that came nearer; transport where none was tried."""
        if not self.off:
            return TRANSPORT
        return TWO_FLUX if self.off[TWO_FLUX] < self.off[TRANSPORT] else TRANSPORT

    @property
    def shares(self) -> dict[str, float]:
        """What each model counts for in a prediction, the nearer one first."""
        if self.likely is None or min(self.likely, 1 - self.likely) < LEAST_SHARE:
            return {self.nearer: 1.0}
        found = {TRANSPORT: self.likely, TWO_FLUX: 1 - self.likely}
        return dict(sorted(found.items(), key=lambda each: -each[1]))


def trial_of(
    mixtures: Mapping[str, Mapping[Hashable, float]],
    steps: Mapping[str, Mapping[Hashable, float]],
    unsure: Mapping[Hashable, float] | None = None,
    costs: Mapping[str, float] | None = None,
) -> Trial:
    """Weigh the models by what each was tried on.

    Parameters
    ----------
    mixtures : mapping of model to a mapping of patch to CIEDE2000
        Of check mixtures.
    steps : mapping of model to a mapping of paint to CIEDE2000
        The median of its steps as all its others predict them. They count where no mixture does.
    unsure : mapping of patch to CIEDE2000, optional
        The scan's own error, of check mixtures that were scanned: these count where none was
        measured, and where the models lie further apart than that.
    costs : mapping of model to float, optional
        What the fits of scans cost, squares of standard deviations, both allowed the same errors.
        They count where nothing else tells: half the difference is that of log likelihoods.
    """
    both, unsure = _shared(mixtures), unsure or {}
    both = both - unsure.keys() or {at for at in both if unsure[at] <= MOST_SCAN_ERROR}
    if both:
        found = _tried(mixtures, both, by_steps=False)
        own = float(np.sqrt(np.mean([unsure.get(at, 0.0) ** 2 for at in both])))
        if max(found.off.values()) - min(found.off.values()) >= own:
            return found
    both = _shared(steps)
    if both:
        return _tried(steps, both, by_steps=True)
    if costs and {TWO_FLUX, TRANSPORT} <= costs.keys():
        return Trial(dict(costs), False, True, _logistic((costs[TWO_FLUX] - costs[TRANSPORT]) / 2))
    return Trial({})


def _logistic(odds: float) -> float:
    return float(1 / (1 + np.exp(-np.clip(odds, -500, 500))))


def costs_of(fits: Iterable[tuple[str, Mapping[str, Any]]]) -> dict[str, float]:
    """What each model's fits of the same scans cost; empty where not every one was fitted to any.

    Parameters
    ----------
    fits : iterable of (model, inputs)
        Different ones; inputs as they are kept with a fit.
    """
    found: dict[str, dict[Hashable, float]] = {}
    for model, inputs in fits:
        cost = (inputs.get("by_scan") or {}).get("cost")
        if cost is not None:
            scans = tuple(item["scan"] for item in inputs["scans"])
            found.setdefault(model, {})[scans] = cost
    both = _shared(found)
    return {model: sum(of[scans] for scans in both) for model, of in found.items() if both}


def _shared(found: Mapping[str, Mapping[Hashable, float]]) -> set[Hashable]:
    """What every model was tried on; nothing where there is but one."""
    return set.intersection(*(set(of) for of in found.values())) if len(found) > 1 else set()


def _tried(
    found: Mapping[str, Mapping[Hashable, float]], among: set[Hashable], by_steps: bool
) -> Trial:
    """Weigh both models by the likelihood of their differences, each as wide as it was found.

    A mixture over black and over white counts once, as a ladder does. The odds are softened by how
    much they would vary with other mixtures of the kind: of few, little is learnt.
    """
    off = {m: float(np.mean([of[at] for at in among])) for m, of in found.items()}
    looks: dict[Hashable, list[Hashable]] = {}
    for at in among:
        looks.setdefault(_mixture(at), []).append(at)
    each = {
        model: np.array([sum(of[at] for at in look) / len(look) for look in looks.values()])
        for model, of in found.items()
    }
    wide = {model: max(float(values.mean()), _LEAST_OFF) for model, values in each.items()}
    odds = len(looks) * float(np.log(wide[TWO_FLUX] / wide[TRANSPORT]))
    apart = each[TWO_FLUX] / wide[TWO_FLUX] - each[TRANSPORT] / wide[TRANSPORT]
    # The mean of a logistic over a normal distribution of its argument (MacKay 1992).
    softened = odds / np.sqrt(1 + np.pi / 8 * float((apart**2).sum()))
    return Trial(off, by_steps, likely=_logistic(softened))


def _mixture(at: Hashable) -> Hashable:
    """A mixture's name without the substrate that it was read over."""
    if isinstance(at, tuple):
        card, patch = at
        return card, patch.rpartition("/")[0]
    return at


def shares_of(
    paints: Sequence[str], by_transport: Mapping[str, int], trial: Trial
) -> dict[str, float]:
    """Return what each model counts for in a mix of some paints, the nearer one first.

    Two fluxes alone where a paint has nothing else, as those read by a scanner.
    """
    if not paints or not set(paints) <= by_transport.keys():
        return {TWO_FLUX: 1.0}
    return trial.shares


def choose(paints: Sequence[str], by_transport: Mapping[str, int], trial: Trial) -> str:
    """Choose the model that counts most for a mix; see `shares_of`."""
    return next(iter(shares_of(paints, by_transport, trial)))


def words(
    model: str,
    paints: Sequence[str],
    by_transport: Mapping[str, int],
    trial: Trial,
    asked: bool = False,
    share: float = 1.0,
) -> str:
    """Say which model a mix was calculated by, and why not by the other.

    Parameters
    ----------
    model : str
        The one that counts most.
    by_transport : mapping of nickname to int
    asked : bool
        Whether it was asked for by name.
    share : float
        What it counts for.
    """
    said = f"Calculated by {WORDS[model]}"
    if asked:
        return f"{said}, as you asked."
    steps = "the steps of your ladders, left out in turn"
    where = steps if trial.by_steps else "your check mixtures"
    where = "your scans" if trial.by_scans else where
    if share < 1:
        other = WORDS[TWO_FLUX if model == TRANSPORT else TRANSPORT]
        return (
            f"Calculated by both models, {WORDS[model]} counting {share:.0%} and {other} the rest: "
            f"neither came clearly nearer on {where}."
        )
    fitted = [paint for paint in paints if paint != MEDIUM]
    lacking = [paint for paint in fitted if paint not in by_transport]
    if model == TRANSPORT or len(lacking) == len(fitted):
        return f"{said}."
    if not lacking:
        return f"{said}, which came nearer on {where}."
    return f"{said}: there is no other fit of {few(lacking, 3)}."


def no_such_fit(paints: Sequence[str], model: str, place: str | None = None) -> InputError:
    """Say that paints have a fit, but none by this model."""
    return InputError(
        place,
        few(paints, 3),
        f"has no fit by {WORDS[model]}",
        StudioDo.FIT_AGAIN_OR_ANY_MODEL(),
    )
