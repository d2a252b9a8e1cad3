"""What a fit's errors are made of, each part by itself: reading, bare card, model, mix."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.fit.minimise import smooth_prior
from tintladder.calibrate.fit.problem.arrays import Problem, build
from tintladder.calibrate.fit.problem.rows import Nuisance
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.start import starting_values
from tintladder.calibrate.fit.solver.solve import Solution, solve
from tintladder.calibrate.fit.uncertainty import model_errors
from tintladder.calibrate.fit.uncertainty.model_errors import (
    Errors,
    errors_at,
    first_weight,
    full_weight,
    learnt,
)
from tintladder.calibrate.fit.uncertainty.posterior import (
    coefficients,
    learnt_roughness,
    mix_error,
    model_error,
    reduced,
    spread,
)
from tintladder.calibrate.optics.spectra import GRID, Array
from tintladder.calibrate.optics.surface import to_inside, to_measured

from .synthetic import NOISE, TUBES, ladder, read

W = GRID.size
SETTINGS = FitSettings(noise=NOISE)


def mixture() -> Card:
    """A card of a mixture that belongs to nobody's ladder, and of the white alone."""
    drawdowns = (
        Drawdown("mix", None, {"R": 3.0, "Y": 6.0, "W": 1.0}, gap_um=280.0),
        Drawdown("white", None, {"W": 10.0}, gap_um=280.0),
    )
    return Card("mixture", "mixture.toml", drawdowns, balance_g=0.005)


def fitted(cards: list[Card], settings: FitSettings = SETTINGS) -> tuple[Problem, Solution, Array]:
    problem = build([read(card, seed=i) for i, card in enumerate(cards)], TUBES, settings)
    start, weight = starting_values(problem), first_weight(problem, settings)
    prior = smooth_prior(problem, start, settings)
    return problem, solve(problem, start, prior, weight, tolerance=1e-9), weight


@pytest.fixture(scope="module")
def made() -> tuple[Problem, Solution, Array]:
    return fitted([ladder("W"), ladder("R", (1, 7)), ladder("Y", (3,)), mixture()])


def of(solution: Solution, **known: object) -> Solution:
    """A solution of which something is known that would else be calculated."""
    other = replace(solution)
    other.__dict__.update(known)
    return other


# Weights.


def test_before_a_fit_a_reading_weighs_by_its_noise_and_a_share_of_itself(made) -> None:
    problem = made[0]
    measured, variance = problem.measured.copy(), problem.variance.copy()
    measured[0, 0], variance[0, 0], measured[1, 2] = 0.5, 0.0009, np.nan
    given = FitSettings(model_spread=0.08)
    weight = first_weight(replace(problem, measured=measured, variance=variance), given)
    assert weight[0, 0] == pytest.approx(1 / (0.0009 + 0.04**2))
    assert weight[1, 2] == 0 and (np.delete(weight.ravel(), W + 2) > 0).all()
    # Where it is to be learnt, the least that two fluxes get wrong stands in.
    first = first_weight(replace(problem, measured=measured, variance=variance), FitSettings())
    assert first[0, 0] == pytest.approx(1 / (0.0009 + 0.035**2))


def test_the_bare_cards_own_error_reaches_a_patch_through_the_film(made) -> None:
    """Its variance times the square of how much of the substrate shows; none where paint hides."""
    problem, solution, _ = made
    errors = errors_at(problem, solution)
    by = solution.by_bare
    shown = np.abs(by).max()
    assert shown > 0.05 and (problem.bare_variance > 0).all()
    np.testing.assert_allclose(errors.read, problem.variance + by * by * problem.bare_variance)
    assert (errors.read >= problem.variance).all() and (errors.read > problem.variance).any()
    without = errors_at(replace(problem, bare_variance=0 * problem.bare_variance), solution)
    np.testing.assert_array_equal(without.read, problem.variance)


