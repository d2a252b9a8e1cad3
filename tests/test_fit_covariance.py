"""A small problem solved twice: in blocks and border, and as one dense least-squares problem."""

import numpy as np
import pytest
from scipy.optimize import least_squares
from tintladder.calibrate.fit.judging.quality import nuisance_table
from tintladder.calibrate.fit.minimise import smooth_prior
from tintladder.calibrate.fit.problem.arrays import build
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.start import starting_values
from tintladder.calibrate.fit.solver.clusters import clusters
from tintladder.calibrate.fit.solver.forward import Block
from tintladder.calibrate.fit.solver.solve import solve
from tintladder.calibrate.fit.uncertainty.model_errors import first_weight
from tintladder.calibrate.fit.uncertainty.posterior import coefficients, spread
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface

from tests.synthetic import TUBES, ladder, read


class Dense:
    """All unknowns in one vector: log K and log S of every paint, then the nuisance values."""

    def __init__(self, problem, prior, weight):
        self.problem, self.prior, self.weight = problem, prior, weight
        n, m = len(problem.paints), len(problem.nuisances)
        self.block = Block(
            problem, np.arange(len(problem.patches)), np.arange(n), n, np.arange(m), m
        )
        self.shape = (n, 2, GRID.size)
        self.roots = np.linalg.cholesky(prior.precision).transpose(0, 2, 1)

    def split(self, z):
        size = int(np.prod(self.shape))
        return z[:size].reshape(self.shape), z[size:]

    def residuals(self, z):
        theta, nu = self.split(z)
        made = self.block.predict(theta[:, 0], theta[:, 1], nu)[0]
        read = np.sqrt(self.weight) * (made - self.problem.measured)
        off = (theta - self.prior.center).reshape(len(self.roots), -1)
        held = np.einsum("pij,pj->pi", self.roots, off)
        return np.concatenate([read.ravel(), held.ravel(), nu])

    def jacobian(self, z):
        theta, nu = self.split(z)
        n, _, w = self.shape
        _, spectral, scalar, _ = self.block.predict(theta[:, 0], theta[:, 1], nu)
        rows = spectral.shape[0]
        read = np.zeros((rows, w, n, 2, w))
        at = np.arange(w)
        read[:, at, :, :, at] = spectral.transpose(3, 0, 1, 2)
        by_nuisance = scalar.transpose(0, 2, 1).reshape(rows * w, -1)
        left = np.concatenate([read.reshape(rows * w, -1), by_nuisance], axis=1)
        left *= np.sqrt(self.weight).reshape(-1, 1)
        held = np.zeros((2 * n * w, z.size))
        for i in range(n):
            own = slice(2 * i * w, 2 * (i + 1) * w)
            held[own, own] = self.roots[i]
        nuisance = np.eye(nu.size, z.size, z.size - nu.size)
        return np.concatenate([left, held, nuisance])


@pytest.fixture(scope="module")
def both():
    """The two solutions of three paints, one of them satin and mixed with another."""
    settings = FitSettings(fit_k2=True)
    surface = Surface.of("45:0")
    cards = [ladder("W"), ladder("R", (1, 7), surface="satin"), ladder("Y", (3,))]
    problem = build([read(c, surface, 7 + i) for i, c in enumerate(cards)], TUBES, settings)
    start = starting_values(problem)
    prior = smooth_prior(problem, start, settings)
    weight = first_weight(problem, settings)
    ours = solve(problem, start, prior, weight, tolerance=1e-11, most=200)
    dense = Dense(problem, prior, weight)
    z0 = np.concatenate([start.ravel(), np.zeros(len(problem.nuisances))])
    found = least_squares(dense.residuals, z0, dense.jacobian, method="lm", xtol=1e-12, ftol=1e-14)
    jacobian = dense.jacobian(found.x)
    return problem, ours, dense, found, np.linalg.inv(jacobian.T @ jacobian)


def test_blocks_and_border_find_the_dense_minimum(both):
    problem, ours, dense, found, covariance = both
    assert len(clusters(problem)[0]) == 3
    assert ours.cost == pytest.approx(2 * found.cost, rel=1e-9)
    theta, nu = dense.split(found.x)
    u_theta, u_nu = dense.split(np.sqrt(np.diag(covariance)))
    assert np.abs((ours.theta - theta) / u_theta).max() < 1e-3
    assert np.abs((ours.nu - nu) / u_nu).max() < 1e-3


