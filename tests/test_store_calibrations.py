"""What files say of an instrument's calibration is kept, traced, and told of when it is too old."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import select
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.cxf_writing import format_cxf
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.formats.table_writing import format_csv
from tintladder.database.care.integrity import check_studio
from tintladder.database.care.trace import of_release, of_store, trace
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.store import schema
from tintladder.database.store.store import Store

from .studio_fixtures import PAINTS_TOML, joint_fit, ladder, session

FILE = """CGATS.17
ORIGINATOR "Boatyard sign shop (invented)"
CREATED "2026-03-03"
INSTRUMENTATION "Bench reader (invented)"
KEYWORD "INSTRUMENT_SERIAL"
INSTRUMENT_SERIAL "B-17"
KEYWORD "CALIBRATION_DATE"
CALIBRATION_DATE "{calibrated}"
KEYWORD "CALIBRATION_TILE"
CALIBRATION_TILE "White tile 4 (invented)"
MEASUREMENT_GEOMETRY "45:0"
KEYWORD "REFLECTANCE_UNIT"
REFLECTANCE_UNIT "fraction"
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_NAME SPECTRAL_NM400 SPECTRAL_NM410 SPECTRAL_NM420
END_DATA_FORMAT
NUMBER_OF_SETS 1
BEGIN_DATA
masstone/black 0.1 0.2 0.3
END_DATA
"""
SAID = {"serial": "B-17", "calibrated": "2026-03-03", "tile": "White tile 4 (invented)"}


def read(tmp_path, calibrated="2026-03-03"):
    path = tmp_path / "readings.txt"
    path.write_text(FILE.format(calibrated=calibrated))
    return read_session(path)


def filled(store, **said):
    store.paints.add_file(PAINTS_TOML)
    store.cards.add(ladder(), "the card's own text")
    store.readings.add("keel-1", session(ladder(), **(SAID | said)))
    store.fits.record(joint_fit(), store.readings.all())
    return store


def calibrations(store):
    with store.snapshot() as opened:
        return list(opened.scalars(select(schema.Calibration)))


@pytest.mark.parametrize(
    "written, understood",
    [("2026-03-03", "2026-03-03"), ("3 March 2026", "2026-03-03"), ("03/04/2026", None)],
)
def test_a_file_says_when_and_on_what(tmp_path, written, understood):
    found = read(tmp_path, written)
    assert (found.serial, found.tile) == ("B-17", "White tile 4 (invented)")
    assert found.calibrated == understood
    # A date that could be two days is kept as it stands.
    assert found.header.get("CALIBRATION_DATE") == (None if understood else written)


@pytest.mark.parametrize("name", ["a.txt", "a.csv", "a.cxf"])
def test_readings_written_out_say_it_again(tmp_path, name):
    card = ladder()
    kept = session(card, **SAID)
    whole = replace(kept, spectra=kept.spectra.select([0, 1, 2]))
    written = {
        "a.txt": lambda: format_cgats(whole).encode(),
        "a.csv": lambda: format_csv(whole).encode(),
        "a.cxf": lambda: format_cxf(whole, "2026-03-05T10:00:00Z"),
    }
    (tmp_path / name).write_bytes(written[name]())
    again = read_session(tmp_path / name)
    assert {key: getattr(again, key) for key in SAID} == SAID
    assert again.device == kept.device


def test_a_number_goes_back_to_device_tile_and_date(tmp_path):
    with Store.open(tmp_path) as store:
        filled(store)
        here = trace(of_store(store, "KEEL"), 550)
        there = trace(of_release(load_release(publish(store).archive), "KEEL"), 550)
    for found in (here, there):
        row = found["readings"][0]
        assert (row["device"], row["serial"]) == ("Bench reader (invented)", "B-17")
        assert row["calibrated"] == "White tile 4 (invented), 2026-03-03"
        assert row["date"] == "2026-03-03"


def test_files_of_one_sitting_tell_of_one_calibration(tmp_path):
    with Store.open(tmp_path) as store:
        filled(store)
        store.readings.add("keel-1", session(ladder(), 2, **SAID))
        assert len(calibrations(store)) == 1
        store.readings.add("keel-1", session(ladder(), 3, **(SAID | {"calibrated": "2026-03-04"})))
        assert [row.done for row in calibrations(store)] == ["2026-03-03", "2026-03-04"]


def test_two_instruments_of_one_name(tmp_path):
    with Store.open(tmp_path) as store:
        filled(store, serial=None)
        for seed, serial in ((2, "B-17"), (3, "B-18"), (4, "B-17"), (5, "B-18"), (6, None)):
            store.readings.add("keel-1", session(ladder(), seed, serial=serial))
        with store.snapshot() as opened:
            rows = opened.scalars(select(schema.Session).order_by(schema.Session.id))
            said = [(row.device.name, row.device.serial) for row in rows]
    first = ("Bench reader (invented)", "B-17")
    second = ("Bench reader (invented) B-18", "B-18")
    assert said == [first, first, second, first, second, first]


@pytest.mark.parametrize(
    "calibrated, words",
    [
        ("2026-03-03", None),
        ("2026-03-02", None),
        ("2026-02-20", "with Bench reader (invented) 11 days after its calibration"),
        ("2026-03-09", "on 2026-03-03, but the calibration that it names is of 2026-03-09"),
    ],
)
def test_check_names_a_calibration_that_does_not_hold(tmp_path, calibrated, words):
    with Store.open(tmp_path) as store:
        filled(store, calibrated=calibrated)
        said = [finding.words for finding in check_studio(store) if finding.kind == "stale"]
    assert said == ([] if words is None else [said[0]])
    assert words is None or words in said[0]


def test_nothing_said_nothing_recorded(tmp_path):
    with Store.open(tmp_path) as store:
        filled(store, calibrated=None)
        assert calibrations(store) == []
        assert trace(of_store(store, "KEEL"), 550)["readings"][0]["calibrated"] == ""
        store.cards.add(replace(ladder("other"), file="other.toml"), "text")
        store.readings.add("other", session(ladder("other"), 7, device=None, **SAID))
        assert calibrations(store) == []