def test_the_slope_by_the_bare_card_is_that_of_a_small_step(made) -> None:
    problem, solution, weight = made
    moved = replace(problem, bare=problem.bare + 1e-5)
    prior = solution.prior
    # No step is taken: the same K and S, over a card that is a little lighter.
    again = solve(moved, solution.theta, prior, weight, nu=solution.nu, most=0)
    step = (again.fitted - solution.fitted) / 1e-5
    np.testing.assert_allclose(solution.by_bare, step, rtol=1e-3, atol=1e-5)


def test_the_models_error_is_a_relative_change_of_what_is_inside(made) -> None:
    problem, solution, _ = made
    errors = errors_at(problem, solution)
    for n, surface in enumerate(problem.surfaces):
        r = to_inside(solution.fitted[n], surface)
        up, down = (to_measured(r + s * 1e-6 * r * (1 - r), surface) for s in (1, -1))
        np.testing.assert_allclose(errors.bend[n], (up - down) / 2e-6, rtol=1e-6)


def test_a_patch_belongs_to_its_ladder_else_to_its_colour_and_a_white_to_itself(made) -> None:
    problem, solution, _ = made
    owner = [problem.paints[i] for i in errors_at(problem, solution).owner]
    for patch, whose in zip(problem.patches, owner, strict=True):
        expected = {"mix": "Y", "white": "W"}.get(patch.step, patch.paint)
        assert whose == expected, patch


def test_variances_of_reading_and_model_add_and_a_paints_factor_is_the_models_alone() -> None:
    """By hand: 0.0001 + 2^2 (0.01^2 + (0.1 x 0.2)^2) = 0.0021 for a factor of 2."""
    errors = Errors(np.full((2, 1), 1e-4), np.full((2, 1), 0.2), np.array([0, 1]))
    given = FitSettings(model_spread=0.1, dark_spread=0.01, paint_errors={"R": 2.0})
    np.testing.assert_allclose(errors.variance(given, ("W", "R")), [[0.0006], [0.0021]])


def test_at_a_fit_a_reading_weighs_by_both_errors_and_nothing_where_unread(made) -> None:
    problem, solution, _ = made
    measured, variance = problem.measured.copy(), problem.variance.copy()
    measured[0, 3] = np.nan
    bare = problem.bare_variance.copy()
    bare[1, 4] = np.nan
    gap = replace(problem, measured=measured, variance=variance, bare_variance=bare)
    given = replace(SETTINGS, model_spread=0.1, dark_spread=0.01)
    weight = full_weight(gap, solution, given)
    assert weight[0, 3] == 0 and weight[1, 4] == 0
    errors = errors_at(problem, solution)
    total = errors.read + 0.01**2 + (0.1 * errors.bend) ** 2
    rest = weight > 0
    assert rest.sum() == weight.size - 2
    np.testing.assert_allclose(weight[rest], 1 / total[rest])


# What is learnt of the model's error.


def drawn(made, spread: float, dark: float, of_paint: dict[str, float] | None = None):
    """Residuals drawn from what the model's errors are said to be, taken up by no fit."""
    problem, solution, _ = made
    errors = errors_at(problem, solution)
    factor = np.array([(of_paint or {}).get(p, 1.0) for p in problem.paints])[errors.owner, None]
    sd = np.sqrt(errors.read + factor**2 * (dark**2 + (spread * errors.bend) ** 2))
    noise = np.random.default_rng(8).standard_normal(sd.shape)
    return replace(problem, measured=solution.fitted + sd * noise)


@pytest.fixture
def nothing_taken_up(monkeypatch) -> None:
    monkeypatch.setattr(model_errors, "fitted_variance", lambda s: 0 * s.problem.measured)


