"""K and S from a scanned card: what three channels tell, and what is said of the rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.channels import CardChannels
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.scans.patch import corrected, patch_spectra
from tintladder.calibrate.fit.scans.prior import Likeness, ScanPrior
from tintladder.calibrate.fit.scans.problem import lay_out
from tintladder.calibrate.fit.scans.recovery import fit_scan
from tintladder.calibrate.fit.scans.solve import Part
from tintladder.calibrate.fit.solver.clusters import clusters
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.sensors import Sensors
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface, to_measured

from tests import synthetic
from tests.invented_scanner import LED, THREE_BANDS, characterised, noisy, scanned
from tests.lab import plan
from tests.lab.drawdown import Lab
from tests.lab.paints import WHITE

SEED = 7
PAINT = "BUOY"


@pytest.fixture(scope="module")
def world():
    """Two cards of the lab as a scanner and as an instrument see them, and held-out mixtures."""
    flat, sphere = Lab(surface=Surface.of("45:0")), Lab()
    cards = [c for c in plan.ladders() if c.drawdowns[0].paint in (WHITE, PAINT, "ANCHOR")]
    scans = [scanned(r, LED, SEED) for r in flat.read(cards, SEED, noise=False, repeats=1)]
    known = fit_paints(sphere.read(cards, SEED), sphere.tubes).coefficients
    mixes = {
        "pale": {WHITE: 8.0, PAINT: 2.0},
        "deep": {WHITE: 2.0, PAINT: 8.0},
        "dusky": {WHITE: 5.0, PAINT: 3.0, "ANCHOR": 2.0},
        "violet": {PAINT: 4.0, "ANCHOR": 6.0},
    }
    card = plan.check_card("held out", mixes, "")
    return {
        "scans": {str(s.card.drawdowns[0].paint): s for s in scans},
        "known": known,
        "tubes": sphere.tubes,
        "mixtures": sphere.mixtures(card, SEED).readings,
        "mixtures 45:0": flat.mixtures(card, SEED).readings,
    }


@pytest.fixture(scope="module")
def beside_known(world):
    others = world["known"].select([WHITE, "ANCHOR"])
    return fit_scan([world["scans"][PAINT]], world["tubes"], LED, known=others)


@pytest.fixture(scope="module")
def all_scanned(world):
    return fit_scan(list(world["scans"].values()), world["tubes"], LED)


# Sensors


def test_sensors_read_a_perfect_diffuser_as_one():
    np.testing.assert_allclose(LED.read(np.ones(GRID.size)), 1)
    with pytest.raises(ValueError, match="expected"):
        Sensors.known(np.ones((2, GRID.size)))
    with pytest.raises(ValueError, match="negative"):
        Sensors.known(-np.ones((3, GRID.size)))


@pytest.mark.parametrize("scanner", [LED, THREE_BANDS])
def test_estimated_sensitivities_predict_other_colours(scanner):
    """Of paints' ladders, which the target's three dyes are not; no worse than they say."""
    found = characterised(scanner, SEED)
    assert found.sensitivity.min() > 0
    others = ScanPrior.invented().ladders[::10]
    off = found.read(others) - scanner.read(others)
    assert np.sqrt((off**2).mean()) < 0.01
    said = np.sqrt((np.einsum("nw,ecw->nce", others, found.factors) ** 2).sum(axis=2))
    assert (np.abs(off) < 2 * np.hypot(said, 0.001)).mean() > 0.9


# What is believed before


def test_measured_paints_take_half_of_the_likelihood(world):
    prior = ScanPrior.invented()
    learnt = prior.learnt_from(world["known"], WHITE)
    assert learnt.weight.sum() == pytest.approx(1)
    assert len(learnt.logs) == len(prior.logs) + 2
    assert learnt.weight[-2:].sum() == pytest.approx(0.5)
    gap = world["known"].k.copy()
    gap[world["known"].index(PAINT), 3] = np.nan
    assert len(prior.learnt_from(replace(world["known"], k=gap), WHITE).logs) == len(prior.logs) + 1
    with pytest.raises(KeyError):
        prior.learnt_from(world["known"], "PITCH")


def test_readings_say_which_paint_one_is_like():
    likeness = Likeness.of(ScanPrior.invented(), None, relative=True, model="two-flux")
    # Readings that pin all of one paint's log K and log S.
    information = np.eye(2 * GRID.size) / 0.1**2
    weight = likeness.weighed(information, information @ likeness.centers[17])
    assert np.argmax(weight) == 17
    mean, covariance = likeness.together(weight)
    assert np.abs(mean.ravel() - likeness.centers[17]).max() < 1
    assert np.linalg.eigvalsh(covariance).min() > 0
    # Readings that say nothing change nothing.
    nothing = likeness.weighed(np.zeros_like(information), np.zeros(2 * GRID.size))
    np.testing.assert_allclose(nothing, likeness.weight, rtol=1e-6)


# One patch


def test_spectra_agree_with_their_channels():
    table = ScanPrior.invented().ladders
    channels = LED.read(table[:50])
    sure = np.full(channels.shape, 1e-10)
    found = patch_spectra(table, LED.sensitivity, channels, sure)
    np.testing.assert_allclose(LED.read(found), channels, atol=1e-4)
    moved = corrected(table[50:100], LED.sensitivity, channels, sure)
    np.testing.assert_allclose(LED.read(moved), channels, atol=1e-4)


# The solver


def test_slopes_are_those_of_the_cost(world):
    """A block's gradient against small steps, for every kind of unknown."""
    sensors = characterised(LED, SEED)
    readings = [world["scans"][PAINT]]
    problem, seen, _ = lay_out(
        readings, world["tubes"], sensors, ScanPrior.invented(), FitSettings(), None
    )
    n_p, n_w = len(problem.paints), GRID.size
    root = np.tile(np.eye(3) / 0.01, (len(problem.patches), 1, 1))
    (block,), shared = clusters(problem)
    hub_size = 2 * len(problem.hubs) * n_w
    at = hub_size + np.searchsorted(shared, block.scalars[block.own_scalars :])
    part, size = Part(block, seen, at), hub_size + shared.size
    rng = np.random.default_rng(1)
    theta = np.log(20.0) + 0.3 * rng.standard_normal((n_p, 2, n_w))
    nu = 0.3 * rng.standard_normal(len(problem.nuisances))
    # A bare card's share in a film is held as it is while its spectrum moves, which is little.
    nu[[n.kind == "bare spectrum" for n in problem.nuisances]] = 0.0
    normal = part.normal(theta, nu, root, size)
    right = normal.own(0)[1][-1]
    slopes = -2 * np.concatenate([right, normal.gb])
    near = {"rel": 1e-4, "abs": 1e-5 * float(np.abs(slopes).max())}

    def cost(theta, nu):
        return part.normal(theta, nu, root, size).cost

    mine = 2 * block.own * n_w
    own = {int(m): mine + i for i, m in enumerate(block.scalars[: block.own_scalars])}
    own |= {
        int(m): right.size + int(a)
        for m, a in zip(block.scalars[block.own_scalars :], at, strict=True)
    }
    seen_kinds = set()
    for m, nuisance in enumerate(problem.nuisances):
        step = np.zeros_like(nu)
        step[m] = 1e-4
        slope = (cost(theta, nu + step) - cost(theta, nu - step)) / 2e-4
        assert slope == pytest.approx(slopes[own[m]], **near), nuisance.name
        seen_kinds.add(nuisance.kind)
    assert seen_kinds >= {"sensitivity", "bare spectrum", "thickness", "two fluxes", "weighing"}
    for paint, begin in ((block.paints[0], 0), (block.paints[block.own], right.size)):
        for i in range(0, 2 * n_w, 7):
            step = np.zeros((n_p, 2 * n_w))
            step[paint, i] = 1e-4
            step = step.reshape(theta.shape)
            slope = (cost(theta + step, nu) - cost(theta - step, nu)) / 2e-4
            assert slope == pytest.approx(slopes[begin + i], **near), (paint, i)


