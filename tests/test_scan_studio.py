"""Scans in the studio database, from the picture to a fit, a release, and back to the picture.

The boatyard's pictures are rendered from invented paints; see `tests.lab.scans`.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.database.cards.characterising import characterise_device
from tintladder.database.cards.intake import take_in
from tintladder.database.cards.progress import cards_progress
from tintladder.database.cards.scanning import early, keep_scan, read_card_picture
from tintladder.database.care.backup import back_up
from tintladder.database.care.integrity import check_studio
from tintladder.database.care.restore import restore
from tintladder.database.care.trace import of_release, of_store, trace
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.fits.out_of_date import outdated_paints
from tintladder.database.fits.scan_fitting import unfit_scans
from tintladder.database.releases.load import load_release
from tintladder.database.releases.publish import plan, publish
from tintladder.database.releases.refit import refit_release
from tintladder.database.releases.verify import verify_release
from tintladder.database.store.store import Store
from tintladder.database.store.studio import Studio

from .command import run
from .lab.scans import DEMO, SEED, demo_scan, painted, truth

BOATYARD = Path(__file__).parents[1] / "measurements" / "boatyard"
SCANS = BOATYARD / "scans"
ANCHOR = SCANS / "anchor-blue-quick.png"
QUICK = "anchor-blue-quick"


@pytest.fixture(scope="module")
def begun(tmp_path_factory):
    """A studio with paints, the quick cards, a characterised flatbed, and one card scanned."""
    folder = tmp_path_factory.mktemp("begun")
    with Store.open(folder) as store:
        take_in(store, [BOATYARD / "paints.toml", *sorted(SCANS.glob("*-quick.toml"))])
        characterise_device(store, "flatbed", SCANS / "target.png", SCANS / "target.txt")
        take_in(store, [ANCHOR])
    return folder


@pytest.fixture(scope="module")
def template(begun, tmp_path_factory):
    """The same, fitted; copied, never written."""
    folder = tmp_path_factory.mktemp("scanned") / "studio"
    shutil.copytree(begun, folder)
    with Store.open(folder) as store:
        fit_studio(store)
    return folder


@pytest.fixture(scope="module")
def mixed(template, tmp_path_factory):
    """Fitted once by its scan alone, then a white and an earth measured; never written."""
    folder = tmp_path_factory.mktemp("mixed") / "studio"
    shutil.copytree(template, folder)
    with Store.open(folder) as store:
        take_in(store, measured("hull-white", "rope-earth"))
        done = fit_studio(store)
    return folder, done


@pytest.fixture
def store(template, tmp_path):
    folder = tmp_path / "studio"
    shutil.copytree(template, folder)
    with Store.open(folder) as opened:
        yield opened


def measured(*names: str) -> list[Path]:
    return [
        path
        for name in names
        for path in (BOATYARD / "cards" / f"{name}.toml", BOATYARD / "readings" / f"{name}.txt")
    ]


def test_a_scan_is_kept_whole_with_its_device(store):
    (scan,) = store.scans.all()
    flatbed = store.scanners.find()
    assert scan.calibration == flatbed.calibration and flatbed.device.name == "flatbed"
    assert scan.scan_sha256 == hashlib.sha256(ANCHOR.read_bytes()).hexdigest()
    target = SCANS / "target.png"
    assert flatbed.target["picture_sha256"] == hashlib.sha256(target.read_bytes()).hexdigest()
    card, _ = demo_scan(DEMO[0])
    assert scan.labels[:2] == ("bare/black", "masstone/black") and len(scan.labels) == 14
    layout = read_layout("quick-a5")
    true = truth(card, layout, painted(card, layout, SEED))
    expected = flatbed.device.sensors.read(np.array([true[label] for label in scan.labels]))
    assert np.sqrt((((scan.channels - expected) ** 2) / scan.uncertainty**2).mean()) < 1.0


def test_the_same_picture_is_kept_once_and_the_last_way_of_reading_counts(store):
    take_in(store, [ANCHOR])
    assert [scan.scan for scan in store.scans.all()] == [1]
    store.scanners.add(store.scanners.find().device, {})
    take_in(store, [ANCHOR])
    assert [scan.scan for scan in store.scans.all()] == [2]


def test_an_import_of_a_scan_can_be_undone(store):
    back = store.imports.undo()
    assert (back.scans, back.sessions, back.cards, back.fits) == (1, 0, 0, (1, 2))
    assert store.scans.all() == []
    assert "undone" in outdated_paints(store)["ANCHOR"]
    take_in(store, [ANCHOR])
    assert [scan.scan for scan in store.scans.all()] == [2]


def test_a_card_that_was_scanned_keeps_its_steps(store):
    text = (SCANS / f"{QUICK}.toml").read_text().replace('"4:1"', '"5:1"')
    changed = Path(store.studio.folder / f"{QUICK}.toml")
    changed.write_text(text)
    with pytest.raises(InputError, match=r"4:1.* was read"):
        take_in(store, [changed])


def test_cards_and_check_know_of_scans(store):
    progress = {card.name: card for card in cards_progress(store)}
    assert progress[QUICK].scans == 1 and progress[QUICK].fitted and progress[QUICK].read
    assert not progress["buoy-red-quick"].read
    said = [finding.words for finding in check_studio(store)]
    assert not any(QUICK in words for words in said) and any("buoy-red" in w for w in said)


def test_a_backup_holds_scans_and_scanners(store, tmp_path):
    back_up(store.studio, tmp_path / "b.zip")
    restore(tmp_path / "b.zip", Studio.at(tmp_path / "again"))
    with Store.open(tmp_path / "again") as again:
        (one,), (other,) = store.scans.all(), again.scans.all()
        assert np.array_equal(one.channels, other.channels)
        mine, theirs = store.scanners.find().device, again.scanners.find().device
        assert np.array_equal(mine.sensors.factors, theirs.sensors.factors)


def test_the_fit_of_a_scan_is_marked_and_near_the_truth(store):
    found = store.fits.coefficients()
    assert list(found.scan_made) == [True, True] and found.scale == "relative to HULL"
    card, _ = demo_scan(DEMO[0])
    layout = read_layout("quick-a5")
    true = truth(card, layout, painted(card, layout, SEED))
    steps = ["1:1", "4:1", "12:1", "40:1"]
    mixes = [dict(d.masses) for d in card.drawdowns if d.step in steps]
    made = predict(found, dry_fractions(found, mixes))
    off = ciede2000(made.lab(), lab(np.array([true[f"{step}/white"] for step in steps])))
    # No figure but our own goal: quick cards, nothing measured, within 3.
    assert off.mean() < 3.0


def test_spectra_come_first_and_known_paints_carry_the_scanned_one(mixed, tmp_path):
    folder, done = mixed
    assert set(done.paints) == {"HULL", "ROPE", "ANCHOR"} == set(done.quality)
    assert [set(run.fit.paints) for run in done.scanned] == [{"ANCHOR"}]
    shutil.copytree(folder, tmp_path / "studio")
    with Store.open(tmp_path / "studio") as store:
        found = store.fits.coefficients()
        made = dict(zip(found.paints, found.scan_made, strict=True))
        assert made == {"HULL": False, "ROPE": False, "ANCHOR": True}
        assert found.scale == "absolute"
        # Read by an instrument later, it is fitted by that.
        take_in(store, measured("anchor-blue"))
        fit_studio(store, ["ANCHOR"])
        assert not store.fits.coefficients(["ANCHOR"]).scan_made[0]
        assert store.fits.current()["ANCHOR"] > done.scanned[0].number


def test_a_scanned_tube_is_fitted_against_the_others_as_they_are(store):
    characterise_device(store, "eight", SCANS / "target-8.png", SCANS / "target.txt")
    with store.transaction():
        keep_scan(store, read_card_picture(store, SCANS / "buoy-red-quick.png", device="eight"))
    before = store.fits.current()
    done = fit_studio(store, ["BUOY"])
    assert set(done.paints) == {"BUOY"} and done.scanned[0].device == "eight"
    after = store.fits.current()
    assert {p: after[p] for p in before} == before and after["BUOY"] not in before.values()


def test_a_device_without_sensitivities_is_passed_over_in_words(tmp_path):
    with Store.open(tmp_path) as store:
        take_in(store, [BOATYARD / "paints.toml", SCANS / f"{QUICK}.toml"])
        keep_scan(store, read_card_picture(store, ANCHOR))  # as older studios kept it
        with pytest.raises(InputError, match="isn't characterised"):
            fit_studio(store)
        assert list(unfit_scans(store)) == [QUICK]


def test_a_release_holds_the_scan_and_gives_its_numbers_again(store):
    release = publish(store)
    assert verify_release(release.archive) == []
    loaded = load_release(release.archive)
    again, by_transport = refit_release(loaded)
    assert by_transport.holds
    assert again.same, again.line
    assert len(loaded.tables["channels"]) == 14
    (row,) = loaded.tables["scans"].to_dict("records")
    assert row["sha256"] == hashlib.sha256(ANCHOR.read_bytes()).hexdigest()
    here, there = (
        trace(of_store(store, "ANCHOR"), 550.0),
        trace(of_release(loaded, "ANCHOR"), 550.0),
    )
    assert here["scans"] == there["scans"] and here["readings"] == []
    patch = next(row for row in here["scans"] if row["patch"] == "4:1/white")
    assert patch["masses_g"] == {"ANCHOR": 2.0, "HULL": 8.0}
    assert patch["sha256"] == row["sha256"] and patch["device"] == "flatbed"
    assert json.loads(json.dumps(here)) == here


def test_early_readings_are_told_not_refused(store):
    card = store.cards.find(QUICK)
    painted_today = replace(card, date=date.today().isoformat())
    assert "before about" in early(painted_today, None)[0]
    assert early(painted_today, (date.today() + timedelta(days=2)).isoformat()) == []
    assert early(card, "2026-05-09") == [] and early(painted_today, "one of these days") == []


def test_scan_made_paints_can_be_held_out(mixed, tmp_path, monkeypatch, capsys):
    folder = tmp_path / "studio"
    shutil.copytree(mixed[0], folder)
    with Store.open(folder) as store:
        held = plan(store, measured_only=True)
        assert held.excluded == ("ANCHOR",) and set(held.contents.paints) == {"HULL", "ROPE"}
        assert any(g.paint == "ANCHOR" and "scan" in str(g.line) for g in plan(store).gates)
    said = run(monkeypatch, capsys, "publish", "--measured-only", "--json", "--studio", folder)
    assert said.status == 0 and said.json["added"] == ["HULL", "ROPE"]