@pytest.mark.usefixtures("nothing_taken_up")
@pytest.mark.parametrize(("share", "dark"), [(0.2, 0.004), (0.12, 0.012), (0.35, 0.001)])
def test_spread_and_dark_of_drawn_residuals_are_found(made, share: float, dark: float) -> None:
    problem = drawn(made, share, dark)
    found = learnt(problem, made[1], np.ones(problem.measured.shape), SETTINGS, by_paint=False)
    assert found.model_spread == pytest.approx(share, rel=0.12)
    assert found.dark_spread == pytest.approx(dark, rel=0.35, abs=0.001)
    assert found.paint_errors == {}


@pytest.mark.usefixtures("nothing_taken_up")
def test_no_more_is_learnt_than_paint_can_be_wrong_by_and_no_less_than_the_labs(made) -> None:
    ones = np.ones(made[0].measured.shape)
    far = learnt(drawn(made, 4.0, 0.2), made[1], ones, SETTINGS, by_paint=False)
    assert far.model_spread == pytest.approx(1.0) and far.dark_spread == pytest.approx(0.03)
    none = learnt(drawn(made, 0.0, 0.0), made[1], ones, SETTINGS, by_paint=False)
    assert none.model_spread == pytest.approx(SETTINGS.least_spread) == pytest.approx(0.07)


@pytest.mark.usefixtures("nothing_taken_up")
def test_a_paints_factor_is_drawn_towards_one_and_never_below(made) -> None:
    problem = drawn(made, 0.1, 0.002, {"R": 3.0})
    weight = np.ones(problem.measured.shape)
    found = learnt(problem, made[1], weight, SETTINGS, by_paint=True).paint_errors
    assert set(found) == {"W", "R", "Y"}
    assert 1.5 < found["R"] < 3.0 and found["W"] == 1.0 == pytest.approx(found["Y"], abs=0.2)


@pytest.mark.usefixtures("nothing_taken_up")
def test_what_has_no_say_teaches_nothing(made) -> None:
    problem = drawn(made, 0.15, 0.003)
    weight, measured = np.ones(problem.measured.shape), problem.measured.copy()
    measured[2], measured[5, :9] = 7.0, np.nan
    weight[2], weight[5, :9] = 0.0, 0.0
    found = learnt(replace(problem, measured=measured), made[1], weight, SETTINGS, by_paint=True)
    assert found.model_spread == pytest.approx(0.15, rel=0.15)
    none = learnt(problem, made[1], 0 * weight, SETTINGS, by_paint=True)
    assert none is SETTINGS


def test_what_a_fit_took_up_does_not_count_as_certain(made, monkeypatch) -> None:
    """Residuals of half the variance, where half of it was taken up, tell of the whole error."""
    problem = drawn(made, 0.2, 0.004)
    half = replace(problem, measured=made[1].fitted
                   + np.sqrt(0.5) * (problem.measured - made[1].fitted))  # fmt: skip
    monkeypatch.setattr(model_errors, "fitted_variance", lambda s: 0.5 + 0 * s.problem.measured)
    found = learnt(half, made[1], np.ones(half.measured.shape), SETTINGS, by_paint=False)
    assert found.model_spread == pytest.approx(0.2, rel=0.15)


@pytest.mark.parametrize("taken", [0.0, 0.5, 1.0])
def test_paints_factors_by_hand(made, monkeypatch, taken: float) -> None:
    """A paint's squares over those expected, beside twelve values that are as expected.

    A patch comes to four independent values, of which those count that the fit left free: at least
    one in fifty of each.
    """
    problem, solution, _ = made
    problem = drawn(made, 0.1, 0.002, {"R": 3.0, "Y": 1.4})
    weight = np.ones(problem.measured.shape)
    weight[1], weight[4, :12], weight[6, 3:] = 0.0, 0.0, 0.0
    monkeypatch.setattr(model_errors, "fitted_variance", lambda s: taken + 0 * s.problem.measured)
    found = learnt(problem, solution, weight, SETTINGS, by_paint=True)
    errors, good = errors_at(problem, solution), weight > 0
    expected = errors.variance(replace(found, paint_errors={}), problem.paints)
    square = np.where(good, (problem.measured - solution.fitted) ** 2 / expected, 0.0)
    free = max(1 - taken, 0.02) * good
    for i, paint in enumerate(problem.paints):
        values = off = 0.0
        for d in np.unique(problem.drawdown):
            rows = problem.drawdown == d
            if errors.owner[rows][0] != i:
                continue
            values += 4 * free[rows].mean(axis=1).sum()
            off += 4 * free[rows].mean(axis=1).sum() * square[rows].sum() / free[rows].sum()
        factor = np.sqrt(max((12 + off) / (12 + values), 1.0))
        assert found.paint_errors[paint] == pytest.approx(factor, abs=2e-6), paint


