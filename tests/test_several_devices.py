"""Several devices that see the same cards: their channels side by side, fitted together."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.cards.channels import side_by_side
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.scans.patch import patch_spectra, unread_as_unsure
from tintladder.calibrate.fit.scans.prior import ScanPrior
from tintladder.calibrate.fit.scans.recovery import fit_scan
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.optics.coefficients import Coefficients
from tintladder.calibrate.optics.sensors import Sensors
from tintladder.calibrate.optics.surface import Surface
from tintladder.calibrate.optics.transport import TRANSPORT
from tintladder.database.cards.characterising import characterise_device
from tintladder.database.cards.intake import take_in
from tintladder.database.cards.scanning import keep_scan, read_card_picture
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.mixing.model_choice import costs_of, trial_of
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.refit import refit_release
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store

from .invented_scanner import LED, THREE_BANDS, scanned
from .lab import plan
from .lab.drawdown import Lab
from .lab.render import PHONE, save
from .lab.scans import DEMO, DEMO_SCANNER, DPI, SEED, demo_scan, target_scan

BOATYARD = Path(__file__).parents[1] / "measurements" / "boatyard"
SCANS = BOATYARD / "scans"
SOME = ("HULL", "ANCHOR", "BUOY")


@pytest.fixture(scope="module")
def world():
    """Drawdown cards of the virtual lab, and what two invented scanners see of them."""
    flat = Lab(surface=Surface.of("45:0"))
    cards = [c for c in plan.ladders() if set(c.paints) <= set(SOME)]
    read = flat.read(cards, 31, noise=False, repeats=1)
    seen = {"led": [scanned(r, LED, 31) for r in read],
            "bands": [scanned(r, THREE_BANDS, 32) for r in read]}  # fmt: skip
    return flat, seen


def test_channels_stand_side_by_side_and_what_one_did_not_see_is_unread(world):
    _, seen = world
    first, second = (seen[name][0] for name in ("led", "bands"))
    part = replace(second, channels=second.channels[:3], variance=second.variance[:3],
                   labels=second.labels[:3], level=0.02)  # fmt: skip
    both, alone = side_by_side([[first, seen["led"][1]], [part]])
    assert both.channels.shape == (len(set(first.labels)), 6)
    np.testing.assert_array_equal(both.level, [0, 0, 0, 0.02, 0.02, 0.02])
    unread = [label not in part.labels for label in both.labels]
    np.testing.assert_array_equal(np.isnan(both.channels[:, 3:]).all(axis=1), unread)
    assert np.isfinite(both.channels[:, :3]).all() and np.isnan(alone.channels[:, 3:]).all()
    # A card that one device alone saw says of its spectra what that device says.
    prior = ScanPrior.invented().ladders
    sensors = Sensors.side_by_side([LED, THREE_BANDS])
    np.testing.assert_allclose(
        patch_spectra(prior, sensors.sensitivity, alone.channels, alone.variance),
        patch_spectra(prior, LED.sensitivity, alone.channels[:, :3], alone.variance[:, :3]),
        atol=1e-6,
    )
    assert (unread_as_unsure(alone.channels, alone.variance)[:, 3:] > 1e6).all()


def test_sensitivities_of_each_are_unsure_by_themselves():
    one = replace(LED, factors=0.01 * LED.sensitivity[None])
    both = Sensors.side_by_side([one, THREE_BANDS, one])
    assert both.sensitivity.shape[0] == 9 and both.factors.shape[:2] == (2, 9)
    assert not both.factors[0, 3:].any() and not both.factors[1, :6].any()


def test_two_devices_are_surer_than_one_and_no_farther_off(world):
    """By transport: what two fluxes get wrong of the lab is more than either device leaves open."""
    flat, seen = world
    settings = FitSettings(model=TRANSPORT)
    mixes = [m for m in flat.random_mixtures(60, 7).readings.card.drawdowns
             if set(m.masses) <= set(SOME)]  # fmt: skip
    truth = flat.mixtures(replace(plan.check_card("held out", {}, ""), drawdowns=tuple(mixes)), 7)
    alone = fit_scan(seen["led"], flat.tubes, LED, settings=settings)
    both = fit_scan(
        side_by_side([seen["led"], seen["bands"]]),
        flat.tubes,
        Sensors.side_by_side([LED, THREE_BANDS]),
        settings=settings,
    )

    def unsure(found: Coefficients) -> float:
        """Of log K, root mean square where a paint's ladder was scanned."""
        u_k, _ = found.uncertainty
        return float(np.sqrt(np.mean((u_k / found.k)[:, 3:31] ** 2)))

    assert unsure(both.coefficients) < 0.9 * unsure(alone.coefficients)
    off = [check_mixtures(fit.coefficients, [truth.readings]).mean for fit in (alone, both)]
    assert off[1] < max(1.1 * off[0], 1.0)
    assert "6 channels" in both.paints["ANCHOR"].reasons[-1]