# The fit


def test_one_scanned_paint_among_measured_ones(world, beside_known):
    """As near as an instrument comes, and marked for what it is."""
    c = beside_known.coefficients
    assert c.paints[0] == PAINT
    assert list(c.scan_made) == [True, False]
    assert set(beside_known.paints) == {PAINT}
    white = world["known"].index(WHITE)
    np.testing.assert_array_equal(c.k[c.index(WHITE)], world["known"].k[white])
    assert c.surface == world["known"].surface
    check = check_mixtures(c, [_with_white_alone(world["mixtures"])])
    assert check.mean < 1.5  # held out of everything; two mixtures over black and white


def _with_white_alone(readings):
    """The mixtures of the scanned paint and white."""
    kept = tuple(d for d in readings.card.drawdowns if set(d.masses) == {WHITE, PAINT})
    return replace(readings, card=replace(readings.card, drawdowns=kept))


def test_all_scanned(world, all_scanned):
    c = all_scanned.coefficients
    assert c.scale == "absolute" and c.scan_made.all()
    assert c.surface.geometry == "45:0"
    check = check_mixtures(c, [world["mixtures 45:0"]])
    assert check.mean < 3  # what a bench of many mixtures holds to 2
    made = check.prediction
    off = ciede2000(made.lab(), lab(check.measured))
    assert np.isfinite(off).all()
    assert all_scanned.paints[PAINT].verdict


