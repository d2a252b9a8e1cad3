"""Undoing an import marks it and deletes nothing; an old studio is copied before it is migrated."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from functools import partial

import pytest
from alembic import command
from tintladder.calibrate.errors import InputError
from tintladder.database.store.engine import _engine, migration_config
from tintladder.database.store.store import Store
from tintladder.database.store.studio import Studio

from .command import run
from .studio_cards import write_all
from .studio_fixtures import PAINTS_TOML, joint_fit, ladder, session
from .test_store import rows


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        opened.paints.add_file(PAINTS_TOML)
        yield opened


def take(store, seeds, card=None):
    """An import of a card, if any, and sessions of it."""
    versions = []
    if card is not None:
        store.cards.add(card, card.note)
        versions = [store.cards.version(card.name)]
    numbers = [store.readings.add("keel-1", session(ladder(), seed)) for seed in seeds]
    return store.imports.record([f"{seed}.txt" for seed in seeds], numbers, versions)


def sources(store):
    return sorted(r.source for r in store.readings.all())


def test_undoing_goes_back_import_by_import(store):
    take(store, [1, 2], ladder())
    take(store, [3])
    back = store.imports.undo()
    assert (back.files, back.sessions, back.cards) == (("3.txt",), 1, 0)
    assert sources(store) == ["keel-1-1.txt", "keel-1-2.txt"]
    assert store.imports.undo().cards == 1
    assert store.readings.all() == [] and store.cards.all() == []
    with pytest.raises(InputError, match="no import to undo"):
        store.imports.undo()
    assert [rows(store, t) for t in ("sessions", "card_versions", "imports")] == [3, 1, 2]


def test_what_was_undone_may_be_read_again(store):
    take(store, [1], ladder())
    take(store, [2])
    store.imports.undo()
    with pytest.raises(InputError, match="already read"):
        store.readings.add("keel-1", session(ladder(), 1))
    store.readings.add("keel-1", session(ladder(), 2, unit="fraction"))
    with pytest.raises(InputError, match="already read"):
        store.readings.add("keel-1", session(ladder(), 2))
    assert sources(store) == ["keel-1-1.txt", "keel-1-2.txt"]


def test_undoing_a_corrected_card_brings_back_the_one_before(store):
    take(store, [1], ladder())
    take(store, [], replace(ladder(), note="weighed again"))
    assert store.cards.find("keel-1").note == "weighed again"
    store.imports.undo()
    assert store.cards.find("keel-1").note == "invented"
    assert store.cards.add(replace(ladder(), note="third"), "third") == "changed"


def test_undoing_names_the_fits_that_rest_on_it(store):
    take(store, [1], ladder())
    first = store.fits.record(joint_fit(), store.readings.all())
    take(store, [2])
    assert store.imports.undo().fits == ()
    assert store.imports.undo().fits == (first,)


def test_undo_from_the_command_line(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    tool = partial(run, monkeypatch, capsys)
    write_all(tmp_path)
    files = ("paints.toml", "keel-1.toml", "keel-1.txt")
    assert tool("read", *files).status == 0
    said = tool("read", "--undo")
    assert said.status == 0 and "still in the studio, marked" in said.out
    assert tool("read", "--undo").status == 2
    assert tool("read").status == 2 and tool("read", "--undo", "keel-1.txt").status == 2
    assert tool("read", *files).status == 0
    with Store.open(tmp_path) as store:
        assert len(store.readings.all()) == 1


def old_studio(folder):
    """A studio of the first schema, with a session in it."""
    folder.mkdir()
    studio = Studio.at(folder)
    engine = _engine(studio)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        command.upgrade(migration_config(connection), "0001")
        connection.exec_driver_sql("INSERT INTO cards (name) VALUES ('keel-1')")
        connection.exec_driver_sql(
            "INSERT INTO sessions (card_id, file, sha256, format, unit, geometry, specular, "
            "state, header, wavelengths, added) VALUES (1, 'old.txt', 'aa', '', 'percent', "
            "'45:0', 'excluded', 'dry', '{}', '[]', '')"
        )
    engine.dispose()
    return studio


def test_an_old_studio_migrates_forward_with_a_copy_first(tmp_path):
    studio = old_studio(tmp_path / "old")
    with Store.open(studio) as store:
        assert rows(store, "sessions") == 1 and rows(store, "imports") == 0
    copy = studio.folder / "studio-before-migration-0001.db"
    with sqlite3.connect(copy) as raw:
        assert raw.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)
        assert raw.execute("SELECT file FROM sessions").fetchone() == ("old.txt",)
    Store.open(studio).close()
    assert len(list(studio.folder.glob("studio-before-*"))) == 1


def test_where_no_copy_can_be_made_nothing_is_migrated(tmp_path, monkeypatch):
    studio = old_studio(tmp_path / "old")

    def full(source, target):
        raise sqlite3.OperationalError("database or disk is full")

    with monkeypatch.context() as patch:
        patch.setattr("tintladder.database.store.engine.copy_database", full)
        with pytest.raises(InputError, match="disk is full"):
            Store.open(studio)
    with sqlite3.connect(studio.database) as raw:
        assert raw.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)