@pytest.mark.usefixtures("nothing_taken_up")
def test_what_is_made_least_is_the_likelihood_of_normal_errors(made) -> None:
    problem, solution, _ = made
    problem = drawn(made, 0.2, 0.004)
    weight = np.ones(problem.measured.shape)
    weight[3, :10] = 0.0
    left = model_errors._LeftOver(problem, solution, weight)
    at, say = np.log([0.15, 0.006]), np.ones(len(weight))
    value, slopes = left.unlikeliness(at, say)
    given = FitSettings(model_spread=0.15, dark_spread=0.006)
    sd = np.sqrt(errors_at(problem, solution).variance(given, problem.paints))
    likely = norm.logpdf(problem.measured, solution.fitted, sd) + np.log(2 * np.pi) / 2
    assert value == pytest.approx(-2 * likely[weight > 0].mean())
    for i, step in enumerate(1e-5 * np.eye(2)):
        ends = [left.unlikeliness(at + e, say)[0] for e in (step, -step)]
        assert slopes[i] == pytest.approx((ends[0] - ends[1]) / 2e-5, rel=1e-5)


@pytest.mark.usefixtures("nothing_taken_up")
def test_a_step_far_off_says_less(made) -> None:
    """Student's distribution of four degrees of freedom: by hand for a step four times as far."""
    problem, solution, _ = made
    given = FitSettings(model_spread=0.1, dark_spread=0.002)
    variance = errors_at(problem, solution).variance(given, problem.paints)
    rows = problem.drawdown == 0
    off = np.where(rows[:, None], 4.0, 1.0) * np.sqrt(variance)
    problem = replace(problem, measured=solution.fitted + off)
    say = model_errors._LeftOver(problem, solution, np.ones(off.shape)).say(np.log([0.1, 0.002]))
    values = 4.0 * rows.sum()
    np.testing.assert_allclose(say[rows], (4 + values) / (4 + 16 * values))
    np.testing.assert_allclose(say[~rows], 1.0)


# What a mix, and each wavelength, is off by beside.


def test_mix_error_is_not_learnt_from_masstones_of_the_paint_itself_but_from_others(made) -> None:
    """By hand: a paint's is the RMS over drawdowns it isn't in; a white's over all of them."""
    problem, solution, _ = made
    nu = np.zeros(len(problem.nuisances))
    size: dict[str, list[float]] = {p: [] for p in problem.paints}
    for m, nuisance in enumerate(problem.nuisances):
        if nuisance.kind != "two fluxes":
            nu[m] = 50.0  # another kind has no say
            continue
        nu[m] = 1.0 + m
        d = nuisance.drawdowns[0]
        for i, paint in enumerate(problem.paints):
            if i in problem.hubs or problem.fractions[d, i] == 0:
                size[paint].append(nuisance.spread * nu[m])
    expected = [np.sqrt(np.mean(np.square(size[p]))) for p in problem.paints]
    np.testing.assert_allclose(mix_error(problem, replace(solution, nu=nu)), expected)
    assert problem.paints[problem.hubs[0]] == "W" and len(size["W"]) > len(size["R"]) > 0


