"""Corrections: each stage undoes its own fault, says what it did, and leaves the raw alone."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument.corrections import InstrumentOptics, correct
from tintladder.calibrate.instrument.corrections_record import correct_anew
from tintladder.calibrate.instrument.estimate.monochromator import undo_band, unshift
from tintladder.calibrate.instrument.estimate.outcomes import STAGES
from tintladder.calibrate.instrument.estimate.visits import visits
from tintladder.calibrate.instrument.repeats import (
    averaged,
    critical,
    flag_outlying,
    repeats_needed,
)
from tintladder.calibrate.instrument.tiles import Tile, TileReading, tile_kind
from tintladder.calibrate.optics.spectra import GRID, Flag, Spectra

from .invented_instrument import FILMS, TILES, Faults, sitting

NONE = Faults(zero=0.0, scale=0.0, bend=0.0, shift_nm=0.0, band_nm=0.0, drift=0.0)
BAND = InstrumentOptics(band_nm=10.0)


def chain(read, optics=BAND, without=()):
    return correct(read.raw, read.at, read.tile_readings, read.tiles, optics, without)


def rms(made, read):
    return float(np.sqrt(np.mean((made.spectra.values - read.truth) ** 2)))


def stage(made, name):
    (found,) = [each for each in made.stages if each.stage == name]
    return found


def test_the_whole_chain_comes_within_its_target():
    read = sitting(Faults())
    raw = read.raw.values.copy()
    made = chain(read)
    assert rms(made, read) <= 0.002
    assert rms(chain(read, without=STAGES), read) > 0.015
    np.testing.assert_array_equal(read.raw.values, raw)
    assert [each.stage for each in made.stages] == list(STAGES)
    assert all(each.made for each in made.stages)


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("zero", {"zero": 0.005}),
        ("drift", {"drift": 0.005}),
        ("scale", {"scale": 0.02}),
        ("linearity", {"bend": 0.01}),
        ("wavelength", {"shift_nm": 0.5}),
        ("bandpass", {"band_nm": 10.0}),
    ],
)
def test_each_stage_undoes_its_own_fault(name, fault):
    read = sitting(replace(NONE, **fault))
    optics = BAND if name == "bandpass" else None
    with_it, without = chain(read, optics), chain(read, optics, without=STAGES)
    assert rms(with_it, read) < 0.3 * rms(without, read)
    assert stage(with_it, name).made
    assert stage(without, name).words == "left out, as asked"


def test_an_instrument_without_fault_is_left_alone():
    read = sitting(replace(NONE, noise=0.0002))
    made = chain(read, optics=None)
    assert rms(made, read) < 0.0004
    assert "no shift found" in stage(made, "wavelength").words


def test_shift_is_found_beside_a_band_and_says_how_sure_it_is():
    read = sitting(Faults(noise=0.0005))
    found = stage(chain(read), "wavelength").data
    assert found["nm"] == pytest.approx(0.5, abs=0.05)
    assert abs(found["nm"] - 0.5) < 3 * found["uncertainty"]
    assert found["after"] < 0.5 * found["before"]


def test_a_warm_tile_makes_the_shift_unsure():
    read = sitting(replace(NONE, shift_nm=0.5))
    warm = [replace(r, temperature_c=29.0) for r in read.tile_readings]
    made = correct(read.raw, read.at, warm, read.tiles)
    # Common practice, no source: some 0.1 nm a degree for reds and oranges.
    assert "± 0.56 nm, the tiles within 6 K" in stage(made, "wavelength").words
    assert not stage(made, "wavelength").made
    cold = [replace(r, temperature_c=None) for r in read.tile_readings]
    assert "not noted" in stage(correct(read.raw, read.at, cold, read.tiles), "wavelength").words


@pytest.mark.parametrize(
    ("optics", "words"),
    [
        (None, "a triangular band of 10.0 nm undone"),
        (InstrumentOptics(band_nm=5.0), "a triangular band of 10.0 nm undone"),
        (InstrumentOptics(band_nm=10.0, band_corrected=True), "corrects its band itself"),
    ],
)
def test_the_band_is_what_the_tiles_tell_and_never_undone_twice(optics, words):
    read = sitting(replace(NONE, band_nm=10.0))
    made = chain(read, optics)
    assert words in stage(made, "bandpass").words
    if optics is not None and optics.band_corrected:
        np.testing.assert_array_equal(made.spectra.values, read.raw.values)


def test_a_declared_band_is_undone_without_tiles():
    read = sitting(replace(NONE, band_nm=10.0))
    made = correct(read.raw, read.at, [], {}, BAND)
    assert rms(made, read) < 0.3 * float(np.sqrt(np.mean((read.raw.values - read.truth) ** 2)))


def test_stearns_and_stearns_is_exact_on_a_cubic():
    """A triangle of 10 nm smears R to R + R'' 100 / 12 where the fourth derivative is nought."""
    x = (GRID - 555) / 175
    curves = np.array([0.4 + 0.1 * x + 0.2 * x**2 - 0.15 * x**3, 0.5 + 0.3 * x**3])
    second = np.array([0.4 - 0.9 * x, 1.8 * x]) / 175**2
    np.testing.assert_allclose(
        undo_band(curves + second * 100 / 12, GRID, 100.0), curves, atol=1e-12
    )


def test_the_rule_holds_where_steps_are_finer_than_the_band():
    fine = np.arange(380.0, 730.5, 2.5)
    x = (fine - 555) / 175
    curves = np.array([0.4 + 0.1 * x + 0.2 * x**2 - 0.15 * x**3])
    smeared = curves + np.array([(0.4 - 0.9 * x) / 175**2]) * 100 / 12
    np.testing.assert_allclose(undo_band(smeared, fine, 100.0), curves, atol=1e-12)
    # Noise grows no more than at steps as wide as the band: by the root of 1.17^2 + 2 (1/12)^2.
    noise = np.random.default_rng(1).standard_normal((50, fine.size))
    inner = slice(8, -8)
    grown = undo_band(noise, fine, 100.0)[:, inner].std() / noise[:, inner].std()
    assert grown == pytest.approx(1.17, abs=0.02)


def test_the_band_rule_is_the_published_three_point_one():
    """Stearns and Stearns 1988: weights -1/12, 7/6, -1/12 (0.083 in print; from memory)."""
    impulse = np.zeros((1, 9))
    impulse[0, 4] = 1
    np.testing.assert_allclose(
        undo_band(impulse, np.arange(9.0), 1.0)[0, 3:6], [-1 / 12, 7 / 6, -1 / 12]
    )


def test_missing_values_stay_missing_and_spoil_no_neighbour():
    values = np.array([FILMS["red"](GRID), FILMS["blue"](GRID)])
    values[0, 10] = values[0, :2] = np.nan
    for changed in (undo_band(values, GRID, 100.0), unshift(GRID, values, 0.4)):
        np.testing.assert_array_equal(np.isnan(changed), np.isnan(values))
        np.testing.assert_allclose(changed, values, atol=0.05, equal_nan=True)


def test_flags_of_missing_values_stay():
    read = sitting(Faults())
    values = read.raw.values.copy()
    values[0, 5] = np.nan
    gap = Spectra.from_values(GRID, values, read.raw.labels)
    made = correct(gap, read.at, read.tile_readings, read.tiles, BAND)
    assert made.spectra.flags[0, 5] & Flag.MISSING
    assert np.isnan(made.spectra.values).sum() == 1


def test_the_record_holds_what_each_stage_rests_on_and_is_json():
    read = sitting(Faults())
    record = json.loads(json.dumps(chain(read).record()))
    stages = {each["stage"]: each for each in record["stages"]}
    assert record["readings"][0]["values"][0] == pytest.approx(0.005)
    assert {tile["name"]: tile["source"] for tile in record["tiles"]} == dict.fromkeys(
        TILES, "invented"
    ) | {"trap": "taken as 0"}
    assert stages["linearity"]["data"]["c"] == pytest.approx(0.04, abs=0.002)


def test_wavelengths_that_were_never_read_need_no_tile():
    read = sitting(Faults())
    values = read.raw.values.copy()
    values[:, :2] = np.nan
    short = Spectra.from_values(GRID, values, read.raw.labels)
    tiles = [
        replace(r, values=np.where(np.arange(GRID.size) < 2, np.nan, r.values))
        for r in read.tile_readings
    ]
    made = correct(short, read.at, tiles, read.tiles, BAND)
    np.testing.assert_array_equal(np.isnan(made.spectra.values), np.isnan(values))
    off = made.spectra.values[:, 2:] - read.truth[:, 2:]
    assert np.sqrt(np.mean(off**2)) <= 0.002
    again = correct_anew(short, made.record())
    np.testing.assert_array_equal(again.values, made.spectra.values)


def test_the_record_is_enough_to_correct_anew():
    read = sitting(Faults(noise=0.0005), repeats=2)
    made = chain(read, without=("linearity",))
    again = correct_anew(read.raw, json.loads(json.dumps(made.record())))
    np.testing.assert_array_equal(again.values, made.spectra.values)


def test_without_tiles_nothing_is_made_and_each_says_why():
    read = sitting(Faults())
    made = correct(read.raw, read.at, [], {})
    np.testing.assert_array_equal(made.spectra.values, read.raw.values)
    said = {each.stage: each.words for each in made.stages if not each.made}
    assert said == {
        "zero": "no black trap was read",
        "drift": "no white tile was read",
        "scale": "no white tile was read",
        "linearity": "no grey tile was read",
        "wavelength": "no coloured tile was read",
        "bandpass": "the instrument's band isn't declared",
    }


@pytest.mark.parametrize(
    ("name", "level", "expected"),
    [
        ("white", 0.35, "expected a white tile of some 0.90, it reads 0.35"),
        ("trap", 0.9, "expected a black trap, it reads 0.90"),
        ("green", 0.2, "no certified values .certified: grey-10"),
    ],
)
def test_what_is_no_tile_is_refused(name, level, expected):
    read = sitting(NONE)
    wrong = TileReading(name, np.full(GRID.size, level), 0.0)
    with pytest.raises(InputError, match=expected):
        correct(read.raw, read.at, [wrong], read.tiles)


def test_two_whites_and_a_short_certificate_are_refused():
    read = sitting(NONE)
    white = read.tiles["white"]
    short = Tile("white", white.wavelengths[10:], white.values[10:])
    with pytest.raises(InputError, match="certified from 410 to 750 nm, but read from 380"):
        correct(read.raw, read.at, read.tile_readings, read.tiles | {"white": short})
    two = [*read.tile_readings, TileReading("white-2", TILES["white"](GRID), 1.0)]
    with pytest.raises(InputError, match="several white tiles were read: white, white-2"):
        correct(read.raw, read.at, two, read.tiles)


def test_names_tell_what_a_tile_is_for():
    names = ("white", "White 1", "trap", "black trap", "grey-50", "Gray 20", "orange", "deep blue")
    kinds = ["white", "white", "trap", "trap", "grey", "grey", "colour", "colour"]
    assert [tile_kind(name) for name in names] == kinds


def test_gain_is_linear_between_visits_and_held_beyond():
    readings = [TileReading("white", np.array([v]), t) for t, v in [(0, 1.0), (1, 1.2), (9, 1.3)]]
    found = visits(readings, np.array([5.0]))
    np.testing.assert_allclose(found.at, [0.5, 9.0])
    np.testing.assert_array_equal(found.share, [[1, 0], [1, 0], [0, 1]])
    shares = found.shares(np.array([-1.0, 0.5, 4.75, 9.0, 20.0]))
    np.testing.assert_allclose(shares[:, 1], [0, 0, 0.5, 1, 1])


def test_an_instrument_that_calibrates_itself_drifts_in_pieces():
    """It gains 1 % an hour, is calibrated at 0 and at 2 h, and reads its tile before each time."""
    readings = [
        TileReading("white", np.full(GRID.size, level), 3600.0 * hours, calibrated=anew)
        for hours, level, anew in [
            (-0.02, 0.40, False), (0.0, 0.90, True), (2.0, 0.918, False), (2.01, 0.90, True),
            (3.0, 0.909, False),
        ]
    ]  # fmt: skip
    truth, hours = FILMS["earth"](GRID), np.array([0.5, 1.5, 2.5])
    gained = 1 + 0.01 * np.array([0.5, 1.5, 0.5])[:, None]
    raw = Spectra.from_values(GRID, truth * gained, ["a", "b", "c"])
    made = correct(raw, 3600 * hours, readings, {})
    np.testing.assert_allclose(made.spectra.values, [truth] * 3, rtol=3e-4)
    assert stage(made, "drift").made
    assert stage(made, "scale").words == "the white tile has no certified values"


def test_critical_values_are_those_in_print():
    """Grubbs's single-outlier table (Technometrics 11, 1969, and ASTM E178), from memory."""
    for count, one_sided_5_percent in ((3, 1.153), (5, 1.672), (10, 2.176), (20, 2.557)):
        assert critical(count, 0.10) == pytest.approx(one_sided_5_percent, abs=0.001)


