"""Several processes at one studio, and processes that die: nothing lost, nothing twice, no half."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from pathlib import Path

from tintladder.calibrate.errors import InputError
from tintladder.database.releases.publish import publish, releases
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store

from .studio_fixtures import PAINTS_TOML, joint_fit, ladder, scanned, session

HOUSE = Path(__file__).parent.parent


def start(work, *arguments):
    """Start one of this module's workers as a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "tests.test_store_processes", work, *map(str, arguments)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=HOUSE,
    )


def write_sessions(folder, first, count):
    """Write sessions of one card, one of them everyone's, and say each once it is kept."""
    with Store.open(folder) as store:
        store.paints.add_file(PAINTS_TOML)
        store.cards.add(ladder(), "text")
        for seed in (0, *range(int(first), int(first) + int(count))):
            try:
                store.readings.add("keel-1", session(ladder(), seed))
            except InputError:
                continue
            store.scans.add(*scanned(ladder(), seed), {}, None, ())
            print(seed, flush=True)


def publish_often(folder):
    """Fit and publish without end, and say each version once it is out."""
    with Store.open(folder) as store:
        while True:
            store.fits.record(joint_fit(seed=len(releases(store)) + 2), store.readings.all())
            print(publish(store, force="drawn at random").version, flush=True)


def kept(folder):
    """Seeds of the sessions kept, every one whole."""
    with sqlite3.connect(folder / "studio.db") as raw:
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
        rows = raw.execute(
            "SELECT file, count(readings.id) FROM sessions LEFT JOIN readings "
            "ON session_id = sessions.id GROUP BY sessions.id"
        ).fetchall()
    assert all(count == len(session(ladder()).spectra) for _, count in rows)
    return sorted(int(file.removesuffix(".txt").rpartition("-")[2]) for file, _ in rows)


def test_processes_share_a_studio_from_its_first_moment(tmp_path):
    writers = [start("write_sessions", tmp_path, 100 * (i + 1), 5) for i in range(3)]
    said = [int(line) for writer in writers for line in writer.communicate()[0].split()]
    assert [writer.returncode for writer in writers] == [0] * 3
    assert sorted(said) == kept(tmp_path)
    assert kept(tmp_path) == [0, *(100 * (i + 1) + j for i in range(3) for j in range(5))]
    with Store.open(tmp_path) as store:
        scans = store.scans.all()
    assert len(scans) == len(said)
    assert all(len(scan.labels) == len(ladder().patches) for scan in scans)


def test_a_killed_writer_loses_nothing_confirmed(tmp_path):
    writer = start("write_sessions", tmp_path, 1, 10_000)
    said = [writer.stdout.readline()]
    time.sleep(0.11)
    writer.kill()
    said += writer.communicate()[0].splitlines()
    confirmed = {int(line) for line in said if line.strip()}
    assert confirmed and confirmed <= set(kept(tmp_path))
    with Store.open(tmp_path) as store:
        assert len(store.readings.all()) == len(kept(tmp_path))


def test_a_killed_publisher_leaves_whole_releases(tmp_path):
    with Store.open(tmp_path) as store:
        store.paints.add_file(PAINTS_TOML)
        store.cards.add(ladder(), "text")
        store.readings.add("keel-1", session(ladder()))
    publisher = start("publish_often", tmp_path)
    said = [publisher.stdout.readline()]
    time.sleep(0.11)
    publisher.kill()
    said += publisher.communicate()[0].splitlines()
    with Store.open(tmp_path) as store:
        rows = releases(store)
        assert {line.strip() for line in said if line.strip()} <= {row.version for row in rows}
        store.fits.record(joint_fit(seed=1), store.readings.all())
        publish(store, force="drawn at random")
        for row in releases(store):
            for place in (row.name, f"{row.name}.zip"):
                assert verify_release(store.studio.releases / place, row.digest) == []
        names = {path.name for path in store.studio.releases.iterdir()}
    assert not [name for name in names if name.startswith(".building")]


if __name__ == "__main__":
    work, folder, *rest = sys.argv[1:]
    {"write_sessions": write_sessions, "publish_often": publish_often}[work](
        folder if "://" in folder else Path(folder), *rest
    )
