"""Mixtures that were only scanned: what their three channels tell of a fit, and how surely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.cards.channels import CardChannels
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.scans.check import check_scans
from tintladder.calibrate.fit.uncertainty.check import MOST_SCAN_ERROR, check_mixtures, together
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.sensors import Sensors
from tintladder.calibrate.optics.spectra import GRID
from tintladder.calibrate.optics.surface import Surface

from .invented_scanner import LED, THREE_BANDS, characterised, scanned
from .lab import plan
from .lab.drawdown import Lab
from .lab.paints import WHITE

SEED = 7
COLOURS = ["l", "a", "b"]
PREDICTED = ["l_predicted", "a_predicted", "b_predicted"]
# Each channel sees three wavelengths of its own.
NARROW = Sensors.known(np.kron(np.eye(3)[::-1], np.full((1, 12), 1 / 12.0)))


@pytest.fixture(scope="module")
def world():
    """K and S of the lab's paints, and 24 mixtures as a 45:0 instrument reads them, noise-free."""
    sphere = Lab()
    known = fit_paints(sphere.read(plan.ladders(), SEED), sphere.tubes).coefficients
    card = plan.check_card("mixes", plan.random_mixtures(24, SEED), "")
    return known, Lab(surface=Surface.of("45:0")).mixtures(card, SEED).readings


def exactly(readings, sensors, variance=1e-12):
    """A scan without error."""
    channels = sensors.read(readings.spectra.values)
    sure = np.full(channels.shape, variance)
    return CardChannels(
        readings.card, channels, sure, readings.spectra.labels, readings.surface, "scan.tif"
    )


def flat(known, readings):
    """The same K and S as an instrument of the scanner's geometry shows them."""
    return replace(known, surface=replace(readings.surface, k2=known.surface.k2))


def off(check, other):
    """CIEDE2000 between the colours that two checks read."""
    return ciede2000(check.patches[COLOURS].to_numpy(), other.patches[COLOURS].to_numpy())


def test_what_was_predicted_is_what_an_instrument_of_its_geometry_would_read(world):
    known, readings = world
    here = check_scans(known, [exactly(readings, LED)], LED)
    there = check_mixtures(flat(known, readings), [readings])
    assert list(here.patches["step"]) == list(there.patches["step"])
    assert np.abs(here.patches[PREDICTED] - there.patches[PREDICTED]).max().max() < 0.3
    # What it reads has just the channels of the scan.
    np.testing.assert_allclose(
        LED.read(here.measured), LED.read(there.measured), atol=1e-9
    )  # fmt: skip


@pytest.mark.parametrize("scanner", [LED, THREE_BANDS])
def test_its_own_error_is_what_it_says(world, scanner):
    """Against the colours that only a spectrum tells: no figure but our own goal."""
    known, readings = world
    rng = np.random.default_rng(SEED)
    scan = scanned(readings, scanner, SEED)
    scan = replace(scan, channels=scan.channels * (1 + 0.01 * rng.standard_normal()), level=0.01)
    found = check_scans(known, [scan], characterised(scanner, SEED))
    true = check_mixtures(flat(known, readings), [readings])
    share = off(found, true) / found.patches["scan_error"].to_numpy()
    assert 0.5 < np.sqrt((share**2).mean()) < 1.4
    assert (share < 2).mean() > 0.9
    # It is no better than it is: the mixtures come out no nearer than they are.
    sure = found.patches["scan_error"].to_numpy() <= MOST_SCAN_ERROR
    assert found.mean > 0.9 * true.patches["de00"][sure].mean()
    assert found.mean < np.hypot(true.patches["de00"][sure], MOST_SCAN_ERROR).mean()


def test_a_fault_that_channels_see_shows(world):
    known, readings = world
    worse = replace(
        known, k=known.k * np.where(np.array(known.paints) == "ANCHOR", 4.0, 1)[:, None]
    )
    scan = exactly(readings, LED)
    holds = check_scans(known, [scan], LED).patches["mix"].str.contains("ANCHOR").to_numpy()
    before, after = (check_scans(k, [scan], LED).patches["de00"][holds] for k in (known, worse))
    assert after.mean() > before.mean() + 2


def test_a_fault_that_no_channel_sees_does_not_show(world):
    """The limit that is said of every check by scan."""
    known, readings = world
    bend = np.tile(np.repeat([1.0, -1.0], 6), 3) * 0.03
    assert np.abs(NARROW.read(bend)).max() < 1e-12
    one, other = (
        exactly(replace(readings, spectra=replace(readings.spectra, values=values)), NARROW)
        for values in (readings.spectra.values, readings.spectra.values + bend)
    )
    found = [check_scans(known, [scan], NARROW).patches["de00"] for scan in (one, other)]
    np.testing.assert_allclose(*found, atol=1e-6)
    assert ciede2000(lab(np.full((1, 36), 0.2) + bend), lab(np.full((1, 36), 0.2)))[0] > 1


