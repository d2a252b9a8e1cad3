"""Which model a studio mixes by: the one that predicted its check mixtures nearer.

Where no mixture was tried by both, the steps of its ladders tell, each predicted by all the others:
in the virtual paint lab, and in worlds between it and two fluxes, they rank the models as held-out
mixtures do nine times in ten, and are wrong where the models are nearly as good (``make bench
NAME=transport.choice``). A single ladder tells less, so two fluxes must then be a tenth nearer:
light doesn't go two ways only.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ...calibrate.errors import InputError
from ...calibrate.fit.uncertainty.check import MOST_SCAN_ERROR
from ...calibrate.optics.coefficients import TWO_FLUX
from ...calibrate.optics.transport import TRANSPORT
from ..common.listing import few
from ..common.remedies import StudioDo
from .medium import MEDIUM

WORDS = {TWO_FLUX: "the two-flux model", TRANSPORT: "the radiative-transfer model"}
SYMBOLS = {TWO_FLUX: ("K", "S"), TRANSPORT: ("mu_a", "mu_s'")}
"""What each calls its absorption and its scattering, in plain letters."""
LETTERS = {TWO_FLUX: ("K", "S"), TRANSPORT: ("μₐ", "μₛ′")}
"""The same for pictures."""


CLEARLY = 0.9
"""By how much of transport's difference two fluxes must predict steps to be chosen for them."""


@dataclass(frozen=True)
class Trial:
    """How far off each model was where every one was tried.

    Attributes
    ----------
    off : mapping of model to float
        Mean CIEDE2000; empty where fewer than two models were tried on the same.
    by_steps : bool
        Whether that is of steps of ladders, each predicted by all the others.
    """

    off: Mapping[str, float]
    by_steps: bool = False

    @property
    def nearer(self) -> str:
        """The model that came nearer; transport where none was tried."""
        if not self.off:
            return TRANSPORT
        margin = CLEARLY if self.by_steps else 1.0
        return TWO_FLUX if self.off[TWO_FLUX] < margin * self.off[TRANSPORT] else TRANSPORT


def trial_of(
    mixtures: Mapping[str, Mapping[Hashable, float]],
    steps: Mapping[str, Mapping[Hashable, float]],
    unsure: Mapping[Hashable, float] | None = None,
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
    """
    both, unsure = _shared(mixtures), unsure or {}
    both = both - unsure.keys() or {at for at in both if unsure[at] <= MOST_SCAN_ERROR}
    if both:
        off = _means(mixtures, both)
        own = float(np.sqrt(np.mean([unsure.get(at, 0.0) ** 2 for at in both])))
        if max(off.values()) - min(off.values()) >= own:
            return Trial(off)
    both = _shared(steps)
    return Trial(_means(steps, both), by_steps=True) if both else Trial({})


def _shared(found: Mapping[str, Mapping[Hashable, float]]) -> set[Hashable]:
    """What every model was tried on; nothing where there is but one."""
    return set.intersection(*(set(of) for of in found.values())) if len(found) > 1 else set()


def _means(found: Mapping[str, Mapping[Hashable, float]], among: set[Hashable]) -> dict[str, float]:
    return {model: float(np.mean([of[at] for at in among])) for model, of in found.items()}


def choose(paints: Sequence[str], by_transport: Mapping[str, int], trial: Trial) -> str:
    """Choose the model for a mix: the nearer where both were tried, or transport.

    Two fluxes where a paint has nothing else, as those read by a scanner.
    """
    if not paints or not set(paints) <= by_transport.keys():
        return TWO_FLUX
    return trial.nearer


def words(
    model: str,
    paints: Sequence[str],
    by_transport: Mapping[str, int],
    trial: Trial,
    asked: bool = False,
) -> str:
    """Say which model a mix was calculated by, and why not by the other; `asked`, by name."""
    said = f"Calculated by {WORDS[model]}"
    if asked:
        return f"{said}, as you asked."
    fitted = [paint for paint in paints if paint != MEDIUM]
    lacking = [paint for paint in fitted if paint not in by_transport]
    if model == TRANSPORT or len(lacking) == len(fitted):
        return f"{said}."
    if not lacking:
        steps = "the steps of your ladders, left out in turn"
        where = steps if trial.by_steps else "your check mixtures"
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