def test_ladders_do_better_than_their_patches():
    """All ten invented paints; single ones, blue ones above all, may gain little."""
    flat, prior = Lab(surface=Surface.of("45:0")), ScanPrior.invented()
    cards = flat.read(plan.ladders(), SEED, noise=False, repeats=1)
    scans = [scanned(r, LED, SEED) for r in cards]
    fit = fit_scan(scans, flat.tubes, LED, prior)
    table = to_measured(prior.ladders, flat.surface)
    fitted, guessed = [], []
    for readings, scan in zip(cards, scans, strict=True):
        paint = fit.paints[str(readings.card.drawdowns[0].paint)]
        seen, patches = scan.averaged(), list(paint.patches["patch"])
        true = np.concatenate([readings.read(label) for label in patches])
        rows = [seen.labels.index(label) for label in patches]
        guess = patch_spectra(table, LED.sensitivity, seen.channels[rows], seen.variance[rows])
        found = paint.residuals["fitted"].to_numpy().reshape(-1, GRID.size)
        fitted.append(np.sqrt(((found - true) ** 2).mean(axis=1)))
        guessed.append(np.sqrt(((guess - true) ** 2).mean(axis=1)))
    ours, alone = (float(np.median(np.concatenate(rms))) for rms in (fitted, guessed))
    assert ours < 0.03
    assert ours < 0.65 * alone


def test_a_measured_paints_scan_tells_of_the_scanner(world):
    """Scanned beside the others, what an instrument read of one paint makes the rest surer."""
    known, tubes = world["known"].select([WHITE, "ANCHOR"]), world["tubes"]
    sensors = characterised(LED, SEED)
    said = []
    for names in ([PAINT], [PAINT, "ANCHOR"]):
        fit = fit_scan([world["scans"][p] for p in names], tubes, sensors, known=known)
        u_k = fit.coefficients.uncertainty[0][0] / fit.coefficients.k[0]
        table = fit.nuisances[fit.nuisances["kind"] == "sensitivity"]
        said.append((np.median(u_k), table["uncertainty"].mean()))
    assert said[1][0] < said[0][0] and said[1][1] < said[0][1]


def test_uncertainty_grows_where_the_scan_is_blind(all_scanned):
    c = all_scanned.coefficients
    relative = (c.uncertainty[0] / c.k)[c.index("ANCHOR")]
    seen = (GRID >= 540) & (GRID <= 620)  # its absorption, under two filters
    assert relative[GRID < 400].min() > 2 * relative[seen].max()
    assert relative[GRID > 710].min() > 2 * relative[seen].max()


def test_a_measured_white_makes_the_rest_surer(beside_known, all_scanned):
    both = []
    for fit in (beside_known, all_scanned):
        c = fit.coefficients
        both.append((c.uncertainty[1] / c.s)[c.index(PAINT)])
    assert np.median(both[0]) < np.median(both[1])


def test_unsure_sensitivities_make_k_and_s_less_sure(world, beside_known):
    others = world["known"].select([WHITE, "ANCHOR"])
    rough = replace(LED, factors=np.einsum("cw,ec->ecw", 0.05 * LED.sensitivity, np.eye(3)))
    fit = fit_scan([world["scans"][PAINT]], world["tubes"], rough, known=others)
    sure, unsure = (f.coefficients.uncertainty[0][0] for f in (beside_known, fit))
    assert np.median(unsure / sure) > 1.02
    said = fit.nuisances[fit.nuisances["kind"] == "sensitivity"]
    assert len(said) == 3 and (said["uncertainty"] < 1).all()


def test_the_same_readings_give_the_same_bytes(world, beside_known):
    others = world["known"].select([WHITE, "ANCHOR"])
    again = fit_scan([world["scans"][PAINT]], world["tubes"], LED, known=others).coefficients
    assert again.k.tobytes() == beside_known.coefficients.k.tobytes()


