"""The joint fit: gives back what made the readings, and solves what it says it solves."""

import numpy as np
import pytest
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.minimise import smooth_prior
from tintladder.calibrate.fit.problem.arrays import build
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.start import starting_values
from tintladder.calibrate.fit.solver import clusters as clusters_module
from tintladder.calibrate.fit.solver.solve import solve
from tintladder.calibrate.fit.uncertainty.model_errors import first_weight
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface

from tests.heldout import by_coefficients, differences, figures
from tests.lab.drawdown import Lab
from tests.synthetic import KS, NOISE, TUBES, ladder, ladders, read

# Readings without error, and a fit that trusts them so.
SURE = FitSettings(two_flux_spread=1e-6, model_spread=0.0, noise=(1e-6, 1e-6), roughness=(1, 1))
NO_MODEL_ERROR = FitSettings(two_flux_spread=1e-6, model_spread=0.0, noise=NOISE, roughness=(1, 1))


def truth(paints):
    return tuple(np.array([KS[p][i] for p in paints]) for i in (0, 1))


@pytest.mark.parametrize(
    "surface",
    [Surface.of("di:8"), Surface.of("di:8", "excluded"), Surface.of("45:0")],
    ids=lambda s: f"{s.geometry} {s.specular}",
)
@pytest.mark.parametrize("gloss", ["gloss", "satin"])
def test_exact_readings_give_k_and_s_back(surface, gloss):
    paints = ("W", "R", "E")
    fit = fit_paints(ladders(paints, surface=surface, gloss=gloss), TUBES, SURE)
    c = fit.coefficients
    k, s = truth(c.paints)
    assert c.scale == "absolute"
    np.testing.assert_allclose(c.k, k, rtol=1e-3)
    np.testing.assert_allclose(c.s, s, rtol=1e-3)
    assert max(p.de00_max for p in fit.paints.values()) < 1e-3
    assert {p.verdict for p in fit.paints.values()} == {"good to mix by"}


def test_opaque_ladders_give_them_back_relative_to_white():
    """S of the white is 1; the rest within their own uncertainty, as grams fix only so much."""
    fit = fit_paints(ladders(opaque_films=True), TUBES, NO_MODEL_ERROR)
    c = fit.coefficients
    k, s = (v / KS["W"][1] for v in truth(c.paints))
    assert c.scale == "relative to W"
    np.testing.assert_allclose(c.s[c.index("W")], 1, atol=1e-6)
    np.testing.assert_allclose(c.k[c.index("W")], k[c.index("W")], rtol=5e-3)
    u_k, u_s = c.uncertainty
    assert np.all(np.abs(c.k - k) < 0.5 * u_k)
    others = [i for i, p in enumerate(c.paints) if p != "W"]
    assert np.all(np.abs(c.s - s)[others] < 0.5 * u_s[others])
    # K/S shows in the masstone itself. At the ends of the blue the tints tell nothing of it.
    shown = (k / s > 1e-3) & (k / s < 50)
    np.testing.assert_allclose((c.k / c.s)[shown], (k / s)[shown], rtol=0.02)


def test_noisy_readings_give_them_back_within_their_uncertainty():
    """Errors drawn from the fit's own priors: their mean square, in standard uncertainties, is 1.

    Over seeds, paints and wavelengths. What all share, such as the applicator, leaves about one
    degree of freedom a seed: the mean of 12 lies in 0.37 to 1.94 with 95 % probability.
    """
    z = []
    for seed in range(1, 13):
        fit = fit_paints(ladders(seed=seed), TUBES, NO_MODEL_ERROR)
        c = fit.coefficients
        k, s = truth(c.paints)
        u_k, u_s = c.uncertainty
        z += [(c.k - k) / u_k, (c.s - s) / u_s]
    assert 0.37 < np.mean(np.square(z)) < 1.94


def test_fit_stops_and_reports_its_steps():
    steps = []
    fit_paints(ladders(("W", "R")), TUBES, progress=lambda i, cost: steps.append((i, cost)))
    assert 2 < len(steps) < 40
    assert all(np.isfinite(cost) for _, cost in steps)


def test_same_readings_same_bytes():
    one, other = (fit_paints(ladders(("W", "R", "B"), seed=3), TUBES) for _ in range(2))
    for name in ("k", "s", "local", "own", "factors", "model_error"):
        a, b = (getattr(f.coefficients, name) for f in (one, other))
        assert a.tobytes() == b.tobytes(), name
    assert one.nuisances.equals(other.nuisances)


