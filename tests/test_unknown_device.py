"""Devices that were shown no target: likely sensitivities, tones, mixtures that teach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.scans.recovery import fit_scan
from tintladder.calibrate.fit.uncertainty.check import check_mixtures
from tintladder.calibrate.optics.predict import predict_mixes
from tintladder.calibrate.optics.sensors import TONES, Sensors
from tintladder.calibrate.optics.surface import Surface
from tintladder.calibrate.optics.transport import TRANSPORT
from tintladder.calibrate.optics.unknown_sensors import unknown_sensors
from tintladder.calibrate.scan.curve import decoded
from tintladder.calibrate.scan.settings import LOSSY
from tintladder.calibrate.scan.unknown_tones import Reference, unknown_tones
from tintladder.database.cards.characterising import characterise_device
from tintladder.database.cards.intake import take_in
from tintladder.database.cards.scanning import keep_scan, read_card_picture
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.fits.learning import taught_before
from tintladder.database.store.store import Store

from .invented_scanner import CAMERA, LED, scanned
from .lab import plan
from .lab.drawdown import Lab
from .lab.render import phone_encoded
from .test_scan_checks import BOATYARD, SCANS
from .unknown_sensors_table import CAMERAS, PATH, light, text

NO_TONES = np.zeros((0, 3, TONES.size))
SOME = ("HULL", "ANCHOR", "BUOY")
BY_TRANSPORT = FitSettings(model=TRANSPORT)


@pytest.mark.skipif(CAMERAS is None, reason="the measured cameras are not here")
def test_the_table_that_ships_is_the_one_that_measured_cameras_give():
    made, ships = text().splitlines(), PATH.read_text(encoding="utf-8").splitlines()
    assert made[:2] == ships[:2] and "Apache License 2.0" in ships[0]
    rows = [np.array([line.split(",")[2:] for line in t[2:]], float) for t in (made, ships)]
    # Computers differ in the last digits of a decomposition.
    np.testing.assert_allclose(*rows, atol=2e-6)


def test_an_illuminant_is_that_of_the_standard():
    # CIE 15, illuminant A: a Planckian radiator of 2848 K by its own formula.
    wavelengths = np.array([400.0, 500.0, 600.0, 700.0])
    planck = (560 / wavelengths) ** 5 * (np.exp(1.435e7 / (2848 * 560)) - 1)
    planck /= np.exp(1.435e7 / (2848 * wavelengths)) - 1
    at = light("A")[[2, 12, 22, 32]]
    np.testing.assert_allclose(at / at[1], planck / planck[1], rtol=0.01)


def test_a_perfect_diffuser_reads_one_whatever_the_sensitivities_are():
    sensors = unknown_sensors(NO_TONES)
    np.testing.assert_allclose(sensors.sensitivity.sum(axis=1), 1, atol=1e-5)
    np.testing.assert_allclose(sensors.factors.sum(axis=2), 0, atol=1e-5)


@pytest.mark.parametrize("grey", [True, False])
def test_a_contrast_curve_stays_within_what_is_unsure_of_tones(grey):
    true = np.array([0.045, 0.1, 0.2, 0.4, 0.6, 0.85])
    code = phone_encoded(0.9 * true)
    read = np.repeat(decoded("sRGB", code)[:, None], 3, axis=1)
    told = [Reference(read[0], 0.05, 0.02)] + [Reference(read[2], 0.2, 0.003)] * grey
    found = unknown_tones(read[-1], told, LOSSY)
    shown = found.curve(np.repeat(code[:, None], 3, axis=1))[:, 0]
    unsure = replace(LED, tones=found.tones).shifts(np.repeat(shown[:, None], 3, axis=1))
    sd = np.sqrt((unsure**2).sum(axis=0))[:, 0]
    assert (np.abs(shown - true) < 2 * sd).all()
    if grey:
        assert abs(shown[2] - 0.2) < 0.006 and sd[2] < 0.01


def test_tones_of_each_device_are_unsure_by_themselves():
    one = replace(LED, tones=np.ones((2, 3, TONES.size)))
    both = Sensors.side_by_side([one, LED, one])
    assert both.tones.shape == (4, 9, TONES.size)
    assert not both.tones[:2, 3:].any() and not both.tones[2:, :6].any()
    shifts = both.shifts(np.full((1, 9), 0.5))
    assert shifts.shape == (4, 1, 9) and shifts[0, 0, 0] == 1.0 and shifts[0, 0, 3] == 0.0


@pytest.fixture(scope="module")
def world():
    """Ladders, mixtures that teach and mixtures held out, as two invented cameras see them."""
    flat = Lab(surface=Surface.of("45:0"))
    cards = [c for c in plan.ladders() if set(c.paints) <= set(SOME)]
    mixes = [m for m in flat.random_mixtures(120, 7).readings.card.drawdowns
             if set(m.masses) <= set(SOME)]  # fmt: skip

    def check(name, some):
        card = replace(plan.check_card(name, {}, ""), drawdowns=tuple(some))
        return flat.mixtures(card, 7).readings

    teach, held = check("teaches", mixes[::2]), check("held out", mixes[1::2])
    taught = replace(teach, card=replace(teach.card, purpose="learn"))
    read = flat.read(cards, 31, noise=False, repeats=1)
    return flat, [*read, taught], held


def test_mixtures_teach_a_device_that_was_shown_no_target(world):
    flat, read, held = world
    sensors = unknown_sensors(NO_TONES)
    seen = [scanned(r, CAMERA, 31) for r in read]
    alone = fit_scan(seen[:-1], flat.tubes, sensors, settings=BY_TRANSPORT)
    taught = fit_scan(seen, flat.tubes, sensors, settings=BY_TRANSPORT)
    off = [check_mixtures(fit.coefficients, [held]) for fit in (alone, taught)]
    assert max(check.mean for check in off) < 3.5
    bands = [
        predict_mixes(fit.coefficients, [d.masses for d in held.card.drawdowns]).band().mean()
        for fit in (alone, taught)
    ]
    assert bands[1] < bands[0]


def test_a_studio_learns_from_mixtures_that_no_device_can_judge(tmp_path):
    card = "anchor-blue-quick"
    with Store.open(tmp_path / "studio") as store:
        take_in(store, [BOATYARD / "paints.toml", SCANS / f"{card}.toml"])
        made = characterise_device(store, "plain", SCANS / f"{card}.png", card=card, grey=0.2)
        assert made.device.sums_of_light and not made.device.fit_for_spectra
        keep = read_card_picture(store, SCANS / f"{card}.png", device="plain", grey=0.2)
        with store.transaction():
            keep_scan(store, keep)
        found = fit_studio(store)
        assert found.paints["ANCHOR"].verdict == "a first guess"
        assert any("preview" in words for words in found.paints["ANCHOR"].reasons)
        assert taught_before(store) == []