def _brushed_out(shows=()):
    """A card of coats that hide, made by the theory itself; some steps show their substrate."""
    card = synthetic.ladder("R")
    opaque = tuple(replace(d, opaque=True, gap_um=None) for d in card.drawdowns)
    white = replace(opaque[0], step="white", paint="W", masses={"W": 10.0})
    card = replace(card, drawdowns=(*opaque, white))
    k, s = (np.array([synthetic.KS[p][q] for p in "RW"]) for q in range(2))
    shares = np.array([[1, 0], *([1 / (n + 1), n / (n + 1)] for n in synthetic.RATIOS), [0, 1]])
    ratio = (shares @ k) / (shares @ s)
    inside = 1 + ratio - np.sqrt(ratio**2 + 2 * ratio)
    surface = Surface.of("45:0")
    hidden = surface.tau * inside / (1 - surface.k2 * inside)
    labels = tuple(f"{d.step}/{over}" for d in card.drawdowns for over in d.over)
    spectra = np.repeat(hidden, 2, axis=0)
    for i, label in enumerate(labels):
        step, _, over = label.partition("/")
        if step in shows and over == "white":
            spectra[i] += 0.1
    channels, variance = noisy(LED.read(spectra), np.random.default_rng(SEED))
    return CardChannels(card, channels, variance, labels, surface, "quick.png"), hidden


def test_opaque_tints_alone_are_relative_to_their_white():
    seen, hidden = _brushed_out()
    fit = fit_scan([seen], synthetic.TUBES, LED)
    c = fit.coefficients
    assert c.scale == "relative to W"
    np.testing.assert_allclose(c.s[c.index("W")], 1, rtol=1e-6)
    fitted = fit.paints["R"].residuals["fitted"].to_numpy().reshape(-1, GRID.size)
    true = np.repeat(hidden[:-1], 2, axis=0)
    assert np.median(np.sqrt(((fitted - true) ** 2).mean(axis=1))) < 0.04
    assert "read by a scanner: three channels, not a spectrum" in fit.paints["R"].reasons


def test_a_masstone_that_never_hides_is_no_error():
    seen, _ = _brushed_out(shows=("masstone",))
    fit = fit_scan([seen], synthetic.TUBES, LED).paints["R"]
    # Its bare card was not read, so what lies under a film that shows it is not known.
    assert any("masstone does not hide black and white, and what lies beneath" in r
               for r in fit.reasons)  # fmt: skip
    table = fit.patches.set_index("patch")["de00"]
    assert np.isnan(table["masstone/white"]) and not np.isnan(table["1:1/white"])
    steps = [d.step for d in seen.card.drawdowns if d.step != "white"]
    with pytest.raises(InputError, match="card R, paint R: black and white show under every"):
        fit_scan([_brushed_out(shows=steps)[0]], synthetic.TUBES, LED)


def test_a_patch_that_could_not_be_sampled_is_passed_over(world, beside_known):
    scan = world["scans"][PAINT]
    channels = scan.channels.copy()
    at = scan.labels.index("4:1/black")
    channels[at] = np.nan
    others = world["known"].select([WHITE, "ANCHOR"])
    fit = fit_scan([replace(scan, channels=channels)], world["tubes"], LED, known=others)
    row = fit.paints[PAINT].patches.set_index("patch").loc["4:1/black"]
    assert np.isnan(row["de00"])
    assert "unread" in row["flag"]
    near = np.abs(np.log(fit.coefficients.s[0] / beside_known.coefficients.s[0]))
    assert np.median(near) < 0.2


# Bad input


def _but(scan, label, value=None, variance=None, name=None):
    channels, spread, labels = scan.channels.copy(), scan.variance.copy(), list(scan.labels)
    at = labels.index(label)
    if value is not None:
        channels[at] = value
    if variance is not None:
        spread[at] = variance
    if name is not None:
        labels[at] = name
    return replace(scan, channels=channels, variance=spread, labels=tuple(labels))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"value": 1.7}, "scan.tif, patch 1:1/white: expected linear channels from 0 to 1"),
        ({"value": np.inf}, "expected linear channels"),
        ({"variance": 0.0}, "a variance above 0"),
        ({"name": "9:9/white"}, "patch 9:9/white: card buoy-red has no such patch"),
    ],
)
def test_impossible_channels_are_refused(world, change, words):
    scan = _but(world["scans"][PAINT], "1:1/white", **change)
    with pytest.raises(InputError, match=words):
        fit_scan([scan], world["tubes"], LED)


def test_what_cannot_be_fitted_is_refused(world):
    scan, tubes = world["scans"][PAINT], world["tubes"]
    with pytest.raises(InputError, match="every paint on these cards is known already"):
        fit_scan([scan], tubes, LED, known=world["known"])
    with pytest.raises(InputError, match="there is no card to fit"):
        fit_scan([], tubes, LED)
    with pytest.raises(InputError, match="its bare black was not read"):
        fit_scan([_but(scan, "bare/black", value=np.nan)], tubes, LED)
    relative = replace(world["known"].select([WHITE]), scale=f"relative to {WHITE}")
    with pytest.raises(InputError, match="this card has films"):
        fit_scan([scan], tubes, LED, known=relative)
