"""A studio on a full disk, on one that can't be written, and held by another program."""

from __future__ import annotations

import os
import resource
import shutil
import sqlite3
import tempfile
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.care.integrity import check_studio
from tintladder.database.store import engine
from tintladder.database.store.store import Store

from .studio_fixtures import PAINTS_TOML, fill, ladder, session

NOBODY = 65534


@contextmanager
def full_disk():
    """The system refuses to let any file grow beyond a page, as on a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_full_disk_keeps_nothing_of_what_did_not_fit(tmp_path):
    with Store.open(tmp_path) as store:
        store.paints.add_file(PAINTS_TOML)
        words = r"the studio can't be used.*has room"
        with full_disk(), pytest.raises(InputError, match=words) as error, store.transaction():
            store.cards.add(ladder(), "text")
            store.readings.add("keel-1", session(ladder()))
        assert "\n" not in str(error.value)
        assert store.cards.all() == [] and check_studio(store) == []
    with Store.open(tmp_path) as store:
        assert len(store.paints.all()) == 4 and check_studio(store) == []
        store.cards.add(ladder(), "text")
        store.readings.add("keel-1", session(ladder()))
        assert len(store.readings.all()) == 1


@pytest.fixture
def open_to_all():
    """A folder that another user may read; those of pytest are closed."""
    folder = Path(tempfile.mkdtemp(prefix="tintladder-test-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@contextmanager
def not_root():
    """Be a user whom permissions bind, for a while."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_disk_that_cannot_be_written(open_to_all):
    folder = open_to_all / "studio"
    with Store.open(folder) as store:
        fill(store)
    folder.chmod(0o555)
    (folder / "studio.db").chmod(0o444)
    words = r"the studio can't be used.*writable"
    with not_root(), pytest.raises(InputError, match=words) as error, Store.open(folder) as store:
        store.paints.add_file(PAINTS_TOML)
    assert "\n" not in str(error.value)
    folder.chmod(0o755)
    (folder / "studio.db").chmod(0o644)
    with Store.open(folder) as store:
        assert check_studio(store) == []


def test_a_database_that_another_program_holds(tmp_path, monkeypatch):
    monkeypatch.setattr(engine, "BUSY_SECONDS", 0.1)
    with Store.open(tmp_path) as store:
        store.paints.add_file(PAINTS_TOML)
        with closing(sqlite3.connect(tmp_path / "studio.db", isolation_level=None)) as other:
            other.execute("BEGIN EXCLUSIVE")
            with pytest.raises(InputError, match=r"database is locked.*no other program holds it"):
                store.cards.add(ladder(), "text")
            # What is written already can be read all the same.
            assert len(store.paints.all()) == 4
            other.execute("ROLLBACK")
        store.cards.add(ladder(), "text")
        store.readings.add("keel-1", session(ladder()))
        assert len(store.readings.all()) == 1


def test_no_studio_in_a_file_or_a_picture(tmp_path):
    (tmp_path / "studio.db").write_bytes(b"\x89PNG\r\n" + bytes(4000))
    with pytest.raises(InputError, match="file is not a database"):
        Store.open(tmp_path)
    (tmp_path / "notes").write_text("a file, no folder")
    with pytest.raises(InputError, match="expected the folder of a studio, found a file"):
        Store.open(tmp_path / "notes")
