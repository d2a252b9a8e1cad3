"""Whether the steps of ladders, left out in turn, choose the model that held-out mixtures do.

In the lab's own variants transport is nearer almost always. So there are worlds between the nominal
lab and two fluxes too: what is read there is so much of the one and so much of the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.judging.quality_report import quality_report
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.coefficients import TWO_FLUX, Coefficients
from tintladder.calibrate.optics.kubelka_munk import film_reflectance
from tintladder.calibrate.optics.spectra import Array
from tintladder.calibrate.optics.surface import to_inside, to_measured
from tintladder.calibrate.optics.transport import OF_TWO_FLUXES, TRANSPORT
from tintladder.database.mixing.model_choice import trial_of

from tests.heldout import by_coefficients, differences
from tests.lab import plan
from tests.lab.drawdown import VARIANTS, Lab
from tests.lab.paints import PAINTS, WHITE

from .harness import benchmark

SEEDS = (401, 402)
BETWEEN = (0.3, 0.5, 0.6, 0.7, 1.0)
"""Shares of two fluxes; about half way the models are equally good."""
LADDERS, MIXTURES = 3, 20


@dataclass(frozen=True)
class Between(Lab):
    """A lab whose films read as two fluxes have them, by a share.

    Attributes
    ----------
    share : float
    """

    share: float = 0.0

    def over_card(self, fractions: Array, thickness: Array, haze: Array) -> dict[str, Array]:
        """As the lab's, in part by two fluxes of the K and S nearest to its mu_a and mu_s'."""
        found = super().over_card(fractions, thickness, haze)
        paints, painted = list(PAINTS.values()), thickness > 0
        k = fractions @ np.array([p.absorption for p in paints]) / OF_TWO_FLUXES[0]
        s = fractions @ np.array([p.scattering for p in paints]) / OF_TWO_FLUXES[1]
        for over in SUBSTRATES if painted.any() else ():
            ground = to_inside(self.bare()[over], self.surface)
            inside = film_reflectance(k[painted], s[painted], thickness[painted, None], ground)
            theirs = to_measured(inside, self.surface)
            found[over][painted] += self.share * (theirs - found[over][painted])
        return found


@dataclass(frozen=True)
class Outcome:
    """Mean CIEDE2000 of held-out mixtures by each model, the one that steps choose, and as used."""

    off: Mapping[str, float]
    chosen: str
    used: float

    @property
    def cost(self) -> float:
        """By how much it is further off than the better model."""
        return self.off[self.chosen] - min(self.off.values())


@cache
def outcomes() -> list[Outcome]:
    """One a world and seed: a white and three ladders of it, drawn at random."""
    labs: list[Lab] = [Lab(variant) for variant in VARIANTS.values()]
    labs += [Between(share=share) for share in BETWEEN]
    return [_outcome(lab, seed) for lab in labs for seed in SEEDS]


def _outcome(lab: Lab, seed: int) -> Outcome:
    rng = np.random.default_rng(seed)
    coloured = [paint for paint in PAINTS if paint != WHITE]
    some = [WHITE, *rng.choice(coloured, LADDERS, replace=False).tolist()]
    cards = lab.read([c for c in plan.ladders() if set(c.paints) <= set(some)], seed)
    mixes = {
        f"{i}": {
            paint: round(float(grams), 2)
            for paint, grams in zip(
                some, 0.05 + rng.dirichlet(np.ones(len(some))) * 10, strict=True
            )
        }
        for i in range(MIXTURES)
    }
    mixtures = lab.mixtures(plan.check_card("mixtures", mixes, ""), seed).readings
    off, steps, found = {}, {}, {}
    for model in (TWO_FLUX, TRANSPORT):
        fit = fit_paints(cards, lab.tubes, FitSettings(model=model), leave_out=True)
        found[model] = fit.coefficients
        off[model] = _off(fit.coefficients, mixtures)
        steps[model] = {
            name: float(quality_report(paint, left_out=fit.left_out).left_out.median())
            for name, paint in fit.paints.items()
        }
    trial = trial_of({}, steps)
    (first, share), *further = trial.shares.items()
    used = found[first]
    if further:
        used = replace(used, share=share, beside=found[further[0][0]])
    return Outcome(off, trial.nearer, _off(used, mixtures))


def _off(used: Coefficients, mixtures: CardReadings) -> float:
    return float(differences(by_coefficients(used), mixtures).mean())


@benchmark("transport.choice_by_steps", "share of worlds", target=0.85, sense="at least")
def agrees() -> float:
    """Worlds in which steps choose the model that held-out mixtures do; 24."""
    return float(np.mean([outcome.cost == 0 for outcome in outcomes()]))


@benchmark("transport.choice_by_steps_cost_de00", "CIEDE2000 further off than the better model")
def cost() -> float:
    return float(np.mean([outcome.cost for outcome in outcomes()]))


@benchmark("transport.choice_weighted_cost_de00", "the same, where both count by their shares")
def cost_as_used() -> float:
    lost = [outcome.used - min(outcome.off.values()) for outcome in outcomes()]
    return float(np.mean(lost))


@benchmark("transport.choice_of_transport_cost_de00", "the same, were it transport always")
def cost_of_transport() -> float:
    lost = [outcome.off[TRANSPORT] - min(outcome.off.values()) for outcome in outcomes()]
    return float(np.mean(lost))