def test_blocks_side_by_side_are_formed_as_each_alone(monkeypatch):
    """Ladders of other lengths share a batch, the shorter filled up; that may change no sum."""
    cards = [ladder("W"), ladder("R", (1, 7)), ladder("Y", (3,)), ladder("B", (1, 3, 15))]
    readings = [read(card, seed=7 + i) for i, card in enumerate(cards)]
    settings = FitSettings(fit_k2=True, fit_substrate=True)
    found = []
    for together in (1, 8):
        monkeypatch.setattr(clusters_module, "_TOGETHER", together)
        problem = build(readings, TUBES, settings)
        start = starting_values(problem)
        prior = smooth_prior(problem, start, settings)
        weight = first_weight(problem, settings)
        found.append(solve(problem, start, prior, weight, most=5))
    assert [len(b.blocks) for b in clusters_module.batches(found[1].problem)] == [3, 1]
    np.testing.assert_allclose(found[0].theta, found[1].theta, rtol=1e-9)
    np.testing.assert_allclose(found[0].nu, found[1].nu, atol=1e-9)
    np.testing.assert_allclose(found[0].border, found[1].border, rtol=1e-6, atol=1e-12)


def test_few_steps_come_to_rest():
    settings, steps = FitSettings(), []
    cards = [ladder("W"), ladder("B")]
    problem = build([read(card, seed=2) for card in cards], TUBES, settings)
    start, weight = starting_values(problem), first_weight(problem, settings)
    prior = smooth_prior(problem, start, settings)
    found = solve(
        problem, start, prior, weight, tolerance=1e-9, progress=lambda *s: steps.append(s)
    )
    assert found.settled and len(steps) < 20
    again = solve(problem, found.theta, prior, weight, nu=found.nu, tolerance=1e-9)
    assert again.cost == pytest.approx(found.cost, abs=1e-6)


# Readings that fall short of the inside range.


def shortened(readings, low=400, high=700):
    values = readings.spectra.values.copy()
    values[:, (low > GRID) | (high < GRID)] = np.nan
    spectra = type(readings.spectra).from_values(GRID, values, readings.spectra.labels)
    return type(readings)(readings.card, spectra, readings.surface, readings.source)


def test_unread_wavelengths_have_no_k_and_s():
    fit = fit_paints([shortened(r) for r in ladders(("W", "R"), seed=1)], TUBES)
    c = fit.coefficients
    outside = (GRID < 400) | (GRID > 700)
    assert np.isnan(c.k[:, outside]).all()
    assert np.isnan(c.s[:, outside]).all()
    assert np.isfinite(c.k[:, ~outside]).all()
    assert np.isfinite(c.s[:, ~outside]).all()
    u_k, u_s = c.uncertainty
    assert np.isfinite(u_k[:, ~outside]).all()
    assert np.isfinite(u_s[:, ~outside]).all()
    patches = fit.paints["R"].patches
    assert np.isfinite(patches["de00"]).all()
    assert patches["flag"].str.contains("unread").all()


def test_what_is_read_decides_nothing_elsewhere():
    """K and S of the wavelengths read are those of a full reading, but for a shared thickness."""
    full = fit_paints(ladders(("W", "R"), seed=1), TUBES).coefficients
    short = fit_paints([shortened(r) for r in ladders(("W", "R"), seed=1)], TUBES).coefficients
    inner = (GRID >= 420) & (GRID <= 680)
    apart = np.abs(full.k - short.k) / full.uncertainty[0]
    assert apart[:, inner].max() < 0.5


def test_one_paint_read_further_than_another():
    white, red = ladders(("W", "R"), seed=1)
    c = fit_paints([white, shortened(red)], TUBES).coefficients
    assert np.isfinite(c.k[c.index("W")]).all()
    assert np.isnan(c.k[c.index("R"), 0])


def test_a_white_read_alone():
    fit = fit_paints(ladders(("W",), seed=1), TUBES)
    k, s = truth(("W",))
    assert fit.coefficients.paints == ("W",)
    u_k, u_s = fit.coefficients.uncertainty
    assert np.mean(np.abs(fit.coefficients.s - s) / u_s) < 3
    assert np.mean(np.abs(fit.coefficients.k - k) / u_k) < 3


def test_heldout_mixtures_of_the_lab():
    """Adding-doubling paint, demo noise: the bench's target, of one seed."""
    lab = Lab()
    cards = lab.ladder_cards(1)
    fit = fit_paints([card.noisy for card in cards], lab.tubes)
    mixtures = lab.random_mixtures(20, 1)
    found = figures(differences(by_coefficients(fit.coefficients), mixtures.readings))
    assert found.mean <= 1.3
    assert found.p95 <= 2.6


def test_fitted_k2_goes_with_its_k_and_s():
    settings = FitSettings(fit_k2=True)
    fit = fit_paints(ladders(("W", "R", "E"), seed=2), TUBES, settings)
    table = fit.nuisances.set_index("kind")
    expected = Surface.of("di:8").k2 + table.loc["k2", "value"]
    assert fit.coefficients.surface.k2 == pytest.approx(expected, abs=1e-9)
