"""Films that were brushed out: no thickness known, none asked to hide, the pair always used."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.arrays import build
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.scans.check import check_scans
from tintladder.calibrate.fit.scans.recovery import fit_scan
from tintladder.calibrate.fit.solver.clusters import clusters
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.spectra import GRID

from . import synthetic
from .brushed_world import THIN_MM, brushed, hiding, mixtures, quick_card
from .invented_scanner import LED, scanned
from .lab.drawdown import Lab
from .lab.paints import WHITE

SEED = 3
PAINTS = (WHITE, "PENNANT", "BUOY")
"""A white, a clear magenta and a red."""


@pytest.fixture(scope="module")
def painted():
    return [brushed(quick_card(p), SEED, dry_mm=THIN_MM) for p in PAINTS]


@pytest.fixture(scope="module")
def scan_fit(painted):
    scans = [scanned(each.readings, LED, SEED) for each in painted]
    return fit_scan(scans, Lab().tubes, LED)


def off(coefficients, geometry="45:0"):
    """CIEDE2000 of mixtures that hide, seen by nobody."""
    mixes = mixtures(PAINTS, 12, SEED)
    made = predict(coefficients, dry_fractions(coefficients, mixes))
    return ciede2000(made.lab(), lab(hiding(mixes, geometry)))


def test_the_pair_tells_scattering_without_any_thickness(painted, scan_fit):
    as_if_hiding = fit_scan(
        [scanned(each.readings, LED, SEED) for each in painted],
        Lab().tubes, LED, settings=FitSettings(coat_spread=0.0),
    )  # fmt: skip
    ours, before = off(scan_fit.coefficients), off(as_if_hiding.coefficients)
    assert ours.mean() < 2.0 and ours.max() < 4.5
    assert ours.mean() < before.mean()


def test_no_film_is_refused_and_none_set_aside(scan_fit):
    assert scan_fit.coefficients.scale == f"relative to {WHITE}"
    assert not scan_fit.aside
    for paint in PAINTS:
        fit = scan_fit.paints[paint]
        assert not any("set aside" in reason for reason in fit.reasons)
        assert fit.patches["weight"].eq(1).all() and fit.patches["de00"].notna().all()


def test_answers_in_micrometres_are_refused(scan_fit):
    c = scan_fit.coefficients
    with pytest.raises(ValueError, match="a film needs K and S in 1/mm; these are relative to"):
        predict(c, np.eye(len(c.paints))[:1], np.array([0.05]), np.full((1, GRID.size), 0.8))
    assert scan_fit.paints["PENNANT"].patches["thickness_um"].isna().all()


def fit_of_spectra(model):
    cards = [brushed(quick_card(p), SEED, "di:8", THIN_MM).readings for p in PAINTS]
    return fit_paints(cards, Lab().tubes, FitSettings(model=model))


@pytest.fixture(scope="module")
def measured_fit():
    return fit_of_spectra("two-flux")


def check_spectra(fit, most):
    found = off(fit.coefficients, "di:8")
    assert found.mean() < most and np.percentile(found, 95) < 2 * most
    assert not any("look at this step" in each.verdict for each in fit.paints.values())


def test_spectra_of_brushed_cards(measured_fit):
    check_spectra(measured_fit, 2.0)


def test_spectra_of_brushed_cards_by_radiative_transfer():
    check_spectra(fit_of_spectra("transport"), 0.6)


def test_thickness_is_found_up_to_one_factor(painted, scan_fit):
    """Relative to the white's S, so all by the same factor."""
    table = scan_fit.nuisances.set_index("name")["value"]
    logs, true = [], []
    for each in painted[1:]:
        card = each.readings.card
        shared = table[f"{card.name} brushed: thickness"]
        for d, x in zip(card.drawdowns, each.thickness, strict=True):
            if f"{card.name} {d.step}: thickness" in table:
                logs.append(shared + table[f"{card.name} {d.step}: thickness"])
                true.append(np.log(x))
    assert len(logs) > 4
    apart = np.array(logs) - np.array(true)
    assert np.std(apart) < 0.3 < np.std(true) + 0.1


def test_brushed_mixtures_judge_at_the_thickness_that_they_show(scan_fit, measured_fit):
    """Held against an opaque prediction, thin coats would be a fault of the paints."""
    steps = {f"mix {i}": mix for i, mix in enumerate(mixtures(PAINTS, 6, SEED))}
    drawn = tuple(Drawdown(step, None, mix, opaque=True) for step, mix in steps.items())
    card = Card("mixes", "mixes.toml", drawn, purpose="check")
    seen = scanned(brushed(card, SEED, dry_mm=THIN_MM).readings, LED, SEED)
    by_scan = check_scans(scan_fit.coefficients, [seen], LED)
    assert len(by_scan.patches) == 12 and not by_scan.aside and by_scan.mean < 2.0
    read = brushed(card, SEED, "di:8", THIN_MM).readings
    measured = check_mixtures(measured_fit.coefficients, [read])
    hiding = check_mixtures(measured_fit.coefficients, [read], FitSettings(coat_spread=0.0))
    assert measured.mean < 1.5 < hiding.mean


def brushed_problem():
    """Made by the model itself; K and S relative to white, so white's S has a shape to find."""
    readings = [synthetic.read(replace(synthetic.ladder(p, (1, 7), opaque=True))) for p in "WRY"]
    return build(readings, synthetic.TUBES, FitSettings(), hidden=())


def test_derivatives_where_k_and_s_are_relative():
    problem = brushed_problem()
    assert {"half", "uneven", "white's scattering"} <= {n.kind for n in problem.nuisances}
    rng = np.random.default_rng(1)
    theta = rng.normal(-1.0, 0.3, (len(problem.paints), 2, GRID.size))
    nu = 0.5 * rng.standard_normal(len(problem.nuisances))
    for block in clusters(problem)[0]:
        k, s = theta[block.paints, 0], theta[block.paints, 1]
        n = nu[block.scalars]
        _, spectral, scalar, _ = block.predict(k, s, n)
        for m in range(block.scalars.size):
            step = np.zeros(block.scalars.size)
            step[m] = 1e-6
            up, down = (block.predict(k, s, n + by)[0] for by in (step, -step))
            np.testing.assert_allclose(scalar[:, m], (up - down) / 2e-6, atol=2e-8)
        for a in range(block.paints.size):
            step = np.zeros((block.paints.size, 1))
            step[a] = 1e-6
            up, down = (block.predict(k + by, s, n)[0] for by in (step, -step))
            np.testing.assert_allclose(spectral[:, a, 0], (up - down) / 2e-6, atol=2e-8)


def test_films_alike_over_both_are_still_opaque():
    """Where nothing of the substrate shows, thickness is no unknown."""
    readings = [synthetic.read(synthetic.ladder(p, (1, 7), opaque=True)) for p in "WR"]
    problem = build(readings, synthetic.TUBES, FitSettings())
    assert not problem.brushed.any() and not problem.film.any()


def test_a_paint_that_cannot_be_fitted_is_set_aside_and_the_others_are_fitted(painted):
    """Its masstone hides and it has no ladder; yet it stops nobody."""
    cards = synthetic.ladders(("W", "R", "B"), seed=1)
    hides = synthetic.read(synthetic.ladder("E", (), opaque=True), seed=2)
    fit = fit_paints([*cards, hides], synthetic.TUBES)
    assert set(fit.aside) == {"E"}
    assert "only K/S can be known" in str(fit.aside["E"])
    assert set(fit.paints) == {"W", "R", "B"}
