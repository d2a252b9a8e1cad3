"""A studio shared by several benches: the same store in a real PostgreSQL server."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.instrument.instrument import Identity
from tintladder.calibrate.instrument.progress import RawReading
from tintladder.database.care.integrity import check_studio
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import publish, releases
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.schema import APPEND_ONLY, Base
from tintladder.database.store.store import Store

from . import postgres
from .command import run
from .instruments import quick
from .studio_cards import write_all
from .studio_fixtures import (
    PAINTS_TOML,
    WHEN,
    fill,
    joint_fit,
    ladder,
    named_by_fit,
    scanned,
    session,
)
from .test_store import assert_same, assert_snapshot_of_one_moment, rows

pytestmark = pytest.mark.skipif(postgres.why_not() is not None, reason=postgres.why_not() or "")
HOUSE = Path(__file__).parent.parent
NUMBER = itertools.count(1)


@pytest.fixture(scope="module")
def server():
    with postgres.server() as url:
        yield url


@pytest.fixture
def url(server, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return postgres.new_database(server, f"studio{next(NUMBER)}")


@pytest.fixture
def store(url):
    with Store.open(url) as opened:
        yield fill(opened)


def test_migrations_make_just_what_the_models_say(store):
    with store._engine.connect() as connection:
        context = MigrationContext.configure(connection)
        assert compare_metadata(context, Base.metadata) == []


def test_append_only_rows_cannot_change_or_go(store):
    publish(store)
    for table in APPEND_ONLY:
        for change in (f"UPDATE {table} SET id = id + 100", f"DELETE FROM {table}"):
            with pytest.raises(DBAPIError, match="append-only"), store._engine.begin() as c:
                c.execute(text(change))


def test_what_goes_in_comes_out(store, url):
    assert_same(store.fits.of("KEEL"), joint_fit().paints["KEEL"])
    (back,) = store.readings.all()
    read = session(ladder())
    inside = np.isin(read.spectra.wavelengths, back.spectra.wavelengths)
    np.testing.assert_array_equal(back.spectra.values, read.spectra.values[:, inside])
    with pytest.raises(InputError, match="already read"):
        store.readings.add("keel-1", read)
    number = store.readings.add("keel-1", session(ladder(), 5))
    store.imports.record(["5.txt"], [number], [])
    store.imports.undo()
    assert len(store.readings.all()) == 1
    with Store.open(url) as again:
        assert again.fits.current() == {"HULL": 1, "KEEL": 1}


def test_scans_go_in_and_come_out_and_are_undone(store):
    scan, facts = scanned(ladder())
    number, new = store.scans.add(scan, facts, {"grey": None, "without": []}, None, ["a remark"])
    again = store.scans.add(scan, facts, {"grey": None, "without": []}, None, ["a remark"])
    assert new and again == (number, False)
    (back,) = store.scans.all()
    np.testing.assert_array_equal(back.channels, scan.channels.channels)
    np.testing.assert_array_equal(back.variance, scan.channels.variance)
    assert (back.level, back.labels) == (0.01, scan.channels.labels)
    store.imports.record([facts.file], scans=[number])
    assert store.imports.undo().scans == 1 and store.scans.all() == []
    assert store.scans.add(scan, facts, {"grey": None, "without": []}, None, []) == (2, True)


def test_a_release_is_the_same_from_either_database(store, tmp_path, monkeypatch):
    """Bytes too, but for the times of the fit."""
    made = publish(store, created=WHEN)
    assert verify_release(made.archive, made.digest) == []
    assert_same(load_release(made.archive).coefficients, named_by_fit(joint_fit().coefficients, 1))
    with Store.open(tmp_path / "own") as own:
        other = publish(fill(own), created=WHEN)
    for file in made.folder.glob("*.csv"):
        if file.name != "fits.csv":
            assert file.read_bytes() == (other.folder / file.name).read_bytes(), file.name
    assert [row.digest for row in releases(store)] == [made.digest]
    assert check_studio(store) == []


def test_the_command_line_takes_a_url(url, tmp_path, monkeypatch, capsys):
    tool = partial(run, monkeypatch, capsys)
    write_all(tmp_path)
    assert tool("read", "paints.toml", "keel-1.toml", "keel-1.txt", "--studio", url).status == 0
    assert "keel-1" in tool("read", "keel-1.txt", "--studio", url).err
    assert tool("verify", "--studio", url).status == 0
    assert tool("backup", "b.zip", "--studio", url).status == 2


def test_a_newer_or_missing_database_is_refused_plainly(url, server):
    Store.open(url).close()
    with Store.open(url) as store, store._engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(InputError, match="newer tintladder"):
        Store.open(url)
    with pytest.raises(InputError, match="can't be used"):
        Store.open(server.format("nowhere"))


def test_a_snapshot_is_of_one_moment(url):
    assert_snapshot_of_one_moment(url)


def test_eight_processes_write_sessions_at_once(url):
    """From its first moment: the schema too is made by whoever comes first."""
    command = [sys.executable, "-m", "tests.test_store_processes", "write_sessions", url]
    writers = [
        subprocess.Popen(
            [*command, str(100 * (i + 1)), "5"], stdout=subprocess.PIPE, text=True, cwd=HOUSE,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
        for i in range(8)
    ]  # fmt: skip
    said = [int(line) for writer in writers for line in writer.communicate()[0].split()]
    assert [writer.returncode for writer in writers] == [0] * 8
    expected = [0, *(100 * (i + 1) + j for i in range(8) for j in range(5))]
    with Store.open(url) as opened:
        assert len(opened.scans.all()) == len(expected)
    assert sorted(said) == expected
    with Store.open(url) as store:
        assert rows(store, "sessions") == len(expected)
        assert rows(store, "readings") == len(expected) * len(session(ladder()).spectra)
        assert store.paints.add_file(PAINTS_TOML)


def test_a_sitting_is_kept_reading_by_reading(store):
    profile = quick()
    sitting = store.sittings.begin("keel-1", profile, "a port", 1)
    who = Identity(model="Bench reader", serial="7")
    values = np.full(profile.wavelengths.size, 0.5)
    for place in ("tile/white", "masstone/black"):
        taken = "2026-03-05T10:00:00.000Z"
        reading = RawReading(place, 1, 1, taken, values, {"calibrated": True})
        store.sittings.keep(sitting, reading, who)
        with pytest.raises(InputError, match="another program"):
            store.sittings.keep(sitting, reading, who)
    assert [r.place for r in store.sittings.progress(sitting).readings] == [
        "tile/white", "masstone/black",
    ]  # fmt: skip
    number, made = store.sittings.finish(sitting, who)
    assert made.spectra.labels == ("masstone/black",) and not store.sittings.open()
    assert number in {r.session for r in store.readings.all()}
