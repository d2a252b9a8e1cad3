"""The lab's radiative transfer against iadpython, closed forms and a photon walk."""

import iadpython
import numpy as np
import pytest
from scipy.integrate import quad
from tintladder.calibrate.optics.surface import Surface, fresnel, to_measured

from tests.lab import photon_walk
from tests.lab.adding_doubling import (
    DEFAULT_ERROR,
    DEFAULT_POINTS,
    FIGURE_POINTS,
    angles,
    films,
    layers,
)

# Invented films from nearly clear to nearly opaque: 1/mm at 0.075 mm dry.
_RNG = np.random.default_rng(20)
_SCATTER = 10 ** _RNG.uniform(0.3, 2.7, 60)
_ABSORB = 10 ** _RNG.uniform(-1.5, 2.8, 60)
ALBEDO = _SCATTER / (_SCATTER + _ABSORB)
DEPTH = (_SCATTER + _ABSORB) * 0.075
G = _RNG.uniform(0, 0.85, 60)
GROUNDS = (0.0, 0.02, 0.5, 0.9)


def _over(points: int) -> np.ndarray:
    made = films(ALBEDO[::5], DEPTH[::5], G[::5], angles(points=points))
    return np.array([made.over(rg) for rg in GROUNDS])


@pytest.mark.parametrize("points", [16, 24])
def test_layers_are_those_of_iadpython(points):
    at = angles(1.5, points)
    r, t = layers(ALBEDO, DEPTH, G, at)
    scale = np.multiply.outer(at.root, at.root)
    for i in range(0, 60, 6):
        sample = iadpython.Sample(a=ALBEDO[i], b=DEPTH[i], g=G[i], n=1.5, quad_pts=points)
        reference_r, reference_t = iadpython.simple_layer_matrices(sample)
        np.testing.assert_allclose(r[i], reference_r * scale, atol=1e-10)
        np.testing.assert_allclose(t[i], reference_t * scale, atol=1e-10)


def test_film_under_its_surface_is_that_of_iadpython():
    at = angles(1.5, 16)
    made = films(ALBEDO, DEPTH, G, at)
    for i in range(0, 60, 6):
        sample = iadpython.Sample(a=ALBEDO[i], b=DEPTH[i], g=G[i], n=1.5, quad_pts=16)
        r12, t12 = iadpython.simple_layer_matrices(sample)
        boundary = iadpython.boundary_layer(sample, top=True)
        r02, r20, t02, t20 = iadpython.add_slide_above(sample, *boundary, r12, r12, t12, t12)
        flux = sample.twonuw
        cone = np.where(sample.nu > sample.nu_c(), flux, 0.0)
        expected = (
            cone @ r02[:, -1],
            flux @ t02[:, -1],
            flux @ r20 @ flux,
            cone @ t20 @ flux,
        )
        np.testing.assert_allclose([part[i] for part in made], expected, atol=1e-10)


def test_free_film_is_that_of_iadpython():
    # The same film with air below: iadpython's total R and T, from our layer and its boundaries.
    at = angles(1.5, 16)
    r, t = layers(ALBEDO, DEPTH, G, at)
    eye = np.eye(16)
    entering = (1 - at.rho[-1]) * eye[-1] / at.root[-1]
    for i in range(0, 60, 6):
        sample = iadpython.Sample(a=ALBEDO[i], b=DEPTH[i], g=G[i], n=1.5, quad_pts=16)
        total_r, total_t, *_ = sample.rt()
        mirror = np.diag(at.rho)
        inner = np.block(
            [[eye - mirror @ r[i], -mirror @ t[i]], [-mirror @ t[i], eye - mirror @ r[i]]]
        )
        field = np.linalg.solve(inner, np.concatenate([entering, np.zeros(16)]))
        down, up = field[:16], field[16:]
        assert at.rho[-1] + at.seen @ (r[i] @ down + t[i] @ up) == pytest.approx(total_r, abs=1e-10)
        assert at.seen @ (t[i] @ down + r[i] @ up) == pytest.approx(total_t, abs=1e-10)


@pytest.mark.parametrize("points", [DEFAULT_POINTS, FIGURE_POINTS])
def test_energy_closes_without_absorption(points):
    depth = np.array([0.0, 0.01, 0.3, 3.0, 30.0, 100.0])
    for g in (0.0, 0.6, 0.9):
        made = films(np.ones(6), depth, g, angles(points=points))
        np.testing.assert_allclose(made.over(1.0), 1.0, atol=1e-9)
        np.testing.assert_allclose(made.r + made.t, 1.0, atol=1e-9)
        np.testing.assert_allclose(made.rb + made.tb, 1.0, atol=1e-9)


