"""Predictions from K and S: shapes, limits, and uncertainty against draws of its own factors."""

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.colour import lab
from tintladder.calibrate.optics.kubelka_munk import film_reflectance, opaque_reflectance
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface, to_inside, to_measured

from tests.synthetic import BARE, KS

PAINTS = ("W", "R", "B")
SURFACE = Surface.of("di:8")
OVER_BLACK = to_inside(BARE["black"], SURFACE)[None]


def coefficients(size=0.01, **changed):
    """K and S of three invented paints, with invented covariances of some relative size."""
    rng = np.random.default_rng(2)
    p, w = len(PAINTS), GRID.size
    k = np.array([KS[name][0] for name in PAINTS])
    s = np.array([KS[name][1] for name in PAINTS])
    both = np.stack([k, s], axis=1)
    root = size * rng.standard_normal((p, 2, 2, w)) * both[:, :, None]
    own = size * rng.standard_normal((p, 2, 2, 1)) * np.ones(w) * both[:, None]
    factors = size * rng.standard_normal((3, p, 2, 1)) * np.ones(w) * both[None]
    made = Coefficients(
        paints=PAINTS,
        wavelengths=GRID,
        k=k,
        s=s,
        local=np.einsum("pikw,pjkw->pijw", root, root),
        own=own,
        factors=factors,
        factor_names=("one", "two", "three"),
        scale="absolute",
        surface=SURFACE,
        dry_volume=np.array([0.25, 0.35, 0.4]),
        density=np.array([1.5, 1.2, 1.1]),
        dry_volume_measured=np.array([True, True, False]),
        ratio_only=np.zeros((p, w), dtype=bool),
        scan_made=np.zeros(p, dtype=bool),
        mix_error=np.zeros(p),
        part_error=np.zeros(p),
        crowding=np.zeros(p),
        surface_error=np.zeros(p),
        model_error=np.full(w, 0.0),
        surface_offset=np.zeros(p),
    )
    return replace(made, **changed)


C = coefficients()


def test_dry_fractions_by_hand():
    # 2 g x 0.25 + 1 g x 0.35 = 0.85 ml dry: 0.5/0.85 and 0.35/0.85.
    np.testing.assert_allclose(
        dry_fractions(C, [{"W": 2.0, "R": 1.0}, {"B": 3.0}]),
        [[0.5 / 0.85, 0.35 / 0.85, 0], [0, 0, 1]],
    )
    with pytest.raises(KeyError, match="OCHRE"):
        dry_fractions(C, [{"OCHRE": 1.0}])


def test_reflectance_is_the_films():
    f = np.array([[0.5, 0.3, 0.2], [1.0, 0, 0]])
    x = np.array([0.06, 0.08])
    expected = to_measured(film_reflectance(f @ C.k, f @ C.s, x[:, None], OVER_BLACK), SURFACE)
    got = predict(C, f, x, np.repeat(OVER_BLACK, 2, axis=0))
    np.testing.assert_allclose(got.reflectance, expected, atol=1e-14)
    np.testing.assert_allclose(
        predict(C, f).reflectance,
        to_measured(opaque_reflectance(f @ C.k, f @ C.s), SURFACE),
        atol=1e-14,
    )
    np.testing.assert_allclose(got.lab(), lab(expected), atol=1e-12)


def test_thick_film_is_the_opaque_one_uncertainty_and_all():
    f = np.array([[0.6, 0.2, 0.2]])
    # Its thickness no longer counts, nor then how much dry volume a gram leaves.
    thick, hidden = predict(C, f, np.array([50.0]), OVER_BLACK), predict(C, f)
    np.testing.assert_allclose(thick.reflectance, hidden.reflectance, atol=1e-12)
    np.testing.assert_allclose(thick.uncertainty, hidden.uncertainty, rtol=1e-9)
    np.testing.assert_allclose(thick.lab_covariance(), hidden.lab_covariance(), rtol=1e-9)


def test_an_endless_film_is_an_opaque_one():
    f = np.array([[0.6, 0.2, 0.2], [0.6, 0.2, 0.2]])
    both = predict(C, f, np.array([0.07, np.inf]), np.repeat(OVER_BLACK, 2, axis=0))
    np.testing.assert_allclose(both.reflectance[1], predict(C, f[:1]).reflectance[0], rtol=1e-12)
    thin = predict(C, f[:1], np.array([0.07]), OVER_BLACK)
    np.testing.assert_allclose(both.reflectance[0], thin.reflectance[0], rtol=1e-12)
    np.testing.assert_allclose(both.uncertainty[0], thin.uncertainty[0])