def test_a_paint_fitted_alone_has_the_usual_mix_error_and_transport_a_least_one(made) -> None:
    problem, solution, _ = made
    only = replace(problem, fractions=np.ones_like(problem.fractions), hubs=())
    np.testing.assert_array_equal(mix_error(only, solution), [0.1, 0.1, 0.1])
    by_transport = replace(only, model="transport")
    np.testing.assert_array_equal(mix_error(by_transport, solution), [0.01, 0.01, 0.01])
    fractions = np.ones_like(problem.fractions)
    other = next(n for n in problem.nuisances if n.kind == "two fluxes").drawdowns[0]
    fractions[other, 1] = 0.0
    nu = np.full(len(problem.nuisances), 2.0)
    one = mix_error(replace(only, fractions=fractions), replace(solution, nu=nu))
    np.testing.assert_allclose(one, [0.1, 2 * SETTINGS.two_flux_spread, 0.1])
    calm = replace(solution, nu=0 * solution.nu)
    np.testing.assert_array_equal(mix_error(problem, calm), [0, 0, 0])
    np.testing.assert_array_equal(
        mix_error(replace(problem, model="transport"), calm), [0.01, 0.01, 0.01]
    )


def test_the_models_error_is_kept_apart_from_reading_noise(made) -> None:
    """By hand: the mean square that is left over, less the readings' own variance."""
    problem, solution, _ = made
    n = len(problem.patches)
    off = np.full((n, W), 0.03)
    off[0, 5], off[1, 5] = np.nan, 0.07
    variance = np.full((n, W), 0.02**2)
    variance[:, 7] = 0.05**2
    at = replace(problem, measured=solution.fitted + off, variance=variance)
    found = model_error(at, solution)
    np.testing.assert_allclose(np.delete(found, [5, 7]), np.sqrt(0.03**2 - 0.02**2))
    fifth = ((n - 2) * 0.03**2 + 0.07**2) / (n - 1) - 0.02**2
    assert found[5] == pytest.approx(np.sqrt(fifth)) and found[7] == 0
    least = model_error(replace(at, model="transport"), solution)
    assert least[7] == 0.0015 and least[0] == found[0]


# Covariance.


def test_two_paints_share_only_what_the_border_adds(made) -> None:
    """The parts make up the covariance of the border and of every block behind it."""
    problem, solution, _ = made
    own, shared = spread(problem, solution)
    hub = problem.hubs[0]
    assert not own[hub].any() and all(own[p].any() for p in range(3) if p != hub)
    np.testing.assert_allclose(
        shared[hub] @ shared[hub].T, solution.border[: 2 * W, : 2 * W], rtol=1e-8, atol=1e-12
    )


def test_few_factors_and_what_they_leave_over_keep_every_variance() -> None:
    rng = np.random.default_rng(3)
    root = rng.standard_normal((2 * W, 30)) * 0.02
    value = np.exp(rng.standard_normal((2, W)))
    covariance = root @ root.T
    own, local = reduced(covariance, value)
    assert own.shape == (8, 2, W) and local.shape == (2, 2, W)
    total = local + np.einsum("giw,gjw->ijw", own, own)
    full = covariance.reshape(2, W, 2, W)[:, np.arange(W), :, np.arange(W)].transpose(1, 2, 0)
    np.testing.assert_allclose(total, full * value[:, None] * value[None], rtol=1e-9)
    assert np.linalg.eigvalsh(local.transpose(2, 0, 1)).min() > -1e-15
    np.testing.assert_allclose(local[0, 1], local[1, 0], rtol=1e-12)


def test_factors_are_those_that_colours_feel_most() -> None:
    """K of a film that hardly absorbs is felt in proportion to the slope of an opaque film.

    R_inf = 1 + q - sqrt(q^2 + 2 q) moves by R_inf sqrt(q / (q + 2)) with the log of q = K/S.
    """
    q = np.geomspace(1e-3, 10, W)
    value = np.stack([q, np.ones(W)])
    felt = np.sqrt(q / (q + 2)) * (1 + q - np.sqrt(q * (q + 2))) + 0.02
    # Nine causes, of which the eighth and the ninth are felt nearly alike.
    causes = np.zeros((9, 2 * W))
    for i in range(9):
        causes[i, 4 * i : 4 * i + 4] = (1 + 0.1 * (9 - i)) / felt[4 * i : 4 * i + 4]
    own, local = reduced(causes.T @ causes, value)
    carried = (own**2).sum(axis=0)[0]
    assert (carried[:32] > 0).all() and not carried[32:].any()
    assert (local[0, 0, 32:] > 0).all()


