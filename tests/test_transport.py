"""The film of radiative transfer against the lab's own, a photon walk, and closed forms.

The lab's adding-doubling is itself held to iadpython elsewhere.
"""

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.optics.kubelka_munk import opaque_reflectance
from tintladder.calibrate.optics.predict import predict
from tintladder.calibrate.optics.surface import Surface, to_measured
from tintladder.calibrate.optics.transport import (
    OPAQUE,
    OVER_TWO_FLUXES,
    TABLE,
    film_derivatives,
    films,
    opaque_polynomial,
)

from tests.heldout import by_coefficients, differences
from tests.lab import photon_walk, plan, transport_table
from tests.lab.drawdown import Lab
from tests.lab.paints import WHITE

SPHERE = Surface.of("di:8", "excluded")


def some(count, seed=1):
    """Absorbed and scattered depths as paint has them, and beyond."""
    rng = np.random.default_rng(seed)
    absorbed = np.exp(rng.uniform(np.log(1e-5), np.log(20), count))
    return absorbed, np.exp(rng.uniform(np.log(1e-4), np.log(500), count))


def lookup(absorbed, scattered):
    """The table's numbers in the order of `transport_table.numbers`."""
    sphere, slanted = (films(absorbed, scattered, 1.0, view).numbers for view in (False, True))
    return np.array([*sphere, slanted[0], slanted[3]])


@pytest.mark.parametrize(("angles", "error"), [(transport_table.POINTS, 1e-5), (72, 6e-5)])
def test_the_table_is_the_labs_own_films(angles, error):
    """At as many angles only the spline errs; at more, the table's angles show too."""
    depths = some(120 if angles < 72 else 40)
    found = transport_table.numbers(*depths, transport_table.ANISOTROPY, angles)
    np.testing.assert_allclose(lookup(*depths), found, rtol=0, atol=error)


@pytest.mark.parametrize(
    ("absorption", "scattering", "rg"), [(0.02, 2.0, 0.9), (0.5, 1.0, 0.6), (3.0, 8.0, 0.0)]
)
def test_a_photon_walk_agrees(absorption, scattering, rg):
    g = transport_table.ANISOTROPY
    depth = absorption + scattering / (1 - g)
    albedo = scattering / (1 - g) / depth
    walked, error = photon_walk.reflectance(albedo, depth, g, rg, photons=40_000, seed=3)
    one = np.ones(1)
    read = film_derivatives(absorption * one, scattering * one, one, rg).r[0] + SPHERE.k1
    assert abs(read - walked) < 3.5 * error


def test_an_empty_film_is_its_surface_alone():
    rg = np.linspace(0, 0.95, 20)
    none = np.full(20, 1e-9)
    for geometry, slanted in (("di:8", False), ("45:0", True)):
        read = film_derivatives(none, none, np.ones(20), rg, slanted).r
        expected = to_measured(rg, Surface.of(geometry, "excluded"))
        # Saunderson's 45:0 and the lab's agree to what the angles allow.
        np.testing.assert_allclose(read, expected, atol=3e-4)


def test_opaque_films_know_the_ratio_alone():
    absorption, scattering = some(40)
    rg = np.full(40, 0.9)
    hidden = film_derivatives(absorption, scattering, np.full(40, OPAQUE), rg)
    tenth = film_derivatives(absorption / 10, scattering / 10, np.full(40, OPAQUE), 0 * rg)
    strong = absorption > 1e-4 * scattering
    np.testing.assert_allclose(hidden.r[strong], tenth.r[strong], atol=1e-6)
    slope = absorption * hidden.d_k + scattering * hidden.d_s
    np.testing.assert_allclose(slope, 0, atol=1e-12)
    # Colour by itself: more absorption is darker, more scattering lighter.
    assert (hidden.d_k < 0).all()
    assert (hidden.d_s > 0).all()


@pytest.mark.parametrize("slanted", [False, True], ids=["sphere", "45:0"])
def test_the_polynomial_of_opaque_films_is_the_table(slanted):
    ratio = np.geomspace(1e-6, 1e4, 500)
    two_flux = opaque_reflectance(ratio * OVER_TWO_FLUXES, np.ones(500))
    read = np.polynomial.Polynomial(opaque_polynomial(slanted))(2 * two_flux - 1)
    table = film_derivatives(ratio, np.ones(500), np.full(500, OPAQUE), 0.0, slanted).r
    np.testing.assert_allclose(read, table, atol=3e-6)


