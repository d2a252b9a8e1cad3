"""The files of a release: a canonical zip, and what must not be opened."""

from __future__ import annotations

import hashlib
import zipfile

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.releases.files import Archive
from tintladder.database.releases.load import load_release
from tintladder.database.releases.tables.schema import LAYOUT
from tintladder.database.releases.verify import verify_release


def bad_zip(tmp_path, names):
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in names:
            archive.writestr(name, data)
    return path


@pytest.mark.parametrize(
    "name", ["../escape.txt", "/etc/escape.txt", "r/../../escape.txt", "r\\..\\escape.txt"]
)
def test_a_zip_that_climbs_out_is_refused(tmp_path, name):
    path = bad_zip(tmp_path, [("r/README.md", b"hello"), (name, b"out")])
    for read in (load_release, verify_release):
        with pytest.raises(InputError, match="climbs out"):
            read(path)


def test_a_zip_with_a_link_is_refused(tmp_path):
    info = zipfile.ZipInfo("r/link")
    info.external_attr = 0o120777 << 16
    with pytest.raises(InputError, match="climbs out"):
        load_release(bad_zip(tmp_path, [(info, b"/etc/hosts")]))


def test_a_zip_that_swells_is_refused(tmp_path):
    with pytest.raises(InputError, match="would unpack to"):
        load_release(bad_zip(tmp_path, [("r/bomb.csv", bytes(20_000_000))]))


def test_two_folders_or_none_are_refused(tmp_path):
    for names in ([("a/x", b"1"), ("b/x", b"2")], [("x", b"1")]):
        with pytest.raises(InputError, match="one folder"):
            load_release(bad_zip(tmp_path, names))


def test_what_is_no_release_is_refused(tmp_path, published):
    with pytest.raises(InputError, match="no such release"):
        load_release(tmp_path / "nothing")
    with pytest.raises(InputError, match="expected the description"):
        load_release(tmp_path)
    short = tmp_path / "short.zip"
    short.write_bytes(published.archive.read_bytes()[:5000])
    with pytest.raises(InputError, match="expected the zip of a release"):
        load_release(short)


def test_a_newer_layout_is_refused(copy):
    text = (copy / "datapackage.json").read_text().replace(f'"layout": {LAYOUT}', '"layout": 9')
    (copy / "datapackage.json").write_text(text)
    with pytest.raises(InputError, match="its layout is 9"):
        load_release(copy)


def test_the_zip_is_canonical(tmp_path):
    """The same files give the same bytes, whenever and by whom they were written."""
    packed = []
    for place, mode in (("one", 0o600), ("two", 0o644)):
        folder = tmp_path / place / "r"
        folder.mkdir(parents=True)
        with Archive(tmp_path / f"{place}.zip", "r") as archive:
            for name in "ba":
                (folder / name).write_text(name * 100_000)
                (folder / name).chmod(mode)
                archive.add(folder / name)
            digest = archive.finish()
        packed.append((tmp_path / f"{place}.zip").read_bytes())
        assert hashlib.sha256(packed[-1]).hexdigest() == digest.sha256
    assert packed[0] == packed[1]


def test_what_fails_while_packing_is_told(tmp_path):
    with pytest.raises(OSError), Archive(tmp_path / "a.zip", "r") as archive:
        archive.add(tmp_path / "nothing")
        archive.finish()
