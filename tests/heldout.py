"""Scores predictions of mixtures that no fit saw: one rule for the tests and the bench.

Each mixture over black and over white is predicted at nominal thickness and weighed masses, and
judged against the lab's noise-free spectrum at the true ones: CIEDE2000, D50 and 2 degrees.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from tintladder.calibrate.cards.card import SUBSTRATES
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.spectra import Array
from tintladder.calibrate.optics.surface import to_inside

from tests.lab.drawdown import Lab, LabMixtures, nominal_thickness

Model = Callable[[Sequence[Mapping[str, float]], Array, Array], Array]
"""From masses of each mix, dry thickness (M,) mm and a bare reading (W,) to readings (M, W)."""


class Figures(NamedTuple):
    """Of a set of differences."""

    mean: float
    p95: float
    worst: float


def figures(differences: Array) -> Figures:
    return Figures(
        float(differences.mean()), float(np.percentile(differences, 95)), float(differences.max())
    )


def by_coefficients(coefficients: Coefficients) -> Model:
    """Predict as every user does."""

    def model(masses: Sequence[Mapping[str, float]], thickness: Array, bare: Array) -> Array:
        substrate = np.repeat(to_inside(bare, coefficients.surface)[None], len(masses), axis=0)
        fractions = dry_fractions(coefficients, masses)
        return predict(coefficients, fractions, thickness, substrate).reflectance

    return model


def differences(model: Model, readings: CardReadings) -> Array:
    """CIEDE2000 of each mixture over black and over white, (2 M,).

    Parameters
    ----------
    model : Model
    readings : CardReadings
        Noise-free, of a card of fresh mixtures.
    """
    drawdowns = readings.card.drawdowns
    masses, thickness = [d.masses for d in drawdowns], nominal_thickness(readings.card)
    values = readings.spectra.values
    found = []
    for over in SUBSTRATES:
        bare = values[readings.rows(f"bare/{over}")].mean(axis=0)
        read = np.concatenate([values[readings.rows(f"{d.step}/{over}")] for d in drawdowns])
        found.append(ciede2000(lab(model(masses, thickness, bare)), lab(read)))
    return np.concatenate(found)


def without_errors(lab_used: Lab, mixtures: LabMixtures) -> CardReadings:
    """The same mixtures, had neither balance nor applicator erred."""
    (readings,) = lab_used.read([mixtures.card])
    return readings