def test_a_thick_film_runs_into_the_opaque():
    absorption, scattering = np.array([5.0, 40.0, 300.0]), np.array([180.0, 60.0, 5.0])
    thick = film_derivatives(absorption, scattering, np.full(3, 2.0), np.full(3, 0.9)).r
    hidden = film_derivatives(absorption, scattering, np.full(3, OPAQUE), np.full(3, 0.0)).r
    np.testing.assert_allclose(thick, hidden, atol=1e-5)


@pytest.mark.parametrize("slanted", [False, True], ids=["sphere", "45:0"])
def test_slopes_by_finite_differences(slanted):
    rng = np.random.default_rng(2)
    k, s = np.exp(rng.uniform(-9, 9, (2, 500)))
    x, rg = np.exp(rng.uniform(-4, 0, 500)), rng.uniform(0, 0.95, 500)
    found = film_derivatives(k, s, x, rg, slanted)
    for i, slope in enumerate(found[1:]):
        values = [k, s, x, rg]
        step = 1e-6 * values[i]
        up, down = ([v + d * step * (j == i) for j, v in enumerate(values)] for d in (1, -1))
        rise = film_derivatives(*up, slanted).r - film_derivatives(*down, slanted).r
        np.testing.assert_allclose(slope * step, rise / 2, atol=2e-15 + 1e-9 * 1e-6)


def test_what_is_unread_stays_so():
    k, s = np.array([1.0, np.nan]), np.array([10.0, 10.0])
    found = film_derivatives(k, s, 0.1, 0.5)
    assert np.isfinite(found.r[0])
    assert all(np.isnan(part[1]) for part in found)


def test_the_table_is_small_and_says_its_anisotropy():
    path = transport_table.PATH
    assert path.name == TABLE
    assert path.stat().st_size < 1_000_000
    with np.load(path) as stored:
        assert stored["anisotropy"] == transport_table.ANISOTROPY


def test_a_fit_of_the_labs_paint_predicts_its_mixtures():
    """Three paints without error; by two fluxes they come out over three times as far off."""
    lab = Lab()
    paints = {WHITE, "LANTERN", "PENNANT"}
    cards = [c for c in plan.ladders() if set(c.paints) <= paints]
    mixes = tuple(
        Drawdown(f"mix {i}", "LANTERN", masses, gap_um=150.0)
        for i, masses in enumerate(
            ({"LANTERN": 6.0, "PENNANT": 1.0}, {"PENNANT": 2.0, WHITE: 3.0, "LANTERN": 2.0})
        )
    )
    (unseen,) = lab.read([Card("mixes", "mixes.toml", mixes, purpose="check")])
    fits = {
        model: fit_paints(lab.read(cards), lab.tubes, FitSettings(model=model))
        for model in ("two-flux", "transport")
    }
    off = {m: differences(by_coefficients(f.coefficients), unseen) for m, f in fits.items()}
    assert fits["transport"].coefficients.model == "transport"
    assert off["transport"].mean() < 0.3
    assert off["transport"].mean() < off["two-flux"].mean() / 3


def test_coefficients_say_what_predicts():
    lab = Lab()
    card = next(c for c in plan.ladders() if set(c.paints) == {WHITE})
    c = fit_paints(lab.read([card]), lab.tubes, FitSettings(model="transport")).coefficients
    alone, x = np.ones((1, 1)), np.array([0.07])
    under = np.full((1, c.wavelengths.size), 0.5)
    film = predict(c, alone, x, under).reflectance
    expected = film_derivatives(c.k, c.s, x[:, None], under).r + c.surface.k1
    np.testing.assert_allclose(film, expected)
    hidden = film_derivatives(c.k, c.s, np.full((1, 1), OPAQUE), 0.0).r + c.surface.k1
    np.testing.assert_allclose(predict(c, alone).reflectance, hidden)
    excluded = Surface.of("di:8", "excluded")
    np.testing.assert_allclose(predict(c, alone, surface=excluded).reflectance, hidden - 0.04)