def test_dark_patches_of_a_noisy_scan_tell_nothing(world):
    known, readings = world
    found = check_scans(known, [exactly(readings, LED, 0.004**2)], LED)
    dark = found.patches["l"] < 20
    assert dark.any() and (found.patches["scan_error"][dark] > MOST_SCAN_ERROR).all()
    assert len(found.telling) < len(found.patches)
    assert found.mean == pytest.approx(found.telling["de00"].mean())
    blind = check_scans(known, [exactly(readings, LED, 0.1**2)], LED)
    assert blind.telling.empty and np.isnan([blind.mean, blind.p95, blind.worst]).all()


def test_a_level_that_all_share_counts(world):
    known, readings = world
    scan = exactly(readings, LED)
    sure, unsure = (
        check_scans(known, [replace(scan, level=level)], LED).patches["scan_error"].mean()
        for level in (0.0, 0.05)
    )
    assert unsure > 1.4 * sure


def test_two_scans_are_surer_than_one(world):
    known, readings = world
    scan = exactly(readings, LED, 0.003**2)
    once, twice = (check_scans(known, [scan] * n, LED) for n in (1, 2))
    assert len(once.patches) == len(twice.patches)
    assert twice.patches["scan_error"].mean() < 0.9 * once.patches["scan_error"].mean()


def opaque(readings, shows=0.0):
    """The card as brushed out; black shows by so much."""
    card = readings.card
    coats = tuple(replace(d, opaque=True, gap_um=None) for d in card.drawdowns)
    card = replace(card, drawdowns=coats)
    values = readings.spectra.values.copy()
    labels = readings.spectra.labels
    for i, label in enumerate(labels):
        step, _, over = label.rpartition("/")
        if step != "bare" and over == "black":
            first = step == coats[0].step
            values[i] = values[labels.index(f"{step}/white")] * (1 - shows * first)
    return replace(readings, card=card, spectra=replace(readings.spectra, values=values))


def without_bare(scan):
    bare = np.array([label.startswith("bare") for label in scan.labels])
    return replace(
        scan,
        channels=scan.channels[~bare],
        variance=scan.variance[~bare],
        labels=tuple(label for label in scan.labels if not label.startswith("bare")),
    )


def test_coats_that_hide_are_judged_without_their_ground(world):
    known, readings = world
    found = check_scans(known, [without_bare(exactly(opaque(readings), LED, 1e-7))], LED)
    assert len(found.patches) == 48 and found.aside == ()


def test_coats_that_show_a_ground_nobody_read_are_set_aside_and_named(world):
    known, readings = world
    shows = exactly(opaque(readings, 0.2), LED, 1e-7)
    assert len(check_scans(known, [shows], LED).patches) == 48
    found = check_scans(known, [without_bare(shows)], LED)
    assert found.aside == (("mixes", "mix-001"),)
    assert len(found.patches) == 46
    assert "mix-001" not in set(found.patches["step"])


def test_a_film_needs_its_ground(world):
    known, readings = world
    scan = exactly(readings, LED)
    bare = scan.labels.index("bare/white")
    channels = scan.channels.copy()
    channels[bare] = np.nan
    with pytest.raises(InputError, match="bare white was not read"):
        check_scans(known, [replace(scan, channels=channels)], LED)


def test_an_unread_patch_is_left_out_and_nothing_read_is_no_check(world):
    known, readings = world
    scan = exactly(readings, LED)
    channels = scan.channels.copy()
    channels[scan.labels.index("mix-002/black")] = np.nan
    found = check_scans(known, [replace(scan, channels=channels)], LED)
    assert len(found.patches) == 47
    fit = replace(scan, card=replace(scan.card, purpose="fit"))
    none = check_scans(known, [fit], LED)
    assert none.patches.empty and list(none.patches.columns) == list(found.patches.columns)
    assert len(together([none, found]).patches) == 47


def test_measured_and_scanned_stand_in_one_table(world):
    known, readings = world
    measured = check_mixtures(known, [readings])
    both = together([measured, check_scans(known, [exactly(readings, LED)], LED)])
    assert len(both.patches) == 96 and len(both.scan_errors) == 48
    assert both.prediction.reflectance.shape == both.measured.shape == (96, GRID.size)
    assert both.prediction.uncertainty.shape == (96, GRID.size)
    assert np.allclose(both.prediction.lab()[:48], measured.prediction.lab())


def test_paints_that_were_read_over_fewer_wavelengths_are_judged_too(world):
    known, readings = world
    gap = known.k.copy()
    gap[:, :2] = gap[:, -3:] = np.nan
    scan = exactly(readings, LED)
    whole = check_scans(known, [scan], LED).patches["de00"]
    found = check_scans(replace(known, k=gap), [scan], LED).patches["de00"]
    assert np.isfinite(found).all() and np.abs(found - whole).max() < 0.5


def test_what_can_t_be_is_refused(world):
    known, readings = world
    scan = exactly(readings, LED)
    others = [paint for paint in known.paints if paint != WHITE]
    with pytest.raises(InputError, match="HULL has no fit to predict with"):
        check_scans(known.select(others), [scan], LED)
    with pytest.raises(InputError, match="expected linear channels from 0 to 1"):
        check_scans(known, [replace(scan, channels=scan.channels * 255)], LED)
    with pytest.raises(InputError, match="variance above 0"):
        check_scans(known, [replace(scan, variance=scan.variance * 0)], LED)
