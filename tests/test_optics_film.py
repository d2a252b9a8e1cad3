"""Films and opaque layers of two-constant theory, against closed forms and limits."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from tintladder.calibrate.optics.kubelka_munk import (
    film_derivatives,
    film_reflectance,
    k_over_s,
    k_s_over_black_and_white,
    opaque_derivatives,
    opaque_reflectance,
)

COEFFICIENT = st.floats(1e-3, 1e3)
THICKNESS = st.floats(1e-3, 1.0)
SUBSTRATE = st.floats(0.0, 1.0)
EXTREME = [0.0, 1e-300, 1e-12, 1e-4, 1.0, 1e4, 1e12]


@pytest.fixture(autouse=True)
def _no_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        yield


def kubelka(k, s, x, rg):
    """The film as Kubelka gives it (J. Opt. Soc. Am. 38 (1948) 448), with coth."""
    a = 1 + k / s
    b = np.sqrt(a**2 - 1)
    coth = 1 / np.tanh(b * s * x)
    return (1 - rg * (a - b * coth)) / (a - rg + b * coth)


@given(COEFFICIENT, COEFFICIENT, THICKNESS, SUBSTRATE)
def test_film_is_kubelkas(k, s, x, rg):
    # a^2 - 1 cancels in the textbook form where K is far below S: leave that to the limits below.
    if k / s > 1e-6:
        assert film_reflectance(k, s, x, rg) == pytest.approx(
            kubelka(k, s, x, rg), rel=1e-8, abs=1e-10
        )


def test_film_by_the_differential_equations():
    """Kubelka and Munk (1931): dR/dx = S - 2 (K + S) R + S R^2, from the substrate up."""
    for k, s, x, rg in [(2.0, 30.0, 0.08, 0.05), (40.0, 5.0, 0.05, 0.9), (0.1, 60.0, 0.2, 0.5)]:
        run = solve_ivp(
            lambda _, r, k=k, s=s: s - 2 * (k + s) * r + s * r**2,
            (0, x),
            [rg],
            method="DOP853",
            rtol=1e-11,
            atol=1e-13,
        )
        assert film_reflectance(k, s, x, rg) == pytest.approx(run.y[0, -1], rel=1e-8)


def test_nothing_absorbs():
    # K -> 0: R = (Rg + (1 - Rg) S X) / (1 + (1 - Rg) S X), Kubelka 1948.
    s, x, rg = 50.0, 0.07, np.array([0.0, 0.3, 0.9, 1.0])
    depth = (1 - rg) * s * x
    expected = (rg + depth) / (1 + depth)
    assert film_reflectance(0.0, s, x, rg) == pytest.approx(expected, rel=1e-14)
    assert film_reflectance(1e-12, s, x, rg) == pytest.approx(expected, rel=1e-9)


def test_nothing_scatters():
    # S -> 0: the substrate through a filter, crossed twice at the diffuse path K X each time.
    k, x, rg = 8.0, 0.1, np.array([0.0, 0.5, 1.0])
    assert film_reflectance(k, 0.0, x, rg) == pytest.approx(rg * np.exp(-2 * k * x), rel=1e-12)
    assert film_reflectance(k, 1e-10, x, rg) == pytest.approx(rg * np.exp(-2 * k * x), abs=1e-10)


def test_clear_or_no_film_shows_the_substrate():
    rg = np.linspace(0, 1, 5)
    assert film_reflectance(0.0, 0.0, 1.0, rg) == pytest.approx(rg, abs=1e-15)
    assert film_reflectance(3.0, 40.0, 0.0, rg) == pytest.approx(rg, abs=1e-15)


@given(COEFFICIENT, COEFFICIENT, SUBSTRATE)
def test_thick_film_is_opaque(k, s, rg):
    x = 50 / np.sqrt(k * (k + 2 * s))
    assert film_reflectance(k, s, x, rg) == pytest.approx(opaque_reflectance(k, s), rel=1e-9)


@given(COEFFICIENT, COEFFICIENT, THICKNESS)
def test_film_over_its_own_colour_stays_it(k, s, x):
    r = opaque_reflectance(k, s)
    assert film_reflectance(k, s, x, r) == pytest.approx(r, rel=1e-9)


@given(COEFFICIENT, COEFFICIENT)
def test_opaque_closed_form(k, s):
    # R_inf = 1 + K/S - sqrt((K/S)^2 + 2 K/S), Kubelka and Munk 1931. The textbook form cancels
    # where R_inf is small.
    q = k / s
    textbook = 1 + q - np.sqrt(q**2 + 2 * q)
    assert opaque_reflectance(k, s) == pytest.approx(textbook, rel=1e-6, abs=1e-9)
    assert k_over_s(opaque_reflectance(k, s)) == pytest.approx(q, rel=1e-6)


def test_opaque_at_its_ends():
    assert opaque_reflectance(0.0, 5.0) == 1.0
    assert opaque_reflectance(5.0, 0.0) == 0.0
    # K/S = (1 - R)^2 / 2R: 0.25 at R = 0.5, 0.0125... at 0.8535; handbook figure for R = 0.5.
    assert k_over_s(np.array(0.5)) == pytest.approx(0.25)


@pytest.mark.parametrize("rg", [0.0, 0.5, 1.0])
def test_extreme_values_stay_finite(rg):
    k, s, x = (m.ravel() for m in np.meshgrid(EXTREME, EXTREME, [0.0, 1e-6, 0.1, 1e3]))
    plain = film_reflectance(k, s, x, rg)
    assert np.all((plain >= -1e-12) & (plain <= 1 + 1e-12))
    for value in film_derivatives(k, s, x, np.full(k.shape, rg)):
        assert np.all(np.isfinite(value))


@given(COEFFICIENT, COEFFICIENT, THICKNESS, SUBSTRATE)
def test_film_derivatives_by_complex_step(k, s, x, rg):
    """Complex step on Kubelka's hyperbolic solution, written without the removable singularity."""
    h = 1e-30

    def value(k, s, x, rg):
        root = np.sqrt(k * (k + 2 * s) + 0j)
        u = root * x
        # tanh by exponentials of a negative argument: no overflow where the film is thick.
        e = np.exp(-2 * u)
        t = (1 - e) / (1 + e) / root
        return (rg + t * (s - rg * (s + k))) / (1 + t * ((s + k) - rg * s))

    d = film_derivatives(np.array(k), np.array(s), np.array(x), np.array(rg))
    # exp(-2u) of small u loses digits in the difference: compare to that precision.
    loss = 1e-13 / min(1.0, np.sqrt(k * (k + 2 * s)) * x) ** 2
    for i, got in enumerate(d[1:]):
        at = [complex(v) for v in (k, s, x, rg)]
        at[i] += 1j * h
        expected = value(*at).imag / h
        size = 1 / (k, s, x, 1.0)[i]
        assert got == pytest.approx(expected, rel=1e-7 + loss, abs=(1e-9 + loss) * size)
    assert d.r == pytest.approx(film_reflectance(k, s, x, rg), rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("u2", [0.99e-3, 1.01e-3])
def test_series_meets_the_closed_form(u2):
    """Derivatives on either side of the switch agree with a central difference across it."""
    s, x, rg = 40.0, 0.01, 0.4
    q = u2 / x**2
    k = -s + np.sqrt(s**2 + q)
    d = film_derivatives(*(np.array(v) for v in (k, s, x, rg)))
    for i, name in enumerate(("d_k", "d_s", "d_x", "d_rg")):
        at = np.array([k, s, x, rg])
        step = np.zeros(4)
        step[i] = 1e-5 * at[i]
        numeric = (film_reflectance(*(at + step)) - film_reflectance(*(at - step))) / (2 * step[i])
        assert getattr(d, name) == pytest.approx(numeric, rel=1e-5)


@given(COEFFICIENT, COEFFICIENT)
def test_opaque_derivatives_by_complex_step(k, s):
    h = 1e-30

    def value(k, s):
        return s / (s + k + np.sqrt(k * (k + 2 * s)))

    r, d_k, d_s = opaque_derivatives(np.array(k), np.array(s))
    assert r == pytest.approx(opaque_reflectance(k, s), rel=1e-14)
    assert d_k == pytest.approx(value(k + 1j * h, s).imag / h, rel=1e-9)
    # d_s is a difference of like terms where S outweighs K.
    assert d_s == pytest.approx(value(k, s + 1j * h).imag / h, rel=1e-6, abs=1e-12 / s)


def iso9416(r0, r_inf, x):
    """K and S from R0 (over black) and R_inf, by the formulas of ISO 9416 (from memory).

    S = 1/(X (1/R_inf - R_inf)) ln[R_inf (1 - R0 R_inf) / (R_inf - R0)], K = S (1 - R_inf)^2 / 2
    R_inf, with the thickness in place of the grammage.
    """
    s = np.log((1 - r0 * r_inf) * r_inf / (r_inf - r0)) / (x * (1 / r_inf - r_inf))
    return s * (1 - r_inf) ** 2 / (2 * r_inf), s


@given(st.floats(0.05, 50), st.floats(1, 100), st.floats(0.01, 0.1))
def test_iso9416_gives_k_and_s_back(k, s, x):
    r0, r_inf = film_reflectance(k, s, x, 0.0), opaque_reflectance(k, s)
    if r_inf - r0 > 1e-4:
        assert iso9416(r0, r_inf, x) == pytest.approx((k, s), rel=1e-5)


@given(st.floats(0.05, 50), st.floats(1, 100), st.floats(0.01, 0.1))
def test_iso9416_is_a_case_of_black_and_white(k, s, x):
    # A black cavity and an opaque pad of the same material as substrates.
    r0, r_inf = film_reflectance(k, s, x, 0.0), opaque_reflectance(k, s)
    if r_inf - r0 > 1e-3:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            ours = k_s_over_black_and_white(r0, r_inf, 0.0, r_inf, x)
        if not np.isnan(ours[0]):
            assert ours == pytest.approx(iso9416(r0, r_inf, x), rel=1e-4)


def test_from_black_and_white_is_the_inverse():
    k = np.geomspace(0.01, 60, 25)[:, None]
    s = np.geomspace(0.5, 80, 25)[None, :]
    x = 0.05
    black, white = 0.012, 0.88
    ours = k_s_over_black_and_white(
        film_reflectance(k, s, x, black), film_reflectance(k, s, x, white), black, white, x
    )
    shown = np.abs(film_reflectance(k, s, x, white) - film_reflectance(k, s, x, black)) > 1e-5
    # At exact readings every film that shows its substrate is solved.
    assert shown.mean() > 0.9
    k, s = np.broadcast_arrays(k, s)
    assert ours[0][shown] == pytest.approx(k[shown], rel=1e-3)
    assert ours[1][shown] == pytest.approx(s[shown], rel=1e-3)


def test_hidden_substrate_or_nonsense_gives_no_k_and_s():
    same = k_s_over_black_and_white(0.3, 0.3, 0.02, 0.9, 0.05)
    brighter_over_black = k_s_over_black_and_white(0.5, 0.2, 0.02, 0.9, 0.05)
    assert np.isnan(same).all()
    assert np.isnan(brighter_over_black).all()
