"""Films have surfaces of their own: how far they lie is learnt from dark films, and kept in bands.

The films are invented. Source of what a surface does to a film: Saunderson 1942, whose first term
is what it throws back of itself.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.readings import CardReadings
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.new_tube import fit_new_tubes
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.predict import predict

from tests.lab import plan
from tests.lab.drawdown import NOMINAL, Lab


@pytest.fixture(scope="module")
def lab():
    return Lab(NOMINAL, points=16)


def cards(lab: Lab) -> list[CardReadings]:
    some = list(lab.paints)[:5]
    ladders = [c for c in plan.ladders() if set(c.paints) <= set(some)]
    return lab.read(ladders, 91)


def shifted(readings: CardReadings, seed: int, spread: float) -> CardReadings:
    """Each film throws back more, or less, by a number of its own."""
    rng = np.random.default_rng(seed)
    more = {d.step: rng.normal(0.0, spread) for d in readings.card.drawdowns}
    values = readings.spectra.values.copy()
    for i, label in enumerate(readings.spectra.labels):
        own = more.get(label.split("/")[0].split("#")[0], 0.0)
        values[i] = values[i] + own * (1 - values[i])
    return replace(readings, spectra=replace(readings.spectra, values=values))


def test_what_films_show_is_learnt_and_alike_films_show_nothing(lab):
    read = cards(lab)
    tubes = lab.tubes
    alike = fit_paints(read, tubes, FitSettings(model="transport"))
    assert alike.settings["surface_error"] < 0.001
    apart = fit_paints([shifted(r, i, 0.005) for i, r in enumerate(read)], tubes,
                       FitSettings(model="transport"))  # fmt: skip
    learnt = apart.settings["surface_error"]
    assert 0.0025 < learnt < 0.01
    assert set(apart.coefficients.surface_error) == {learnt}
    own = apart.nuisances[apart.nuisances["kind"] == "own surface"]
    # The fit itself leaves them less room: what it gets wrong of light films is no surface.
    assert (own["prior_sd"] == 0.002).all()
    films = {(r.card.name, d.step) for r in read for d in r.card.drawdowns}
    assert len(own) == len(films)


def test_a_given_error_is_kept_and_none_takes_films_to_be_alike(lab):
    read = cards(lab)[:2]
    given = fit_paints(read, lab.tubes, FitSettings(surface_error=0.004))
    assert given.settings["surface_error"] == 0.004
    none = fit_paints(read, lab.tubes, FitSettings(surface_error=0.0))
    assert "own surface" not in set(none.nuisances["kind"])
    assert not none.coefficients.surface_error.any()


def test_a_new_tube_has_the_error_of_those_it_was_mixed_with(lab):
    read = cards(lab)
    known = fit_paints(read[:2], lab.tubes, FitSettings(surface_error=0.003)).coefficients
    (new,) = [r for r in read[2:] if len(set(r.card.paints) - set(known.paints)) == 1][:1]
    fit = fit_new_tubes([new], lab.tubes, known)
    assert fit.settings["surface_error"] == 0.003
    assert set(fit.coefficients.surface_error) == {0.003}


def test_bands_hold_what_a_surface_throws_back_and_lets_in(lab):
    found = fit_paints(cards(lab)[:2], lab.tubes, FitSettings(surface_error=0.0)).coefficients
    unsure = replace(found, surface_error=np.full(len(found.paints), 0.01))
    share = np.eye(len(found.paints))
    sure, wide = predict(found, share), predict(unsure, share)
    added = np.sqrt(wide.uncertainty**2 - sure.uncertainty**2)
    inside = sure.reflectance - found.surface.alpha * found.surface.k1
    np.testing.assert_allclose(added, 0.01 * (1 - inside), rtol=1e-6)
    np.testing.assert_array_equal(wide.reflectance, sure.reflectance)
