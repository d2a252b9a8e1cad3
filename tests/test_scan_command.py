"""tintladder scan and tintladder device, on the demo's pictures; and target values."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.target_values import plain_label, read_target_values
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.scan.image import read_picture
from tintladder.database.store.store import Store

from .command import run
from .lab.scans import (
    DEMO,
    DEMO_SCANNER,
    SEED,
    demo_scan,
    painted,
    target_scan,
    target_values,
    truth,
    values_text,
)

BOATYARD = Path(__file__).parents[1] / "measurements" / "boatyard"
SCANS = BOATYARD / "scans"
CORNERS = "18.5,18.5 326.5,18.5 326.5,186.5 18.5,186.5"


@pytest.fixture
def studio(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(monkeypatch, capsys, "tubes", "load", BOATYARD / "paints.toml").status == 0
    cards = sorted(SCANS.glob("*-quick.toml"))
    assert run(monkeypatch, capsys, "read", *cards).status == 0
    return lambda *words: run(monkeypatch, capsys, *words)


def characterise(studio, picture="target.png", name="flatbed"):
    return studio(
        "device", "scanner", SCANS / picture, SCANS / "target.txt", "--name", name,
        "--grid", "22x12", "--corners", CORNERS, "--json",
    )  # fmt: skip


def test_the_demo_is_what_the_lab_makes():
    assert (SCANS / "target.txt").read_text(encoding="utf-8") == values_text()
    rendered, corners = target_scan(DEMO_SCANNER, SEED, 60.0)
    kept = read_picture(SCANS / "target.png")
    # Another version of a general library may round one of the nine true bits otherwise.
    off = np.abs(kept.pixels.astype(int) - rendered.pixels)
    assert np.mean(off > 0) < 0.02 and kept.facts.bits == 16
    assert " ".join(f"{x:g},{y:g}" for x, y in corners) == CORNERS
    card, rendered = demo_scan(DEMO[1])
    kept = read_picture(SCANS / f"{card.name}.png")
    assert np.mean(np.abs(kept.pixels.astype(int) - rendered.pixels) > 2) < 0.02


def test_a_scan_is_read_kept_and_drawn(studio):
    said = characterise(studio)
    assert said.status == 0, said.err
    assert said.json["sensitivities"] and said.json["left_out_mean_ciede2000"] < 0.5
    assert said.json["remarks"] == []
    scan = studio("scan", SCANS / "anchor-blue-quick.png", "--json")
    assert scan.status == 0, scan.err
    found = scan.json
    assert found["device"] == "flatbed" and found["remarks"] == []
    card, _ = demo_scan(DEMO[0])
    from tintladder.calibrate.cards.layout import read_layout

    layout = read_layout("quick-a5")
    true = truth(card, layout, painted(card, layout, SEED))
    spectra = np.array([true[patch["patch"]] for patch in found["patches"]])
    difference = ciede2000(np.array([patch["lab"] for patch in found["patches"]]), lab(spectra))
    assert difference.mean() < 1.2
    assert Path(found["overlay"]).read_bytes().startswith(b"\x89PNG")
    # Kept, and the same picture again says the same.
    assert studio("scan", SCANS / "anchor-blue-quick.png", "--json").json == found
    with Store.open(None) as store:
        (kept,) = store.scans.all()
    assert kept.labels == tuple(patch["patch"] for patch in found["patches"])
    said = [patch["channels"] for patch in found["patches"]]
    assert np.allclose(kept.channels, said, atol=1e-6)


def test_each_device_reads_its_own_pictures_alone(studio):
    assert characterise(studio, "target-8.png", "eight").status == 0
    assert characterise(studio, "target-phone.jpg", "phone").status == 0
    assert [d["device"] for d in studio("device", "--json").json] == ["eight", "phone"]
    which = studio("scan", SCANS / "anchor-blue-quick.png")  # set like neither
    assert which.status == 2 and "eight, phone" in which.err
    found = studio("scan", SCANS / "buoy-red-quick.png")
    assert found.status == 0 and "taken for a picture by eight, by its settings" in found.out
    right = studio("scan", SCANS / "buoy-red-quick.png", "--device", "eight")
    assert right.status == 0 and "buoy-red-quick found" in right.out
    phone = studio("scan", SCANS / "rope-earth-quick.jpg", "--device", "phone", "--grey", "0.2")
    assert phone.status == 0, phone.err
    wrong = studio("scan", SCANS / "rope-earth-quick.jpg", "--device", "eight")
    assert wrong.status == 2 and "characterised with" in wrong.err
    with Store.open(None) as store:
        assert len(store.scans.all()) == 2


def test_without_a_device_it_says_how_unsure_it_is(studio):
    scan = studio("scan", SCANS / "buoy-red-quick.png")
    assert scan.status == 0
    assert "characterised by its card's own references alone" in scan.out
    assert "typical painted white" in scan.out and "a first guess" in scan.out
    # A target shown later is what tells of the scanner from then on.
    target = ("--target", SCANS / "target-8.png", SCANS / "target.txt")
    again = studio("scan", SCANS / "buoy-red-quick.png", *target)
    assert again.status == 0 and "own references" not in again.out


def test_before_the_scan_it_says_how(studio):
    said = studio("scan")
    assert said.status == 0
    for words in ("sharpening", "dust removal", "300 dpi", "TIFF or PNG", "open shade", "no flash"):
        assert words in said.out


def test_slips_get_one_line_and_leave_nothing(studio, tmp_path):
    shutil.copy(SCANS / "target.png", "anchor-blue-quick.png")
    none = studio("scan", "anchor-blue-quick.png", "--overlay", "seen.png")
    assert none.status == 2 and "no card was found" in none.err and none.err.count("\n") == 1
    assert Path("seen.png").exists() and not Path("scans").exists()
    other = studio("scan", SCANS / "buoy-red-quick.png", "--card", "nosuch")
    assert other.status == 2
    missing = studio("scan", "nosuch.png")
    assert missing.status == 2 and "nosuch.png: no such file" in missing.err
    grid = studio("device", "scanner", SCANS / "buoy-red-quick.png", SCANS / "target.txt")
    assert grid.status == 2 and "nothing in it looks like" in grid.err
    with Store.open(None) as store:
        assert store.scans.all() == []


def test_one_picture_of_two_cards_is_told(studio):
    characterise(studio)
    first = studio("scan", SCANS / "anchor-blue-quick.png", "--json")
    wrong = ("scan", SCANS / "anchor-blue-quick.png", "--card", "buoy-red-quick", "--json")
    told = studio(*wrong).json["remarks"]
    assert first.json["remarks"] == [] and len(told) == 1
    assert "the same picture was read as card anchor-blue-quick before" in told[0]
    assert studio("read", "--undo").status == 0
    again = studio("scan", SCANS / "anchor-blue-quick.png", "--json")
    assert again.json["remarks"] == []


COLOURS = """CGATS.17
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_ID {fields}
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
a01 {one}
GS00 {two}
END_DATA
"""


def test_target_values_as_xyz_and_as_lab_agree(tmp_path):
    # CIE 15: a neutral of L* = 50 has Y = 18.4187 (of 100).
    as_lab, as_xyz = tmp_path / "lab.txt", tmp_path / "xyz.txt"
    as_lab.write_text(COLOURS.format(fields="LAB_L LAB_A LAB_B", one="50 0 0", two="100 0 0"))
    white = 100 * np.array([0.96422, 1.0, 0.82521])  # D50, ISO 13655
    grey = 0.184187 * white
    row = "{:.4f} {:.4f} {:.4f}".format
    as_xyz.write_text(COLOURS.format(fields="XYZ_X XYZ_Y XYZ_Z", one=row(*grey), two=row(*white)))
    one, other = read_target_values(as_lab), read_target_values(as_xyz)
    assert one.labels == other.labels == ("A1", "GS0") and one.spectra is None
    assert np.allclose(one.tristimulus, other.tristimulus, atol=2e-4)


def test_target_values_of_no_kind_are_refused(tmp_path):
    path = tmp_path / "t.txt"
    path.write_text(COLOURS.format(fields="CMYK_C CMYK_M CMYK_Y", one="1 2 3", two="4 5 6"))
    with pytest.raises(InputError, match="spectra, XYZ_X to XYZ_Z or LAB_L"):
        read_target_values(path)
    path.write_text(COLOURS.format(fields="XYZ_X XYZ_Y XYZ_Z", one="1 2 x", two="4 5 6"))
    with pytest.raises(InputError, match="expected numbers"):
        read_target_values(path)


def test_target_values_with_spectra():
    known = read_target_values(SCANS / "target.txt")
    assert known.labels == target_values().labels and known.spectra is not None
    assert np.allclose(known.tristimulus, target_values().tristimulus, atol=2e-4)
    assert plain_label("gs07") == "GS7" and plain_label("3:1/black") == "3:1/black"
