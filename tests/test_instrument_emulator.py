"""The instrument that isn't there: its noise, its lamp, its drift, and what lies under it."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.instrument.emulator import Emulator, tile_values
from tintladder.calibrate.instrument.mishaps import MISHAPS, Mishaps
from tintladder.calibrate.instrument.progress import BLACK_TRAP, WHITE_TILE
from tintladder.calibrate.optics.spectra import GRID

from .instruments import quick, scene
from .studio_fixtures import ladder

PROFILE = quick()
SCENE = scene(ladder())


def reading(emulator, under):
    """What is sent of a place, as fractions."""
    emulator.under = under
    reply, mishap = emulator.answer(PROFILE.commands["measure"].send)
    assert reply and not mishap
    return emulator.sent[-1].values


@pytest.fixture
def timed():
    now = [0.0]
    return Emulator(PROFILE, SCENE, seed=5, clock=lambda: now[0]), now


def test_it_repeats_as_well_as_a_handheld_instrument(timed):
    emulator, now = timed
    now[0] = 3600.0
    tile = np.array([reading(emulator, WHITE_TILE) for _ in range(200)])
    dark = np.array([reading(emulator, BLACK_TRAP) for _ in range(200)])
    assert 0.0005 < tile.std(axis=0).mean() < 0.002
    assert dark.std(axis=0).mean() < 0.0004 and dark.mean() < 0.001


def test_its_lamp_warms_up_and_drifts_until_it_is_calibrated(timed):
    emulator, now = timed

    def level():
        ratio = [
            reading(emulator, WHITE_TILE) / tile_values(PROFILE.wavelengths) for _ in range(40)
        ]
        return float(np.mean(ratio))

    cold = level()
    now[0] = 1800.0
    warm = level()
    assert warm - cold == pytest.approx(0.008 + 0.0025, abs=0.002)
    emulator.answer(PROFILE.commands["white"].send)
    assert level() == pytest.approx(1.0, abs=0.001)
    now[0] += 7200.0
    # Half a percent an hour.
    assert level() == pytest.approx(1.01, abs=0.002)


def test_it_replays_what_it_was_given(timed):
    emulator, now = timed
    now[0] = 1e4
    emulator.answer(PROFILE.commands["white"].send)
    for label, row in zip(SCENE.labels, SCENE.values, strict=True):
        true = np.interp(PROFILE.wavelengths, GRID, row)
        assert np.abs(reading(emulator, label) - true).max() < 0.008


def test_its_script_goes_on_only_where_a_reading_was_whole():
    emulator = Emulator(PROFILE, SCENE, script=["bare/black", "masstone/white"])
    command = PROFILE.commands["measure"].send
    emulator.answer(command)
    emulator.mishaps = Mishaps({"garbage": 1.0})
    emulator.answer(command)
    emulator.mishaps = Mishaps({})
    for _ in range(2):
        emulator.answer(command)
    assert [sent.under for sent in emulator.sent] == [
        "bare/black", "masstone/white", "masstone/white", "bare/black",
    ]  # fmt: skip


def test_mishaps_come_as_often_as_asked():
    drawn = Mishaps(dict.fromkeys(MISHAPS, 0.05), seed=1)
    for _ in range(4000):
        drawn.draw()
    # Binomial: 200 of each, with a standard deviation of 14.
    assert all(abs(count - 200) < 5 * 14 for count in drawn.met.values())


def test_an_unknown_command_is_passed_over():
    emulator = Emulator(quick("query"), SCENE)
    assert emulator.answer(b"NONSENSE") == (b"", "")
    # SCPI-99: the error waits until it is asked for.
    assert emulator.answer(b"SYST:ERR?")[0].startswith(b'-113,"Undefined header"')
    assert emulator.answer(b"SYST:ERR?")[0].startswith(b'0,"No error"')
