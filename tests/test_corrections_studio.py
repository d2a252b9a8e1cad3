"""A file in which tiles were read among the patches: from raw to fit, release and trace."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.formats.session import Session
from tintladder.calibrate.instrument.corrections import InstrumentOptics
from tintladder.calibrate.instrument.sitting import Correcting, corrected_alone
from tintladder.calibrate.optics.spectra import Flag, Spectra
from tintladder.database.care.trace import of_release, of_store, trace
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish
from tintladder.database.releases.tables.inputs import session_of as packed_session
from tintladder.database.releases.verify import corrections_follow, verify_release
from tintladder.database.store import schema
from tintladder.database.store.readings import session_of
from tintladder.database.store.store import Store

from .command import run
from .invented_instrument import FILMS, TILES
from .studio_fixtures import PAINTS_TOML, joint_fit, ladder
from .studio_fixtures import session as card_session

FACTOR, OFFSET = 1.03, 0.004


def spoil(values):
    return FACTOR * values + OFFSET


def read_file(**changes):
    """Readings of the test ladder through an instrument with an offset and a factor."""
    good = card_session(ladder()).spectra
    white, trap = spoil(TILES["white"](good.wavelengths)), spoil(0 * good.wavelengths)
    values = np.concatenate([[trap, white], spoil(good.values), [white]])
    labels = ["tile/trap", "tile/white", *good.labels, "tile/white"]
    said = {"geometry": "di:8", "specular": "included", "date": "2026-05-08", "device": "Harbour 3"}
    return Session(
        spectra=Spectra.from_values(good.wavelengths, values, labels),
        file="keel-1.txt",
        sha256="ab" * 32,
        format="CGATS.17 text",
        unit="fraction",
        **(said | changes),
    )


def certified(**changes):
    nm = np.arange(350.0, 751.0, 10.0)
    names = [name for name in TILES if name != "trap"]
    return Session(
        spectra=Spectra.from_values(nm, np.array([TILES[name](nm) for name in names]), names),
        file="tiles.txt",
        sha256="cd" * 32,
        format="CGATS.17 text",
        unit="fraction",
        geometry=changes.get("geometry", "di:8"),
        specular="included",
        header={"TEMPERATURE": "23"},
    )


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        opened.paints.add_file(PAINTS_TOML)
        opened.cards.add(ladder(), "text")
        yield opened


def test_raw_and_corrected_are_both_kept_and_the_fit_takes_the_corrected(store):
    store.readings.add("keel-1", Correcting(certified())(read_file()))
    (taken,) = store.readings.all()
    good = card_session(ladder()).spectra.values
    # As near as the certificate is sure: a change of scale is held against what is usual.
    np.testing.assert_allclose(taken.spectra.values, good[:, 2:-1], atol=2e-4)
    with store.snapshot() as session:
        row = session.get_one(schema.Session, taken.session)
        raw = np.array([reading.reflectance for reading in row.readings])
        np.testing.assert_array_equal(raw.astype(float), spoil(good))
        assert row.calibration.kind == "tile/white"
        kinds = [c.kind for c in session.query(schema.Calibration).order_by("id")]
    assert sorted(kinds) == ["tile/trap", "tile/white", "tile/white"]
    assert [tile["name"] for tile in row.corrections["tiles"]] == ["trap", "white"]


def test_release_and_trace_go_from_raw_to_corrected(store, tmp_path):
    number = store.readings.add("keel-1", Correcting(certified())(read_file()))
    store.fits.record(joint_fit(), store.readings.all())
    made = publish(store, force="a test")
    assert verify_release(made.folder, made.digest) == []
    release = load_release(made.folder)
    assert list(corrections_follow(release.tables)) == []
    readings = release.tables["readings"]
    readings.loc[2, "corrected"] = readings.loc[3, "corrected"]
    (problem,) = corrections_follow(release.tables)
    assert problem.endswith("session 1: its corrected readings don't follow from the raw")
    packed = packed_session(load_release(made.folder).tables, number)
    with store.snapshot() as session:
        kept = session_of(session.get_one(schema.Session, number))
    assert packed.corrections == kept.corrections
    for name in ("spectra", "corrected"):
        for field in ("values", "flags"):
            one, other = (getattr(getattr(read, name), field) for read in (packed, kept))
            np.testing.assert_array_equal(one, other)
    for origin in (of_store(store, "KEEL"), of_release(load_release(made.folder), "KEEL")):
        row = trace(origin, 550.0)["readings"][0]
        assert row["patch"] == "bare/black"
        assert spoil(row["corrected"]) == pytest.approx(np.mean(row["raw"]), abs=2e-4)
        assert row["correction"].startswith("corrected for zero, scale")
        assert any(w.startswith("corrected zero: 0.0040 ± 0.0002 taken off") for w in row["stages"])
        assert row["calibrated"] == "white tile, 2026-05-08"


def test_tiles_of_another_geometry_or_without_values_are_refused():
    with pytest.raises(InputError, match=r"certified at 45:0, keel-1\.txt is read at di:8"):
        Correcting(certified(geometry="45:0"))(read_file())
    grey = read_file().spectra
    grey = replace(grey, labels=("tile/trap", "tile/grey", *grey.labels[2:]))
    with pytest.raises(InputError, match="tile/grey: this tile has no certified values"):
        Correcting()(replace(read_file(), spectra=grey))
    with pytest.raises(InputError, match="without: got 'wobble'; give one of zero, drift"):
        Correcting(certified(), without=("wobble",))


def test_a_file_without_tiles_stays_as_it_is():
    good = card_session(ladder())
    made = Correcting(certified())(good)
    assert made.corrected is None and made.corrections is None
    assert made.trusted.labels == good.spectra.labels


def test_an_outlying_repeat_shows_its_flag_in_raw_and_corrected(store):
    good = card_session(ladder()).spectra
    values = np.repeat(good.values[1:], 3, axis=0)
    values += 0.0003 * np.random.default_rng(1).standard_normal((len(values), 1))
    values[7] += 0.03
    labels = [label for label in good.labels[1:] for _ in range(3)]
    read = replace(
        read_file(), spectra=Spectra.from_values(good.wavelengths, values.clip(0, 1), labels)
    )
    made = Correcting(optics=InstrumentOptics(5.0))(read)
    odd = [labels[i] for i in np.flatnonzero((made.spectra.flags & Flag.OUTLYING).any(axis=1))]
    assert odd == [labels[7]]
    store.readings.add("keel-1", made)
    (taken,) = store.readings.all()
    assert (taken.spectra.flags & Flag.OUTLYING).any()


def test_what_is_corrected_goes_out_as_such_and_no_band_is_undone_twice():
    wl = card_session(ladder()).spectra.wavelengths
    smooth = np.array([curve(wl) for curve in list(FILMS.values())[:4]])
    read = replace(read_file(), spectra=Spectra.from_values(wl, smooth, ["a", "b", "c", "d"]))
    once = corrected_alone(Correcting(optics=InstrumentOptics(10.0))(read))
    assert once.header["CORRECTED"] == "bandpass"
    twice = Correcting(optics=InstrumentOptics(10.0))(once)
    np.testing.assert_array_equal(twice.trusted.values, once.spectra.values)
    assert corrected_alone(read) is read


def test_the_command_reads_tiles_among_patches(tmp_path, monkeypatch, capsys):
    studio, tell = tmp_path / "studio", partial(run, monkeypatch, capsys)
    with Store.open(studio) as store:
        store.paints.add_file(PAINTS_TOML)
        store.cards.add(ladder(), "text")
    readings, tiles = tmp_path / "keel-1.txt", tmp_path / "tiles.txt"
    readings.write_text(format_cgats(read_file()))
    tiles.write_text(format_cgats(certified()))
    assert read_session(tiles).header["TEMPERATURE"] == "23"
    said = tell("read", readings, "--studio", studio)
    assert "scale (the white tile has no certified values)" in said.out
    assert tell("read", "--undo", "--studio", studio).status == 0
    said = tell("read", readings, "--tiles", tiles, "--band", "5", "--without", "drift", "--json",
               "--studio", studio)  # fmt: skip
    assert said.status == 0, said.err
    (item,) = said.json
    assert any(w.startswith("corrected zero: 0.0040 ± 0.0002 taken off") for w in item["remarks"])
    assert "drift (left out, as asked)" in item["remarks"][-1]
    assert "corrected bandpass: a triangular band of 5.0 nm undone" in item["remarks"]
