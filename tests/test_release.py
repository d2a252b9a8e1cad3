"""Publishing: whole or not at all, numbered by what changed, and never changed after."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import zipfile

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.releases import publish as release_module
from tintladder.database.releases.publish import publish, releases
from tintladder.database.releases.verify import verify_release
from tintladder.database.store import keys
from tintladder.database.store.store import Store

from .forgeries import FORGER
from .studio_fixtures import PAINTS_TOML, WHEN, fill, joint_fit

DRIFTS = "drawn at random, so it can't but drift"


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        yield fill(opened)


def test_a_release_is_the_same_folder_and_zip(published):
    with zipfile.ZipFile(published.archive) as archive:
        inside = {info.filename: archive.read(info) for info in archive.infolist()}
    files = {f"{published.name}/{p.name}": p.read_bytes() for p in published.folder.iterdir()}
    assert inside == files
    assert len(inside) == len({name.casefold() for name in inside})
    for info in zipfile.ZipFile(published.archive).infolist():
        assert info.date_time == (1980, 1, 1, 0, 0, 0)
        assert info.external_attr >> 16 == 0o100644


def test_hashes_hold_outside_of_us(published):
    """GNU coreutils checks the release and its zip."""
    if shutil.which("sha256sum") is None:
        pytest.skip("sha256sum isn't installed")
    for folder, sums_file in (
        (published.folder, "SHA256SUMS"),
        (published.folder.parent, f"{published.name}.zip.sha256"),
    ):
        subprocess.run(["sha256sum", "--strict", "-c", sums_file], cwd=folder, check=True)


def test_same_studio_same_bytes(published, tmp_path, monkeypatch):
    at = "tintladder.database.store.{}.now"
    for room in ("cards", "fits"):
        monkeypatch.setattr(at.format(room), lambda: WHEN)
    # One studio is known by its key, and by a word drawn once.
    monkeypatch.setattr(release_module, "signing_key", lambda _: FORGER)
    monkeypatch.setattr(keys, "token_hex", lambda n: "0" * 2 * n)
    archives = []
    for name in ("one", "two"):
        with Store.open(tmp_path / name) as store:
            archives.append(publish(fill(store), created=WHEN).archive.read_bytes())
    assert archives[0] == archives[1]


def test_the_digest_stands_in_the_studio(store):
    made = publish(store)
    (row,) = releases(store)
    sums_file = (made.folder / "SHA256SUMS").read_bytes()
    assert row.digest == made.digest == hashlib.sha256(sums_file).hexdigest()
    assert verify_release(made.folder, row.digest) == []
    assert verify_release(made.archive, row.digest) == []


def test_versions_follow_what_changed(store):
    assert publish(store).version == "1.0.0"
    with pytest.raises(InputError, match=r"nothing has changed since 1\.0\.0"):
        publish(store)
    store.fits.record(joint_fit(("KEEL-T",), 3), [])
    second = publish(store, note="a second blue")
    assert (second.version, second.changes.added) == ("1.1.0", ("KEEL-T",))
    store.fits.record(joint_fit(("KEEL",), 4), store.readings.all())
    assert publish(store, force=DRIFTS).version == "1.2.0"
    reworded = PAINTS_TOML.replace('range = "Sign acrylic"', 'range = "Sign"')
    store.paints.add_file(reworded)
    third = publish(store)
    assert (third.version, third.changes.reworded) == ("1.2.1", ("HULL",))
    text = (third.folder / "CHANGELOG.md").read_text()
    assert [line.split(",")[0] for line in text.splitlines() if line.startswith("## ")] == [
        "## 1.2.1",
        "## 1.2.0",
        "## 1.1.0",
        "## 1.0.0",
    ]
    assert "- Added: KEEL-T.\n- a second blue" in text


@pytest.mark.parametrize(
    "version, said",
    [("1.0.0", "published already"), ("0.9.0", "above 1.0.0"), ("v2", "three numbers")],
)
def test_what_is_published_stays(store, version, said):
    first = publish(store)
    before = first.archive.read_bytes()
    store.fits.record(joint_fit(seed=5), store.readings.all())
    with pytest.raises(InputError, match=said):
        publish(store, version)
    assert first.archive.read_bytes() == before
    assert len(list(store.studio.releases.iterdir())) == 3


def test_no_fit_no_release(tmp_path):
    with Store.open(tmp_path) as store:
        with pytest.raises(InputError, match="no paint of this studio has a fit"):
            publish(store)
        assert not store.studio.releases.exists()


def test_a_publishing_cut_short_leaves_no_release(store, monkeypatch):
    calls = []

    def full_disk(path, pieces):
        calls.append(path)
        if len(calls) == 7:
            path.write_bytes(next(iter(pieces)))
            raise OSError(28, "No space left on device")
        return whole(path, pieces)

    whole = release_module.write_synced

    with monkeypatch.context() as patch:
        patch.setattr(release_module, "write_synced", full_disk)
        with pytest.raises(InputError, match="No space left on device"):
            publish(store)
    assert releases(store) == [] and list(store.studio.releases.iterdir()) == []
    assert publish(store).version == "1.0.0"


def test_what_was_never_confirmed_is_put_aside(store):
    stray = store.studio.releases / "paints-1.0.0"
    stray.mkdir(parents=True)
    (stray / "README.md").write_text("moved in, then the power went")
    made = publish(store)
    assert verify_release(made.folder, made.digest) == []
    aside = store.studio.releases / "unconfirmed-1-paints-1.0.0" / "README.md"
    assert aside.read_text().startswith("moved in")