def test_roughness_is_learnt_at_the_bends(made) -> None:
    """Of a bend among smooth flanks the larger squares count, not their mean."""
    problem, solution, _ = made
    theta = np.zeros_like(solution.theta)
    theta[:, 0, 18:] = 1.0  # one edge: second differences of 1 and -1 among zeros
    certain = 1e12 * np.eye(len(solution.border))
    sure = replace(solution, theta=theta)
    tight = of(sure, blocks=(), border=np.linalg.inv(certain), _eliminated=([], certain, certain))
    k, s = learnt_roughness(problem, tight)
    assert k == pytest.approx(1.0, abs=1e-3) and s < 1e-3
    assert learnt_roughness(problem, tight, held=(0, 1, 2)) == (0.2, 0.2)
    relative = replace(problem, scale=f"relative to {problem.paints[0]}")
    assert learnt_roughness(relative, tight, held=(1, 2))[1] == 0.2
    assert learnt_roughness(relative, tight, held=(1, 2))[0] == pytest.approx(1.0, abs=1e-3)


def test_uncertain_bends_are_rough_as_far_as_they_are_uncertain(made) -> None:
    """The expected square of a second difference: its own square and its variance."""
    problem, solution, _ = made
    own, shared = spread(problem, solution)
    second = np.diff(np.eye(W), 2, axis=0)
    squares = []
    for p in range(len(problem.paints)):
        cov = own[p] + shared[p] @ shared[p].T
        var = np.diag(second @ cov[:W, :W] @ second.T)
        squares.append((second @ solution.theta[p, 0]) ** 2 + var)
    expected = np.sqrt(np.percentile(np.concatenate(squares), 99))
    assert learnt_roughness(problem, solution)[0] == pytest.approx(expected, rel=1e-9)


def test_a_record_carries_the_surface_and_the_volumes_that_were_fitted() -> None:
    problem, solution, _ = fitted([ladder("W"), ladder("R", (1,))], replace(SETTINGS, fit_k2=True))
    offset = Nuisance("R: surface", "surface", 0.002, "", (1,), problem.paints.index("R"))
    problem = replace(
        problem, nuisances=(*problem.nuisances, offset), surface_offset=np.array([0.003, 0.0])
    )
    solution = replace(solution, nu=np.append(solution.nu, 1.5))
    first, second, *rest = problem.surfaces
    problem = replace(problem, surfaces=(first, replace(second, gloss="satin"), *rest))
    none = np.zeros((2, W), dtype=bool)
    c = coefficients(problem, solution, none, none, TUBES)
    assert c.surface == replace(first, k2=c.surface.k2)
    place = [n.kind for n in problem.nuisances].index("k2")
    assert abs(solution.nu[place]) > 1e-3
    assert c.surface.k2 == pytest.approx(problem.surfaces[0].k2 + 0.05 * solution.nu[place])
    np.testing.assert_allclose(c.surface_offset, [0.003, 0.003])
    assert problem.surface_offset[1] == 0  # what was known before stays as it was
    np.testing.assert_allclose(c.density, [1.3, 1.3])
    np.testing.assert_allclose(c.k, np.exp(solution.theta[:, 0]))
    np.testing.assert_allclose(c.s, np.exp(solution.theta[:, 1]))
    assert c.factor_names[0] == "shared 1" and len(set(c.factor_names)) == len(c.factors) == 16
    assert not c.scan_made.any()
