"""One estimate a session: what it insists on, how sure it is, and the tiles that it won't go by."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument.corrections import correct
from tintladder.calibrate.instrument.corrections_record import correct_anew
from tintladder.calibrate.instrument.estimate.odd_tiles import odd_since
from tintladder.calibrate.instrument.tiles import TileReading
from tintladder.calibrate.optics.shared_errors import SharedErrors
from tintladder.calibrate.optics.spectra import GRID, Spectra

from .invented_instrument import FILMS, TILES, Faults, sitting

NONE = Faults(zero=0.0, scale=0.0, bend=0.0, shift_nm=0.0, band_nm=0.0, drift=0.0, noise=0.0005)


def made_of(read, readings=None, **said):
    return correct(read.raw, read.at, readings or read.tile_readings, read.tiles, **said)


def darker(readings, name, by=0.02):
    return [replace(r, values=r.values * (1 - by)) if r.name == name else r for r in readings]


def test_readings_are_as_far_off_as_they_say():
    held = []
    for seed in range(6):
        read = sitting(replace(Faults(), noise=0.0005, band_nm=0.0), seed)
        made = made_of(read)
        off = np.abs(made.spectra.values - read.truth)
        held.append(np.mean(off < 1.96 * made.errors.sd(made.spectra.values)))
    assert np.mean(held) > 0.9


def test_doubts_survive_the_record():
    read = sitting(Faults(noise=0.0005))
    made = made_of(read)
    said = json.loads(json.dumps(made.record()))
    again = SharedErrors.of_record(said["errors"])
    values = made.spectra.values
    np.testing.assert_allclose(again.sd(values), made.errors.sd(values), rtol=1e-6)


def test_a_single_grey_tells_no_bend():
    read = sitting(replace(NONE, bend=0.01))
    one = [r for r in read.tile_readings if r.name not in ("grey-60", "grey-10")]
    said = {s.stage: s.words for s in made_of(read, one, tiles_are_clean=True).stages}
    assert "a single grey can't tell a bend from a dirty tile" in said["linearity"]


def test_a_dirty_tile_is_not_calibrated_in():
    read = sitting(NONE)
    dirty = darker(read.tile_readings, "grey-30", 0.03)
    with pytest.raises(InputError, match=r"tile/grey-30: it reads .* darker than its certificate"):
        made_of(read, dirty)
    assert made_of(read, dirty, tiles_are_clean=True).spectra.values.shape == read.truth.shape


def test_a_lone_white_tile_that_is_dark_is_refused():
    read = sitting(NONE)
    lone = [r for r in darker(read.tile_readings, "white", 0.08) if r.name in ("white", "trap")]
    with pytest.raises(InputError, match=r"tile/white: it reads .* darker"):
        made_of(read, lone)


def test_a_tile_off_its_history_is_found_whatever_the_instrument_does():
    before = {name: curve(GRID) for name, curve in TILES.items()}
    now = {name: 0.98 * values + 0.001 for name, values in before.items()}
    assert odd_since(now, [before, before]) == []
    now["orange"] = now["orange"] * 0.98
    (odd,) = odd_since(now, [before, before])
    assert odd.name == "orange" and "darker than in earlier sittings" in odd.words
    assert odd_since(now, []) == []


def test_a_jump_is_found_and_placed_by_repeats():
    rng, names = np.random.default_rng(1), [name for name in FILMS for _ in range(2)]
    at = 15.0 * np.arange(1, len(names) + 1)
    gain = np.where(np.arange(len(names)) >= 9, 0.99, 1.0)
    truth = np.array([FILMS[name](GRID) for name in names])
    values = truth * gain[:, None] + 0.0002 * rng.standard_normal(truth.shape)
    white = TILES["white"](GRID)
    readings = [TileReading("white", white, 0.0), TileReading("white", 0.99 * white, at[-1] + 15)]
    made = correct(Spectra.from_values(GRID, values, names), at, readings, {})
    (jump,) = made.jumps
    assert (jump.first, jump.last) == (8, 9)
    assert jump.size == pytest.approx(-0.01, abs=0.001)
    assert np.abs(made.spectra.values - truth).max() < 0.002


def test_what_was_corrected_stage_by_stage_stays_so():
    read = sitting(NONE)
    record = {
        "stages": [
            {"stage": "zero", "made": True, "words": "", "data": {"offset": [0.004] * GRID.size}},
            {"stage": "scale", "made": True, "words": "", "data": {"factor": [1.02] * GRID.size}},
        ],
        "at": read.at.tolist(),
        "readings": [reading.record() for reading in read.tile_readings],
        "tiles": [tile.record() for tile in read.tiles.values()],
        "optics": {},
        "without": [],
    }
    found = correct_anew(read.raw, record)
    np.testing.assert_allclose(found.values, (read.raw.values - 0.004) * 1.02)
