"""A dark paint's own surface: whose it is fitted of, what comes out, and where it goes.

The lab's paints differ in index; what their surfaces reflect follows from Fresnel's equations.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.new_tube import fit_new_tubes
from tintladder.calibrate.fit.problem.own_surface import showing_surface
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.surface import Surface, fresnel
from tintladder.database.mixing.palette import Palette
from tintladder.database.store.packing import pack_coefficients, unpack_coefficients

from tests.bench.fit import demo_readings
from tests.heldout import by_coefficients, differences
from tests.invented_palette import by_transport, invented_coefficients
from tests.lab import plan
from tests.lab.drawdown import VARIANTS, Lab
from tests.lab.paints import PAINTS, WHITE

SETTINGS = FitSettings(model="transport")
LAB = Lab(VARIANTS["index 1.46-1.55"], points=16)
SPHERE, SHUT, ANGLED = Surface.of("di:8"), Surface.of("di:8", "excluded"), Surface.of("45:0")


def cards(*paints):
    return LAB.read([c for c in plan.ladders() if set(c.paints) <= {WHITE, *paints}])


@pytest.fixture(scope="module")
def fit():
    return fit_paints(cards("DUSK", "BUOY"), LAB.tubes, SETTINGS)


def offset(coefficients, paint):
    return float(coefficients.surface_offset[coefficients.index(paint)])


def true_offset(paint):
    return float(fresnel(PAINTS[paint].n, 1.0) - fresnel(1.5, 1.0))


@pytest.mark.parametrize(
    ("surface", "darkest", "found"),
    [
        (SPHERE, 0.0405, [1]),
        (SPHERE, 0.0300, [1]),
        (SPHERE, 0.0415, []),
        (SHUT, 0.0005, []),
        (ANGLED, 0.0005, []),
        (Surface.of("di:8", "excluded", "matt"), 0.0405, []),
        (Surface.of("di:8", gloss="matt"), 0.0405, [1]),
    ],
    ids=str,
)
def test_a_surface_shows_where_a_masstone_is_as_dark(surface, darkest, found):
    shares = np.array([[1.0, 0.0], [0.0, 1.0], [0.5, 0.5]])
    measured = np.array([[0.5, 0.4], [np.nan, darkest], [0.03, 0.03]])
    assert showing_surface(shares, measured, [surface] * 3, [True, True]) == found
    assert showing_surface(shares, measured, [surface] * 3, [True, False]) == []


def test_a_violet_of_low_index_is_seen_to_be_one(fit):
    """Of the violet's readings most is kept; the red is never so dark, so all is as believed."""
    assert 0.6 < offset(fit.coefficients, "DUSK") / true_offset("DUSK") < 1.05
    assert offset(fit.coefficients, "BUOY") == offset(fit.coefficients, WHITE) == 0.0
    (row,) = [r for r in fit.nuisances.to_dict("records") if r["name"] == "DUSK: surface"]
    assert row["value"] == pytest.approx(offset(fit.coefficients, "DUSK"))


def test_its_mixtures_come_out_nearer(fit):
    mixes = {"one": {"DUSK": 3.0, "BUOY": 1.0}, "two": {"DUSK": 2.0, "BUOY": 1.0, WHITE: 1.0}}
    drawn = plan.check_card("mixes", mixes, "dark ones")
    (read,) = LAB.read([drawn])
    alike = fit_paints(cards("DUSK", "BUOY"), LAB.tubes, replace(SETTINGS, surface_spread=0.0))
    with_own, without = (
        differences(by_coefficients(f.coefficients), read).mean() for f in (fit, alike)
    )
    assert with_own < without / 2


def test_two_fluxes_know_nothing_of_it():
    found = fit_paints(cards("DUSK"), LAB.tubes).coefficients
    assert not found.surface_offset.any()


def test_a_new_tube_is_fitted_beside_surfaces_that_are_known(fit):
    known = fit.coefficients.select([WHITE, "DUSK"])
    new = fit_new_tubes(cards("PENNANT"), LAB.tubes, known, SETTINGS).coefficients
    assert offset(new, "PENNANT") < -0.002


def test_a_known_surface_holds_in_the_new_tubes_mixes(fit):
    """A red let down in the violet: taken for a paint like all, the violet leaves more over."""
    known = fit.coefficients.select([WHITE, "DUSK"])
    made = {
        "masstone": {"BUOY": 8.0},
        "1:3": {"BUOY": 2.0, "DUSK": 6.0},
        "1:1": {"BUOY": 4.0, "DUSK": 4.0},
    }
    drawn = tuple(Drawdown(step, "BUOY", masses, gap_um=150.0) for step, masses in made.items())
    card = LAB.read([Card("red", "red.toml", drawn)])
    plain = replace(known, surface_offset=np.zeros(2))
    right, wrong = (
        fit_new_tubes(card, LAB.tubes, k, SETTINGS).paints["BUOY"] for k in (known, plain)
    )
    assert right.de00_mean < wrong.de00_mean / 2


def test_it_adds_by_dry_volume_as_far_as_the_shine_is_seen(fit):
    c = fit.coefficients
    shares = dry_fractions(c, [{"DUSK": 1.0, WHITE: 3.0}])
    plain = replace(c, surface_offset=np.zeros(3))
    for surface, seen in ((SPHERE, 1.0), (SHUT, 0.0)):
        more = predict(c, shares, surface=surface).reflectance
        more = more - predict(plain, shares, surface=surface).reflectance
        expected = seen * shares @ c.surface_offset
        np.testing.assert_allclose(more, np.broadcast_to(expected[:, None], more.shape), atol=1e-12)


def test_a_search_calculates_with_it_and_its_slopes():
    palette = Palette(by_transport(invented_coefficients(5)))
    shares = np.random.default_rng(3).dirichlet(np.ones(5), 4)
    optics = palette.optics[np.float64]
    counted = shares * palette.strength
    read = predict(palette.coefficients, shares).lab()
    np.testing.assert_allclose(palette.lab(shares), read, atol=2e-3)
    x, slopes = optics.xyz_and_slopes(counted)
    np.testing.assert_allclose(x, optics.xyz(counted))
    for p in range(5):
        step = np.zeros(5)
        step[p] = 1e-6 * palette.strength[p]
        numeric = (optics.xyz(counted + step) - optics.xyz(counted - step)) / (2 * step[p])
        np.testing.assert_allclose(slopes[:, :, p], numeric, rtol=1e-5, atol=1e-9)


def test_it_is_kept_and_what_was_kept_before_it_is_read(fit, monkeypatch):
    packed = pack_coefficients(fit.coefficients)
    again = unpack_coefficients(packed)
    np.testing.assert_array_equal(again.surface_offset, fit.coefficients.surface_offset)
    from tintladder.database.store import packing

    before = tuple(name for name in packing._BY_PAINT if name != "surface_offset")
    monkeypatch.setattr(packing, "_BY_PAINT", before)
    old = pack_coefficients(fit.coefficients)
    monkeypatch.undo()
    assert not unpack_coefficients(old).surface_offset.any()


def test_the_boatyards_fit_comes_to_rest():
    """A black's surface, K and S hang together, and whole steps went too far for ever."""
    found = fit_paints(demo_readings(), Lab().tubes, SETTINGS)
    assert found.coefficients.surface_offset.any()
    assert not [p for p in found.paints.values() if any("settled" in r for r in p.reasons)]
