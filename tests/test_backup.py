"""A backup is one file of one moment; what it brings back is what was there, or nothing."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import time
import zipfile
from contextlib import closing
from functools import partial
from hashlib import sha256
from itertools import count
from threading import Event, Thread
from types import SimpleNamespace

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.cards import printing
from tintladder.database.care import backup as backing
from tintladder.database.care.backup import back_up
from tintladder.database.care.integrity import check_studio
from tintladder.database.care.removing import PAPERS
from tintladder.database.care.restore import restore
from tintladder.database.common import files as common_files
from tintladder.database.page import uploads
from tintladder.database.releases.publish import publish, releases
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store
from tintladder.database.store.studio import FOLDERS, SIGNING_KEY, Studio

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


def files(folder):
    """Every file of a studio but its database, by name."""
    found = {p.relative_to(folder).as_posix(): p for p in folder.rglob("*") if p.is_file()}
    return {n: p.read_bytes() for n, p in found.items() if not n.startswith("studio")}


def whole(database):
    with closing(sqlite3.connect(database)) as opened:
        return list(opened.iterdump())


def test_backed_up_erased_and_restored_it_is_the_same_byte_for_byte(store, tmp_path):
    folder = store.studio.folder
    for name in FOLDERS:
        (folder / name / "deeper").mkdir(parents=True, exist_ok=True)
        (folder / name / "deeper" / "ström.bin").write_bytes(name.encode() * 9)
    os.utime(folder / "scans" / "deeper" / "ström.bin", (1, 1))  # by a camera without a clock
    (folder / "dropped" / ".half.jpg-1a2b3c4d.part").write_bytes(b"of a killed upload")
    (folder / SIGNING_KEY).write_bytes(b"secret")
    (folder / "shopping.txt").write_text("not the studio's")
    store.close()
    before, rows_before = files(folder), whole(store.studio.database)
    made = back_up(store.studio, tmp_path / "b.zip")
    assert made.left_out == ("shopping.txt", SIGNING_KEY)
    back_up(store.studio, tmp_path / "with-key.zip", with_key=True)
    shutil.rmtree(folder)
    restore(tmp_path / "b.zip", store.studio)
    left = ("shopping.txt", SIGNING_KEY, "dropped/.half.jpg-1a2b3c4d.part")
    assert files(folder) == {name: data for name, data in before.items() if name not in left}
    assert whole(store.studio.database) == rows_before
    assert [p.name for p in folder.iterdir() if p.name.startswith(".")] == []
    again = Studio.at(tmp_path / "again")
    restore(tmp_path / "with-key.zip", again)
    assert (again.folder / SIGNING_KEY).read_bytes() == b"secret"
    assert (again.folder / SIGNING_KEY).stat().st_mode & 0o777 == 0o600


def test_every_folder_that_files_are_written_into_is_backed_up():
    written = {printing.FOLDER, uploads.FOLDER, PAPERS, "scans", "devices", "releases"}
    assert written == set(FOLDERS)


def test_restored_over_another_both_files_are_kept(store, tmp_path):
    (store.studio.folder / "cards").mkdir()
    card = store.studio.folder / "cards" / "a.toml"
    card.write_text("as backed up")
    back_up(store.studio, tmp_path / "b.zip")
    card.write_text("as changed since")
    restore(tmp_path / "b.zip", store.studio, over=True)
    assert card.read_text() == "as backed up"
    assert card.with_name("before-restore-a.toml").read_text() == "as changed since"


def test_what_is_confirmed_beside_a_restore_is_kept(store, tmp_path):
    """Every session that a writer was told is kept stands in the studio, or in the one before."""
    back_up(store.studio, tmp_path / "b.zip")
    confirmed, stop = [], Event()

    def write():
        with Store.open(store.studio) as other:
            for seed in count(100):
                if stop.is_set():
                    return
                other.readings.add("keel-1", session(ladder(), seed))
                confirmed.append(f"keel-1-{seed}.txt")

    writer = Thread(target=write)
    writer.start()
    while len(confirmed) < 5:
        time.sleep(0.001)
    restore(tmp_path / "b.zip", store.studio, over=True)
    told = len(confirmed)
    while writer.is_alive() and len(confirmed) < told + 5:
        time.sleep(0.001)
    stop.set()
    writer.join()
    kept = set()
    for database in (store.studio.database, store.studio.folder / "studio-before-restore.db"):
        with closing(sqlite3.connect(database)) as opened:
            kept |= {file for (file,) in opened.execute("SELECT file FROM sessions")}
    assert len(confirmed) >= told + 5 and set(confirmed) <= kept


def test_a_disk_without_room_is_said_before_anything_moves(store, tmp_path, monkeypatch):
    back_up(store.studio, tmp_path / "b.zip")
    before = files(store.studio.folder)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=1000))
    with pytest.raises(InputError, match=r"needs .* MB there, 0 MB are free.*nothing was changed"):
        restore(tmp_path / "b.zip", store.studio, over=True)
    assert files(store.studio.folder) == before
    with pytest.raises(InputError, match="are free"):
        restore(tmp_path / "b.zip", Studio.at(tmp_path / "again"))
    assert not (tmp_path / "again").exists()


def test_a_restore_that_fails_leaves_the_studio_as_it_was(store, tmp_path, monkeypatch):
    back_up(store.studio, tmp_path / "b.zip")
    store.readings.add("keel-1", session(ladder(), 9))

    def fails(_):
        raise sqlite3.OperationalError("database or disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(common_files, "_refill", fails)
        with pytest.raises(InputError, match="disk is full"):
            restore(tmp_path / "b.zip", store.studio, over=True)
    assert rows(store, "sessions") == 3
    assert not list(store.studio.folder.glob("*before*"))


def test_what_killed_runs_left_is_named_and_cleared_away_once_old(store):
    folder = store.studio.folder
    (folder / "dropped").mkdir()
    old = folder / "dropped" / ".sail.jpg-0a1b2c3d.part"
    new = folder / ".backup-xyz"
    new.mkdir()
    old.write_bytes(b"half")
    said = [found.words for found in check_studio(store)]
    assert all(any(name in words for words in said) for name in (old.name, new.name)), said
    os.utime(old, (1, 1))
    with Store.open(store.studio):
        assert not old.exists() and new.exists()


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