def test_empty_layer_is_the_surface_alone():
    # 0.0400, 0.0918 and 0.596: published for n = 1.5 (Saunderson 1942 and after; from memory),
    # and the Fresnel integrals.
    at = angles(1.5, FIGURE_POINTS)
    empty = films(np.zeros(1), np.zeros(1), 0.0, at)
    assert empty.r[0] == pytest.approx(0.0400, abs=5e-5)
    assert empty.rb[0] == pytest.approx(0.596, abs=5e-4)
    external, _ = quad(lambda mu: 2 * mu * float(fresnel(1.5, mu)), 0, 1, epsabs=1e-12)
    assert external == pytest.approx(0.0918, abs=5e-5)
    assert empty.rb[0] == pytest.approx(1 - (1 - external) / 1.5**2, abs=2e-5)
    # Light from all outside directions meets what leaves it from inside, n^2 times over.
    assert 1 - empty.tb[0] * 1.5**2 == pytest.approx(0.0918, abs=1e-4)


@pytest.mark.parametrize(
    "surface",
    [Surface.of("di:8"), Surface.of("di:8", "excluded"), Surface.of("45:0")],
    ids=["included", "excluded", "45:0"],
)
def test_clear_film_is_the_surface_correction(surface):
    # Over a Lambertian substrate a clear coat is Saunderson's correction exactly (1942).
    rg = np.array([0.0, 0.05, 0.5, 0.95])
    at = angles(1.5, 66, "45" if surface.geometry == "45:0" else "sphere")
    clear = films(np.zeros(1), np.zeros(1), 0.0, at, specular=surface.specular == "included")
    np.testing.assert_allclose(clear.over(rg), to_measured(rg, surface), atol=2e-5)


def test_more_angles_change_nothing():
    figures = _over(FIGURE_POINTS)
    assert np.abs(_over(2 * FIGURE_POINTS) - figures).max() < 1e-4
    assert np.abs(_over(DEFAULT_POINTS) - figures).max() < DEFAULT_ERROR


def test_45_0_is_the_sphere_for_a_thick_isotropic_film():
    # Light that left a thick white film has all but forgotten where it came from; what is left
    # of the surface is the ratio of the two taus (4.5 % at n = 1.5).
    white = (np.array([0.9999]), np.array([400.0]), 0.0)
    sphere = films(*white, angles(1.5, 24), specular=False).over(0.0)[0]
    slanted = films(*white, angles(1.5, 24, "45")).over(0.0)[0]
    ratio = Surface.of("45:0").tau / Surface.of("di:8").tau
    assert slanted / sphere == pytest.approx(ratio, rel=0.03)


def test_haze_keeps_energy():
    depth = np.array([0.0, 0.1, 2.0, 40.0])
    made = films(np.ones(4), depth, 0.6, angles(), haze=0.4)
    np.testing.assert_allclose(made.over(1.0), 1.0, atol=1e-9)


def test_card_with_a_lobe_takes_no_more_than_it_gets():
    # Its reflectance for light from each direction: what it takes there, times all that it sends.
    at = angles()
    card = at.root * at.nu**0.2
    card /= np.linalg.norm(card)
    assert np.max(0.91 * card / at.root * (card @ at.root)) < 1.0
    made = films(np.ones(4), np.array([0.0, 0.1, 2.0, 40.0]), 0.6, at, lobe=0.2)
    assert np.all(made.over(0.91) < 1.0)


@pytest.mark.parametrize(
    ("albedo", "thickness", "g", "rg"),
    [
        (0.98, 8.0, 0.6, 0.9),
        (0.999, 25.0, 0.6, 0.02),
        (0.60, 3.0, 0.8, 0.9),
        (0.90, 0.5, 0.0, 0.6),
    ],
)
def test_photon_walk_agrees(albedo, thickness, g, rg):
    walked, error = photon_walk.reflectance(albedo, thickness, g, rg, photons=60_000, seed=7)
    made = films(np.array([albedo]), np.array([thickness]), g, angles(1.5, FIGURE_POINTS))
    # Four cases, a fixed seed: three standard errors.
    assert abs(float(made.over(rg)[0]) - walked) < 3 * error
    assert error < 2e-3
