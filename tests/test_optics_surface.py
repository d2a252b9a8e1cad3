"""The surface: Fresnel's equations, their integrals, and Saunderson's correction."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from tintladder.calibrate.optics.surface import (
    GEOMETRIES,
    GLOSSES,
    Surface,
    diffuse_external,
    diffuse_internal,
    fresnel,
    haze_prior,
    to_inside,
    to_measured,
)

SURFACES = [
    Surface.of(geometry, specular, gloss, n)
    for geometry in GEOMETRIES
    for specular in ("included", "excluded")
    for gloss in GLOSSES
    for n in (1.35, 1.5, 1.65)
]


def test_normal_incidence():
    # ((n - 1) / (n + 1))^2, Fresnel; 4 % of a film of n = 1.5.
    assert fresnel(1.5, 1.0) == pytest.approx(0.04, abs=1e-15)
    for n in (1.33, 1.49, 2.0):
        assert fresnel(n, 1.0) == pytest.approx(((n - 1) / (n + 1)) ** 2, abs=1e-14)


def test_grazing_light_is_all_reflected():
    assert fresnel(1.5, 0.0) == pytest.approx(1.0, abs=1e-14)


def test_brewster_angle():
    # At tan(angle) = n the parallel part vanishes and the other is ((n^2 - 1) / (n^2 + 1))^2.
    n = 1.5
    expected = 0.5 * ((n**2 - 1) / (n**2 + 1)) ** 2
    assert fresnel(n, np.cos(np.arctan(n))) == pytest.approx(expected, abs=1e-14)


def test_45_degrees():
    # 5.02 % at 45 degrees on glass of n = 1.5: handbook value, from memory.
    assert fresnel(1.5, np.cos(np.pi / 4)) == pytest.approx(0.0502, abs=5e-5)


def test_diffuse_integrals_at_1_5():
    # Published for n = 1.5: 0.0918 from outside and 0.596 from inside (W. E. K. Middleton, and
    # F. W. Billmeyer and J. W. Saltzman quote the same; from memory).
    assert diffuse_external(1.5) == pytest.approx(0.0918, abs=5e-5)
    assert diffuse_internal(1.5) == pytest.approx(0.596, abs=5e-4)


@pytest.mark.parametrize("n", [1.2, 1.33, 1.5, 1.7, 2.0])
def test_external_integral_has_a_closed_form(n):
    # Walsh's closed form (J. W. T. Walsh 1926, in S. Q. Duntley, J. Opt. Soc. Am. 32 (1942) 61;
    # from memory), against our numerical integral.
    a = (n - 1) * (3 * n + 1) / (6 * (n + 1) ** 2)
    b = n**2 * (n**2 - 1) ** 2 / (n**2 + 1) ** 3 * np.log((n - 1) / (n + 1))
    c = 2 * n**3 * (n**2 + 2 * n - 1) / ((n**2 + 1) * (n**4 - 1))
    d = 8 * n**4 * (n**4 + 1) / ((n**2 + 1) * (n**4 - 1) ** 2) * np.log(n)
    assert diffuse_external(n) == pytest.approx(0.5 + a + b - c + d, abs=1e-9)


@pytest.mark.parametrize("n", [1.33, 1.5, 1.65])
def test_internal_integral_directly(n):
    """Total reflection beyond the critical angle, Fresnel inside it: not by way of the outside."""

    def inside(u):
        sine = n * np.sqrt(1 - u)
        return 1.0 if sine >= 1 else float(fresnel(n, np.sqrt(1 - sine**2)))

    critical = 1 - 1 / n**2
    integral = critical + quad(inside, critical, 1, epsabs=1e-12, limit=200)[0]
    assert diffuse_internal(n) == pytest.approx(integral, abs=1e-9)


def test_matched_surface_vanishes():
    assert diffuse_external(1.0 + 1e-9) == pytest.approx(0, abs=1e-6)
    assert diffuse_internal(1.0 + 1e-9) == pytest.approx(0, abs=1e-6)


def test_45_0_sees_4_5_percent_more_than_a_sphere():
    # What the design's formulas give at n = 1.5.
    sphere, angled = Surface.of("di:8"), Surface.of("45:0")
    assert angled.tau / sphere.tau == pytest.approx(1.045, abs=1e-3)


def test_perfect_diffuser_reads_as_one_in_a_sphere():
    # No light is lost: what enters comes out again, whatever the index (di:8, specular included).
    for n in (1.33, 1.5, 1.7):
        assert to_measured(np.array(1.0), Surface.of("di:8", n=n)) == pytest.approx(1.0, abs=1e-12)


def test_black_inside_shows_the_surface_alone():
    for surface in SURFACES:
        floor = surface.alpha * surface.k1
        assert to_measured(np.array(0.0), surface) == pytest.approx(floor, abs=1e-15)
    assert Surface.of("di:8", "excluded").alpha == 0
    assert Surface.of("45:0").alpha == 0
    assert Surface.of("di:8", "excluded", "matt").alpha == 1
    assert Surface.of("45:0", "excluded", "satin").alpha == haze_prior("satin")[0]


def test_haze_is_open_only_where_a_reading_tells():
    free = {(s.geometry, s.specular, s.gloss) for s in SURFACES if s.haze_is_free}
    assert free == {
        (geometry, specular, gloss)
        for geometry in GEOMETRIES
        for specular in ("included", "excluded")
        for gloss in ("satin", "matt")
        if geometry == "45:0" or specular == "excluded"
    }


@given(st.floats(-0.3, 1.0), st.sampled_from(SURFACES))
def test_round_trip(inside, surface):
    assert to_inside(to_measured(np.array(inside), surface), surface) == pytest.approx(
        inside, abs=1e-12
    )


def test_darker_than_the_surface_is_negative_and_not_clipped():
    inside = to_inside(np.array([0.03, 0.04, 0.05]), Surface.of("di:8"))
    assert inside[0] < 0
    assert inside[1] == pytest.approx(0, abs=1e-15)
    assert inside[2] > 0


@given(st.floats(0.0, 0.99), st.sampled_from(SURFACES))
def test_derivative(inside, surface):
    """The fit and the predictions use tau / (1 - k2 R)^2; here by complex step."""
    step = 1e-20
    by_step = to_measured(np.array(inside + 1j * step), surface).imag / step
    assert surface.tau / (1 - surface.k2 * inside) ** 2 == pytest.approx(by_step, rel=1e-12)


def test_effective_constants_can_be_kept():
    """A published pair of k1 and k2 stays with the K and S that were fitted with it."""
    own = replace(Surface.of("di:8"), k2=0.62)
    assert own.tau == pytest.approx(0.96 * 0.38)
