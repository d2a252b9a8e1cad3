"""Characterised devices: what they say of themselves, with a target, a strip, or a card alone."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.formats.cgats import format_cgats
from tintladder.calibrate.formats.read import read_session
from tintladder.calibrate.optics.spectra import Spectra
from tintladder.calibrate.scan.characterise import MOST_MISFIT, Characterised
from tintladder.calibrate.scan.image import read_picture
from tintladder.calibrate.scan.reading import level_of
from tintladder.database.cards.characterising import characterise_device, device_words, use_words
from tintladder.database.cards.intake import take_in
from tintladder.database.fits.fitting import fit_studio
from tintladder.database.store.store import Store

from .command import run

BOATYARD = Path(__file__).parents[1] / "measurements" / "boatyard"
SCANS = BOATYARD / "scans"
VALUES = SCANS / "target.txt"


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "studio") as opened:
        take_in(opened, [BOATYARD / "paints.toml", *sorted(SCANS.glob("*-quick.toml"))])
        yield opened


def test_a_flatbed_is_fit_for_spectra_and_a_phone_says_that_it_is_not(store):
    flatbed = characterise_device(store, "flatbed", SCANS / "target.png", VALUES).device
    phone = characterise_device(store, "phone", SCANS / "target-phone.jpg", VALUES).device
    assert flatbed.fit_for_spectra and max(flatbed.misfit) < 1
    assert not phone.fit_for_spectra and max(phone.misfit) > MOST_MISFIT
    assert "first guess" in use_words(phone) and "first guess" not in use_words(flatbed)
    linear = np.full((1, 3), 0.5)
    assert np.all(phone.unexplained(linear) > 3 * flatbed.unexplained(linear))


def test_a_device_comes_back_from_its_record(store):
    for name, picture, values in (
        ("target", SCANS / "target.png", VALUES),
        ("card", SCANS / "anchor-blue-quick.png", None),
    ):
        card = None if values else "anchor-blue-quick"
        made = characterise_device(store, name, picture, values, card).device
        again = Characterised.from_dict(made.as_dict())
        assert again.as_dict() == made.as_dict() and again.settings == made.settings
        assert np.array_equal(again.curve.terms, made.curve.terms)


def test_a_card_alone_characterises_with_wide_bands(store):
    card, picture = "anchor-blue-quick", SCANS / "anchor-blue-quick.png"
    plain = characterise_device(store, "plain", picture, card=card)
    assert any("typical painted white" in words for words in plain.remarks)
    assert "references alone" in device_words(plain.device)
    assert not plain.device.fit_for_spectra
    take_in(store, [picture])
    wide = fit_studio(store).paints["ANCHOR"]
    assert wide.verdict == "a first guess"
    sure = characterise_device(store, "flatbed", SCANS / "target.png", VALUES)
    assert sure.device.fit_for_spectra
    band = store.fits.coefficients(["ANCHOR"]).uncertainty[0]
    with store.transaction():
        from tintladder.database.cards.scanning import keep_scan, read_card_picture

        keep_scan(store, read_card_picture(store, picture, device="flatbed"))
    fit_studio(store)
    narrow = store.fits.coefficients(["ANCHOR"]).uncertainty[0]
    assert np.median(band / narrow) > 1.5


def test_a_known_grey_on_the_card_sets_the_level(store):
    picture = SCANS / "anchor-blue-quick.png"
    made = characterise_device(store, "grey", picture, card="anchor-blue-quick", grey=0.2)
    assert any("grey pieces" in words for words in made.remarks)
    sharp = characterise_device(store, "flatbed", SCANS / "target.png", VALUES).device
    encoded = np.array([[0.3, 0.3, 0.3], [0.6, 0.6, 0.6], [0.85, 0.85, 0.85]])
    # The invented grey is 0.2 by construction: so known, the scale agrees with the target's.
    assert np.allclose(made.device.curve(encoded), sharp.curve(encoded), rtol=0.06)


def test_further_pictures_of_a_card_remember_its_grey(store):
    from tintladder.database.cards.scanning import read_card_picture, take_picture

    picture, card = SCANS / "anchor-blue-quick.png", "anchor-blue-quick"
    characterise_device(store, "flatbed", SCANS / "target.png", VALUES)
    assert read_card_picture(store, picture).asked["grey"] is None
    take_picture(store, read_card_picture(store, picture, grey=0.2))
    again = read_card_picture(store, picture)
    assert again.scan.scale == "grey" and again.asked["grey"] == 0.2
    assert any("reflect 0.2, as said before" in str(words) for words in again.remarks)
    assert read_card_picture(store, picture, grey=0.21).asked["grey"] == 0.21
    made = characterise_device(store, "phone", picture, card=card)
    assert any("grey pieces" in words for words in made.remarks)
    store.imports.undo()
    assert store.scans.grey_of(card) is None


def test_without_values_or_card_it_asks(store):
    with pytest.raises(InputError, match="no known values"):
        characterise_device(store, "none", SCANS / "target.png")


def with_strip(folder: Path) -> tuple[Path, Path, np.ndarray]:
    """The demo's target with a grey strip pasted below, its values, and the strip's corners."""
    pixels = cv2.imread(str(SCANS / "target.png"), cv2.IMREAD_UNCHANGED)
    known = read_session(VALUES, geometry="45:0").spectra
    labels = [f"L{i}" for i in range(1, 23)]
    side, x0, y0 = 12, 19, 188
    for i in range(len(labels)):
        x = 19 + 14 * i
        pixels[y0 : y0 + side, x0 + side * i : x0 + side * (i + 1)] = pixels[
            174:186, x + 1 : x + 13
        ]
    picture, values = folder / "target.png", folder / "target.txt"
    cv2.imwrite(str(picture), pixels)
    rows = [known.labels.index(label) for label in labels]
    both = Spectra.from_values(
        known.wavelengths,
        np.concatenate([known.values, known.values[rows]]),
        [*known.labels, *(f"GS{i:02d}" for i in range(len(labels)))],
    )
    from dataclasses import replace

    session = replace(read_session(VALUES, geometry="45:0"), spectra=both)
    values.write_text(format_cgats(session), encoding="utf-8")
    x1, y1 = x0 + side * len(labels), y0 + side
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) - 0.5
    return picture, values, corners


def test_the_grey_strip_of_a_target_is_read_too(store, tmp_path):
    # A layout after ISO 12641-1: the grid's patches A1 to L22, and below a strip GS0 and on.
    picture, values, strip = with_strip(tmp_path)
    alone = characterise_device(store, "grid", picture, values).device
    both = characterise_device(store, "both", picture, values, strip=strip).device
    assert (alone.patches, both.patches) == (264, 286)
    assert both.mean < 0.5
    with pytest.raises(InputError, match="along the grid"):
        characterise_device(store, "turned", picture, values, strip=strip[[3, 0, 1, 2]])
    with pytest.raises(InputError, match="no patch of a grey strip"):
        characterise_device(store, "none", SCANS / "target.png", VALUES, strip=strip)


def test_the_command_takes_a_card_alone(store, monkeypatch, capsys):
    said = run(
        monkeypatch, capsys, "device", "scanner", SCANS / "anchor-blue-quick.png",
        "--card", "anchor-blue-quick", "--name", "plain", "--studio", store.studio.folder,
    )  # fmt: skip
    assert said.status == 0 and "far less sure" in said.out and "first guess" in said.out
    listed = run(monkeypatch, capsys, "device", "--json", "--studio", store.studio.folder)
    assert listed.json[0]["left_out_mean_ciede2000"] is None
    assert listed.json[0]["fit_for_spectra"] is False


def test_of_several_devices_the_one_whose_settings_fit_reads_a_picture(store):
    from tintladder.database.cards.scanning import read_card_picture

    flat, phone = SCANS / "anchor-blue-quick.png", SCANS / "rope-earth-quick.jpg"
    characterise_device(store, "by-card", SCANS / "anchor-blue-quick.png", card="anchor-blue-quick")
    alone = read_card_picture(store, flat)
    assert alone.device == "by-card" and not any("settings" in str(each) for each in alone.remarks)
    characterise_device(store, "flatbed", SCANS / "target.png", VALUES)
    characterise_device(store, "phone", SCANS / "target-phone.jpg", VALUES)
    read = read_card_picture(store, flat)
    assert read.device == "flatbed" and any("by its settings" in str(each) for each in read.remarks)
    assert read_card_picture(store, phone).device == "phone"
    assert read_card_picture(store, flat, device="by-card").device == "by-card"
    characterise_device(store, "another", SCANS / "target.png", VALUES)
    with pytest.raises(InputError, match=r"device: expected one of .*another, by-card"):
        read_card_picture(store, flat)


def test_missing_references_are_told(store):
    from tintladder.database.cards.scanning import layouts, read_card_picture

    characterise_device(store, "phone", SCANS / "target-phone.jpg", VALUES)
    read = read_card_picture(store, SCANS / "rope-earth-quick.jpg", device="phone")
    bare = tuple(s for s in read.scan.samples if s.site.kind == "step")
    picture = read_picture(SCANS / "rope-earth-quick.jpg")
    phone = store.scanners.find("phone").device
    with pytest.raises(InputError, match="references are missing"):
        level_of(bare, read.scan.evened, picture, phone, None)
    with pytest.raises(InputError, match="no grey pieces"):
        level_of(bare, read.scan.evened, picture, phone, 0.2)
    assert layouts(store.cards.find("rope-earth-quick"))[0].name == "quick-a5"