def test_values_that_no_drawdown_has_are_refused_on_either(world):
    flat, seen = world
    (card, *_) = seen["bands"]
    wrong = card.channels.copy()
    wrong[0] = 1.7
    cards = side_by_side([seen["led"], [replace(card, channels=wrong)]])
    with pytest.raises(InputError, match="expected linear channels"):
        fit_scan(cards, flat.tubes, Sensors.side_by_side([LED, THREE_BANDS]))


@pytest.fixture(scope="module")
def studio(tmp_path_factory):
    """The demo's quick card of one paint, seen by its flatbed and by another invented scanner."""
    folder = tmp_path_factory.mktemp("two") / "studio"
    other = replace(DEMO_SCANNER, sensitivities=PHONE)
    with Store.open(folder) as store:
        take_in(store, [BOATYARD / "paints.toml", SCANS / "anchor-blue-quick.toml"])
        characterise_device(store, "flatbed", SCANS / "target.png", SCANS / "target.txt")
        take_in(store, [SCANS / "anchor-blue-quick.png"])
        save(target_scan(other, SEED, 60.0)[0], str(folder / "target-2.png"), DPI)
        characterise_device(store, "other", folder / "target-2.png", SCANS / "target.txt")
        scan = replace(DEMO[0], device=other)
        save(demo_scan(scan)[1], str(folder / "other.png"), DPI)
        card = store.cards.find("anchor-blue-quick")
        made = read_card_picture(store, folder / "other.png", card=card.name, device="other")
        keep_scan(store, made)
        yield store, fit_studio(store)


def test_a_studio_fits_what_two_devices_saw_together_and_a_release_gives_it_again(studio):
    store, done = studio
    (run,) = done.scanned
    assert run.device == "flatbed and other"
    assert "6 channels" in done.paints["ANCHOR"].reasons[-1]
    release = publish(store)
    assert verify_release(release.archive) == []
    assert all(refit.holds for refit in refit_release(load_release(release.archive)))


def test_models_are_weighed_by_what_their_fits_of_the_same_scans_cost(studio):
    store, _ = studio
    trial = store.fits.trial()
    assert trial.by_scans and set(trial.off) == {"two-flux", TRANSPORT}
    assert sum(trial.shares.values()) == pytest.approx(1)


def test_costs_count_where_both_models_were_fitted_to_the_same_scans():
    def kept(model, cost, *scans):
        return model, {"by_scan": {"cost": cost}, "scans": [{"scan": scan} for scan in scans]}

    same = [kept("two-flux", 75.2, 1, 2), kept(TRANSPORT, 53.6, 1, 2)]
    assert costs_of(same) == {"two-flux": 75.2, TRANSPORT: 53.6}
    assert trial_of({}, {}, costs=costs_of(same)).shares == {TRANSPORT: 1.0}
    near = trial_of({}, {}, costs=costs_of([same[0], kept(TRANSPORT, 74.8, 1, 2)]))
    assert near.shares[TRANSPORT] == pytest.approx(1 / (1 + np.exp(-0.2)))
    assert costs_of([same[0], kept(TRANSPORT, 53.6, 1, 3)]) == {}
    # Fits kept before have no cost; one by an instrument has no scans.
    assert costs_of([("two-flux", {"by_scan": None}), ("two-flux", {})]) == {}
    steps = {"two-flux": {1: 0.2, 2: 0.2}, TRANSPORT: {1: 0.9, 2: 0.8}}
    assert trial_of({}, steps, costs=costs_of(same)).by_steps
