"""One paint looked up is the paint of the whole release."""

from __future__ import annotations

import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.releases import load
from tintladder.database.releases.load import load_release
from tintladder.database.releases.lookup import load_paint
from tintladder.database.releases.publish import publish
from tintladder.database.releases.tables.coefficients import gigabytes
from tintladder.database.store.store import Store

from .bench.database import big_studio, nickname
from .studio_fixtures import fill
from .test_store import assert_same


def test_every_paint_is_found(tmp_path):
    """Thirty paints of three fits, of the size that the benchmark has ten thousand of."""
    big_studio(tmp_path, 30)
    with Store.open(tmp_path) as store:
        made = publish(store)
    release = load_release(made.archive)
    for number in range(1, 31):
        assert_same(load_paint(made.folder, nickname(number)), release.select([nickname(number)]))
    for other in ("P00000", "P00031", "P0001", "Z", "A", ""):
        with pytest.raises(InputError, match="no such paint"):
            load_paint(made.folder, other)


def test_paints_that_share_nothing_take_no_room_together(tmp_path, monkeypatch):
    """Ten thousand paints of a thousand fits, all at once, would fill some 90 GB."""
    big_studio(tmp_path, 20)
    with Store.open(tmp_path) as store:
        release = load_release(publish(store).archive)
    many = {
        "paints": range(10_000), "shared": range(16_000), "wavelengths": range(36),
        "own": release.tables["own"],
    }  # fmt: skip
    assert 90 < gigabytes(many) < 100
    assert gigabytes(release.tables) < 0.01
    monkeypatch.setattr(load, "MOST_GIGABYTES", gigabytes(release.tables) / 2)
    with pytest.raises(InputError, match=r"would take .* GB at once; load some of them"):
        _ = release.coefficients
    assert release.select(["P00003", "P00014"]).paints == ("P00003", "P00014")


def test_only_the_folder_of_a_release_is_looked_into(tmp_path):
    with Store.open(tmp_path / "studio") as store:
        made = publish(fill(store))
    assert load_paint(made.folder, "KEEL").paints == ("KEEL",)
    for place in (made.archive, tmp_path):
        with pytest.raises(InputError, match="expected the folder of a release"):
            load_paint(place, "KEEL")
