"""Sensitivities of a device that mixes its channels: how much less sure they are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.cards.characterising import characterise_device
from tintladder.database.store.store import Store

from .invented_scanner import LED, target

SCANS = Path(__file__).parents[1] / "measurements" / "boatyard" / "scans"


def test_mixing_and_gain_come_to_what_is_unexplained_of_the_target():
    channels = LED.read(target())
    beyond = 0.002 + 0.03 * channels
    loose = LED.loosened(channels, beyond)
    assert len(loose.factors) == len(LED.factors) + 9
    np.testing.assert_array_equal(loose.sensitivity, LED.sensitivity)
    moved = np.einsum("tw,ecw->etc", target(), loose.factors).reshape(3, 3, len(channels), 3)
    for channel in range(3):
        gain, *mixing = moved[channel, :, :, channel]
        size = np.sqrt((beyond[:, channel] ** 2).mean())
        assert np.sqrt((gain**2).mean()) == pytest.approx(size)
        assert np.sqrt((np.square(mixing).sum(axis=0)).mean()) == pytest.approx(size)
    # What a factor does to one channel it does to no other.
    assert all((np.abs(factor).sum(axis=1) > 0).sum() == 1 for factor in loose.factors)


def test_mixing_leaves_greys_as_sure_as_they_were():
    loose = LED.loosened(LED.read(target()), np.full((len(target()), 3), 0.02))
    grey = np.full(GRID.size, 0.4)
    moved = np.abs(np.einsum("w,ecw->ec", grey, loose.factors)).max(axis=1)
    assert (moved > 1e-9).sum() == 3, "the gains alone"


def test_a_phone_is_less_sure_of_colours_and_a_flatbed_is_not(tmp_path):
    with Store.open(tmp_path) as store:
        for name, picture in (("flatbed", "target.png"), ("phone", "target-phone.jpg")):
            characterise_device(store, name, SCANS / picture, SCANS / "target.txt")
        flatbed, phone = (store.scanners.find(name).device.sensors for name in ("flatbed", "phone"))
    colours = target()[:40]

    def unsure(sensors):
        return np.sqrt((np.einsum("tw,ecw->tce", colours, sensors.factors) ** 2).sum(axis=2)).mean()

    assert unsure(phone) > 5 * unsure(flatbed)
