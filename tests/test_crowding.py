"""Pigments that crowd: learnt by transport, kept, and no part of two fluxes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.new_tube import fit_new_tubes
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.predict import predict
from tintladder.database.fits.fitting import recorded_settings
from tintladder.database.store.packing import pack_coefficients, unpack_coefficients

from tests.lab import plan
from tests.lab.drawdown import NOMINAL, Lab, Variant

from .invented_palette import by_transport, invented_coefficients

CROWDED = 0.3
"""Of a masstone's scattering this share is lost in that lab, so that in a mix it may grow by 0.43
(ours, within what is said of whites at high pigment volume: common practice, no source)."""


def fitted(variant: Variant, model: str):
    """Five paints' ladders of a lab, fitted; and the lab and readings."""
    lab = Lab(variant, points=8)
    some = set(list(lab.paints)[:5])
    read = lab.read([c for c in plan.ladders() if set(c.paints) <= some], 77)
    return fit_paints(read, lab.tubes, FitSettings(model=model)), lab, read


@pytest.fixture(scope="module")
def crowded():
    return fitted(Variant(pigments_crowd=CROWDED), "transport")


def test_what_crowds_is_learnt(crowded):
    found = crowded[0].coefficients.crowding
    assert np.ptp(found) == 0  # one value for all paints of a fit
    np.testing.assert_allclose(found, CROWDED / (1 - CROWDED), rtol=0.2)
    told = crowded[0].nuisances
    assert (told["kind"] == "crowding").sum() == 1


def test_what_doesnt_crowd_isnt_taken_to(crowded):
    sound, _, _ = fitted(NOMINAL, "transport")
    assert 0 < sound.coefficients.crowding.max() < 0.06


def test_a_new_tube_crowds_as_its_known_ones(crowded):
    fit, lab, read = crowded
    white, *others = fit.coefficients.paints
    one = [r for r in read if set(r.card.paints) == {white, others[-1]}]
    known = fit.coefficients.select([p for p in fit.coefficients.paints if p != others[-1]])
    found = fit_new_tubes(one, lab.tubes, known, FitSettings(model="transport"))
    assert set(found.coefficients.crowding) == set(known.crowding)
    assert "crowding" not in set(found.nuisances["kind"])


def test_two_fluxes_know_nothing_of_it():
    made, _, _ = fitted(Variant(pigments_crowd=CROWDED), "two-flux")
    assert not made.coefficients.crowding.any()


def test_a_paint_alone_and_shares_of_nothing():
    c = by_transport(invented_coefficients(4))
    np.testing.assert_array_equal(c.scattering_shares(np.eye(4)), np.eye(4))
    half = c.scattering_shares(np.full(4, 0.25))
    np.testing.assert_allclose(half, 0.25 * (1 + 0.75 * c.crowding))


def test_a_band_holds_that_paints_crowd_each_by_its_own():
    """A paint alone knows nothing of it; half and half may hold as much less S, or more."""
    c = replace(by_transport(invented_coefficients(2)), crowding=np.array([0.4, 0.4]))
    mixes = np.array([[1.0, 0.0], [0.5, 0.5]])
    plain, more = (
        predict(replace(c, crowding=np.array([apart, 0.4])), mixes).reflectance
        for apart in (0.4, 0.8)
    )
    found = predict(c, mixes).factors
    moved = [np.abs(np.abs(f) - np.abs(more - plain)[1]).max() for f in found[1]]
    assert min(moved) < 2e-3 < np.abs(more - plain)[1].max()
    np.testing.assert_array_equal(more[0], plain[0])


def test_it_is_kept_and_fits_before_it_took_none():
    c = by_transport(invented_coefficients(4))
    kept = unpack_coefficients(pack_coefficients(c))
    np.testing.assert_array_equal(kept.crowding, c.crowding)
    assert recorded_settings({"model": "transport"}).crowding == 0.0
    assert FitSettings(model="transport").crowding > 0.0
