"""A backup is one file of one moment; what it brings back is what was there, or nothing."""

from __future__ import annotations

import json
import sqlite3
import zipfile
from functools import partial
from hashlib import sha256

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.care import backup as backing
from tintladder.database.care.backup import back_up, restore
from tintladder.database.releases.publish import publish, releases
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store
from tintladder.database.store.studio import Studio

from .command import run
from .studio_fixtures import fill, ladder, session
from .test_store import assert_same, rows


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        publish(fill(opened))
        yield opened


def test_a_studio_comes_back_as_it_was(store, tmp_path):
    with store.transaction():
        # Begun, not kept: no backup may hold it.
        store.readings.add("keel-1", session(ladder(), 8))
        made = back_up(store.studio, tmp_path / "b.zip")
    assert made.releases == ("paints-1.0.0",)
    back = Studio.at(tmp_path / "again")
    restore(tmp_path / "b.zip", back)
    with Store.open(back) as again:
        assert len(again.readings.all()) == 1
        assert_same(again.fits.of("KEEL"), store.fits.of("KEEL"))
        (row,) = releases(again)
        assert verify_release(back.releases / "paints-1.0.0.zip", row.digest) == []
    assert sorted(p.name for p in back.folder.iterdir() if "-" not in p.name) == [
        "releases",
        "studio.db",
    ]
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_a_studio_is_not_overwritten_unasked(store, tmp_path):
    file = tmp_path / "b.zip"
    back_up(store.studio, file)
    with pytest.raises(InputError, match="is there already"):
        back_up(store.studio, file)
    with pytest.raises(InputError, match="a studio here already"):
        restore(file, store.studio)
    store.readings.add("keel-1", session(ladder(), 9))
    store.close()
    restore(file, store.studio, over=True)
    with Store.open(store.studio) as again:
        assert rows(again, "sessions") == 2
    with sqlite3.connect(store.studio.folder / "studio-before-restore.db") as kept:
        assert kept.execute("SELECT count(*) FROM sessions").fetchone() == (3,)


def change(file, **said):
    """A backup with members changed (bytes), or left out (None)."""
    with zipfile.ZipFile(file) as packed:
        members = {name: packed.read(name) for name in packed.namelist()}
    members |= said
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in members.items():
            if data is not None:
                packed.writestr(name, data)


def listing(database, **files):
    held = {"studio.db": database, **files}
    said = {n: {"sha256": sha256(d).hexdigest(), "bytes": len(d)} for n, d in held.items()}
    return json.dumps({"made": "", "files": said}).encode()


@pytest.mark.parametrize(
    "spoil, said",
    [
        (lambda f: f.write_bytes(f.read_bytes()[:900]), "expected a backup"),
        (lambda f: f.write_bytes(b"a shopping list"), "expected a backup"),
        (lambda f: change(f, **{"studio.db": b"x" * 90}), "isn't as it was written|swells"),
        (lambda f: change(f, **{"backup.json": None}), "expected a backup"),
        (lambda f: change(f, **{"../out.txt": b"x"}), "other files than it says"),
        (
            lambda f: change(
                f, **{"../out.txt": b"x", "backup.json": listing(b"", **{"../out.txt": b"x"})}
            ),
            "other files than it says",
        ),
    ],
)
def test_what_is_no_sound_backup_changes_nothing(store, tmp_path, spoil, said):
    file = tmp_path / "b.zip"
    back_up(store.studio, file)
    spoil(file)
    with pytest.raises(InputError, match=said):
        restore(file, Studio.at(tmp_path / "again"))
    assert not (tmp_path / "again").exists() and not (tmp_path / "out.txt").exists()


def test_a_database_damaged_before_it_was_packed(store, tmp_path):
    file = tmp_path / "b.zip"
    back_up(store.studio, file)
    with zipfile.ZipFile(file) as packed:
        database = bytearray(packed.read("studio.db"))
    database[5000:9000] = bytes(4000)
    files = {"studio.db": bytes(database), "releases/paints-1.0.0.zip": None}
    change(file, **files, **{"backup.json": listing(bytes(database))})
    with pytest.raises(InputError, match=r"damaged|can't be used"):
        restore(file, Studio.at(tmp_path / "again"))
    assert not (tmp_path / "again").exists()


def test_a_backup_of_a_newer_tintladder_is_refused(store, tmp_path):
    with sqlite3.connect(store.studio.database) as raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(InputError, match="newer tintladder"):
        back_up(store.studio, tmp_path / "b.zip")


def test_a_full_disk_leaves_no_half_backup(store, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(backing, "_pack", full)
        with pytest.raises(InputError, match=r"No space left.*nothing was written"):
            back_up(store.studio, tmp_path / "to" / "b.zip")
    assert list((tmp_path / "to").iterdir()) == []


def test_a_shared_database_has_its_own_tools(tmp_path):
    shared = Studio.at("postgresql://nowhere/studio")
    for act in (lambda: back_up(shared, tmp_path / "b"), lambda: restore(tmp_path / "b", shared)):
        with pytest.raises(InputError, match="shared database"):
            act()


def test_backup_and_restore_from_the_command_line(store, monkeypatch, capsys, tmp_path):
    tool = partial(run, monkeypatch, capsys)
    file, again = tmp_path / "b.zip", tmp_path / "again"
    said = tool("backup", file, "--studio", store.studio.folder)
    assert said.status == 0 and f"tintladder restore {file}" in said.out
    made = tool("restore", file, "--studio", again, "--json").json
    assert made["releases"] == ["paints-1.0.0"]
    assert tool("restore", file, "--studio", again).status == 2
    assert tool("backup", file, "--studio", tmp_path / "nowhere").status == 2