def test_covariance_is_the_dense_inverse_hessian(both):
    problem, ours, dense, _, covariance = both
    none = np.zeros((len(problem.paints), GRID.size), dtype=bool)
    c = coefficients(problem, ours, none, none, TUBES)
    n, _, w = dense.shape
    full = covariance[: 2 * n * w, : 2 * n * w].reshape(n, 2, w, n, 2, w)
    at, each = np.arange(w), np.arange(n)
    # K and S are fitted as logarithms: to first order cov(K, S) = cov(log K, log S) times values.
    values = np.stack([c.k, c.s], axis=1)
    expected = full[each, :, :, each][:, :, at, :, at].transpose(1, 2, 3, 0)
    expected = expected * values[:, :, None] * values[:, None, :]
    scale = np.sqrt(np.einsum("piiw->piw", expected))
    scale = scale[:, :, None] * scale[:, None, :]
    np.testing.assert_allclose(c.covariance / scale, expected / scale, atol=1e-4)
    # How far films' surfaces lie from the record is learnt elsewhere; K and S alone say nothing.
    np.testing.assert_array_equal(c.surface_error, 0)


def test_kept_factors_carry_the_covariance_between_wavelengths(both):
    """What the few factors leave over stays in the blocks; what they hold is nearly all of it."""
    problem, ours, dense, _, covariance = both
    none = np.zeros((len(problem.paints), GRID.size), dtype=bool)
    c = coefficients(problem, ours, none, none, TUBES)
    n, _, w = dense.shape
    full = covariance[: 2 * n * w, : 2 * n * w].reshape(n, 2 * w, n, 2 * w)
    values = np.stack([c.k, c.s], axis=1).reshape(n, 2 * w)
    # The standard uncertainty of an even sum over wavelengths of log K, or of log S.
    for p in range(n):
        moved = np.concatenate([c.own[p], c.factors[:, p]]).reshape(-1, 2 * w) / values[p]
        for q, even in enumerate(np.eye(2).repeat(w, axis=1)):
            local = c.local[p, q, q] / (c.k[p], c.s[p])[q] ** 2
            kept = ((moved @ even) ** 2).sum() + local.sum()
            assert np.sqrt(kept / (even @ full[p, :, p] @ even)) == pytest.approx(1, abs=0.1)


def test_nuisance_uncertainties_are_the_dense_ones(both):
    problem, ours, _, _, covariance = both
    table = nuisance_table(problem, ours)
    sd = np.sqrt(np.diag(covariance))[-len(problem.nuisances) :]
    np.testing.assert_allclose(table["uncertainty"] / table["prior_sd"], sd, rtol=1e-4)
    assert (table["uncertainty"] <= table["prior_sd"] * (1 + 1e-9)).all()


def test_between_two_paints_the_border_is_all_that_they_share(both):
    """What a white leaves open moves a paint the other way: its sign is the dense one."""
    problem, ours, dense, _, covariance = both
    n, _, w = dense.shape
    full = covariance[: 2 * n * w, : 2 * n * w].reshape(n, 2 * w, n, 2 * w)
    sd = np.sqrt(np.einsum("pipi->pi", full))
    own, shared = spread(problem, ours)
    for p in range(n):
        for q in range(n):
            got = shared[p] @ shared[q].T + (own[p] if p == q else 0)
            scale = np.outer(sd[p], sd[q])
            np.testing.assert_allclose(got / scale, full[p, :, q] / scale, atol=1e-4)


def test_shared_factors_carry_the_covariance_between_paints(both):
    problem, ours, dense, _, covariance = both
    none = np.zeros((len(problem.paints), GRID.size), dtype=bool)
    c = coefficients(problem, ours, none, none, TUBES)
    n, _, w = dense.shape
    full = covariance[: 2 * n * w, : 2 * n * w].reshape(n, 2 * w, n, 2 * w)
    values = np.stack([c.k, c.s], axis=1).reshape(n, 2 * w)
    even = np.ones(2 * w) / (2 * w)
    moved = (c.factors.reshape(-1, n, 2 * w) / values) @ even
    apart = np.einsum("i,piqj,j->pq", even, full, even)
    sd = np.sqrt(np.diag(apart))
    np.testing.assert_allclose(
        (moved.T @ moved - apart)[~np.eye(n, dtype=bool)] / sd.max() ** 2, 0, atol=0.02
    )