def test_repeats_are_averaged():
    values = np.array([[0.1, 0.2], [0.5, 0.6], [0.3, 0.2], [0.2, 0.2]])
    made = averaged(Spectra.from_values([400, 500], values, ["a", "b", "a", "a"]))
    assert made.labels == ("a", "b")
    np.testing.assert_allclose(made.mean, [[0.2, 0.2], [0.5, 0.6]])
    np.testing.assert_allclose(made.sd[0], [0.1, 0.0], atol=1e-15)
    assert np.isnan(made.sd[1]).all()
    assert repeats_needed(0.3, 0.1) == 9


def test_one_reading_that_does_not_belong_is_flagged_and_kept():
    read = sitting(replace(NONE, noise=0.0005), repeats=3)
    values = read.raw.values.copy()
    values[7] += 0.02
    odd = flag_outlying(Spectra.from_values(GRID, values, read.raw.labels))
    assert np.flatnonzero((odd.flags & Flag.OUTLYING).any(axis=1)).tolist() == [7]
    np.testing.assert_array_equal(odd.values, values)


def test_of_two_that_differ_both_are_flagged_and_good_ones_hardly_ever():
    read = sitting(replace(NONE, noise=0.0005), repeats=2)
    values = read.raw.values.copy()
    values[4] += 0.02
    odd = flag_outlying(Spectra.from_values(GRID, values, read.raw.labels))
    assert np.flatnonzero((odd.flags & Flag.OUTLYING).any(axis=1)).tolist() == [4, 5]
    false = 0
    for seed in range(20):
        good = sitting(replace(NONE, noise=0.0005), seed, repeats=3).raw
        false += bool(flag_outlying(good).flags.any())
    assert false <= 2  # of 240 patches