@pytest.mark.parametrize("thickness", [None, 0.07])
def test_uncertainty_is_the_spread_of_draws(thickness):
    """JCGM 101: draw K and S from what the coefficients say of them, and look at what comes out."""
    c = coefficients(0.004)
    rng = np.random.default_rng(3)
    n = 20000
    root = np.linalg.cholesky(c.local.transpose(0, 3, 1, 2) + 1e-14 * np.eye(2))
    noise = rng.standard_normal((n, len(PAINTS), GRID.size, 2))
    moved = np.einsum("pwij,npwj->npiw", root, noise)
    moved += np.einsum("npg,pgiw->npiw", rng.standard_normal((n, *c.own.shape[:2])), c.own)
    moved += np.einsum("nf,fpiw->npiw", rng.standard_normal((n, len(c.factors))), c.factors)
    f = np.array([0.55, 0.25, 0.2])
    k = np.einsum("p,npw->nw", f, c.k + moved[:, :, 0])
    s = np.einsum("p,npw->nw", f, c.s + moved[:, :, 1])
    if thickness is None:
        drawn = to_measured(opaque_reflectance(k, s), SURFACE)
        got = predict(c, f)
    else:
        # A gram that leaves more dry volume than stated dilutes K and S of a film so thick.
        spread = np.where(c.dry_volume_measured, 0.01, 0.20)
        x = thickness * np.exp(-rng.standard_normal((n, len(PAINTS))) * spread @ f)[:, None]
        drawn = to_measured(film_reflectance(k, s, x, OVER_BLACK), SURFACE)
        got = predict(c, f, np.array([thickness]), OVER_BLACK)
    # The standard deviation of 20000 draws has a standard uncertainty of 0.5 %.
    np.testing.assert_allclose(drawn.std(axis=0), got.uncertainty[0], rtol=0.03)
    covariance = np.cov(lab(drawn).T)
    sd = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(
        covariance / np.outer(sd, sd),
        got.lab_covariance()[0] / np.outer(sd, sd),
        atol=0.04,
    )


def test_a_band_needs_only_what_was_read():
    """Many instruments read 400 to 700 nm; beyond, K and S are unknown."""
    ends = (GRID < 400) | (GRID > 700)
    c = coefficients()
    cut = replace(c, **{name: np.where(ends, np.nan, getattr(c, name)) for name in ("k", "s")})
    f = np.array([[0.6, 0.2, 0.2]])
    sd = [np.sqrt(np.diagonal(predict(each, f).lab_covariance()[0])) for each in (c, cut)]
    np.testing.assert_allclose(sd[1], sd[0], rtol=0.1)


def test_model_error_adds_to_the_band():
    f = np.array([[0.5, 0.5, 0.0]])
    plain, wider = predict(C, f), predict(coefficients(model_error=np.full(GRID.size, 0.02)), f)
    np.testing.assert_allclose(wider.uncertainty**2, plain.uncertainty**2 + 0.02**2, rtol=1e-9)
    assert np.all(np.diagonal(wider.lab_covariance() - plain.lab_covariance(), 0, 1, 2) > 0)


def test_a_paint_alone_has_the_band_of_its_own_values():
    """Paints that aren't in the mix lend it no uncertainty."""
    sure = replace(C, local=C.local * [[[[1]]], [[[0]]], [[[0]]]],
                   own=C.own * [[[[1]]], [[[0]]], [[[0]]]])  # fmt: skip
    f = np.array([[1.0, 0, 0]])
    np.testing.assert_allclose(predict(sure, f).uncertainty, predict(C, f).uncertainty, rtol=1e-12)


def test_another_geometry_of_the_same_k2():
    angled = replace(SURFACE, geometry="45:0")
    f = np.array([[0.5, 0.5, 0.0]])
    expected = to_measured(opaque_reflectance(f @ C.k, f @ C.s), angled)
    np.testing.assert_allclose(predict(C, f, surface=angled).reflectance, expected, atol=1e-14)


def test_another_k2_is_refused():
    with pytest.raises(ValueError, match="k2"):
        predict(C, np.array([[1.0, 0, 0]]), surface=replace(SURFACE, k2=0.5))


def test_a_film_needs_its_substrate_and_an_absolute_scale():
    f, x = np.array([[1.0, 0, 0]]), np.array([0.07])
    with pytest.raises(ValueError, match="substrate"):
        predict(C, f, x)
    relative = replace(C, scale="relative to W")
    with pytest.raises(ValueError, match="relative to W"):
        predict(relative, f, x, OVER_BLACK)
    assert np.all(np.isfinite(predict(relative, f).reflectance))


def test_select_keeps_rows_together():
    few = C.select(["B", "W"])
    assert few.paints == ("B", "W")
    f, g = np.array([[0.3, 0, 0.7]]), np.array([[0.7, 0.3]])
    np.testing.assert_allclose(predict(few, g).uncertainty, predict(C, f).uncertainty, rtol=1e-12)
    with pytest.raises(KeyError):
        C.select(["R", "OCHRE"])


def test_covariance_of_one_value():
    u_k, u_s = C.uncertainty
    total = C.covariance
    np.testing.assert_allclose(u_k**2, total[:, 0, 0])
    np.testing.assert_allclose(u_s**2, total[:, 1, 1])
    alone = replace(C, own=0 * C.own, factors=0 * C.factors).covariance
    np.testing.assert_allclose(alone, C.local)
