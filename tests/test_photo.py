"""Colours of photographs: rendered scenes of invented paints, whose every colour is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.calibrate.optics.display import srgb_to_lab
from tintladder.database.mixing.photo import BANDS, Photo, _encoded, parse_spot, read_photo, spot
from tintladder.database.mixing.photo_colours import FEWEST, MOST, main_colours, reference_cards

from tests.lab.photos import DEMO, MIXES, colours, scene
from tests.lab.render import PHONE_JPEG, Colours, Pose, render, save
from tests.lab.scans import grey, ladder, painted


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory):
    """Two of the scenes, and their files."""
    folder = tmp_path_factory.mktemp("photos")
    found = []
    for number in (1, 4):
        one = scene(number)
        save(one.photo, str(folder / f"{number}.jpg"), None)
        found.append((one, folder / f"{number}.jpg"))
    return found


def differences(one, **spots) -> np.ndarray:
    painted_as, file = one
    photo = read_photo(file, **{name: painted_as.spots[name] for name in spots})
    names = [name for name in painted_as.spots if name in MIXES]
    seen = np.array([spot(photo, painted_as.spots[name]).lab for name in names])
    return ciede2000(seen, np.array([colours()[name] for name in names]))


def test_a_grey_brings_colours_nearer_and_the_band_holds(taken):
    for one in taken:
        raw, evened = differences(one), differences(one, grey=1)
        assert evened.mean() < 0.7 * raw.mean()
        assert (evened < BANDS["a grey"]).mean() >= 0.9 and (raw < BANDS["nothing"]).mean() >= 0.9
        both = differences(one, white=1, black=1)
        assert both.mean() < 0.8 * raw.mean()


def test_a_coloured_spot_is_no_grey(taken):
    evening = next(one for one in taken if "evening" in one[0].spots)
    with pytest.raises(InputError, match=r"grey 5,5: that spot is plainly coloured"):
        read_photo(evening[1], grey=(5, 5))
    with pytest.raises(InputError, match="white"):
        read_photo(evening[1], white=evening[0].spots["buoy"])


@pytest.mark.parametrize("light", [(1.85, 0.83, 0.23), (0.75, 0.99, 1.84), (1.0, 0.55, 1.05)])
def test_under_coloured_light_a_grey_is_still_one(tmp_path: Path, light):
    """CIE A (x, y = 0.4476, 0.4074) and a black body of 20000 K (0.2565, 0.2577) in linear sRGB by
    IEC 61966-2-1, from memory; and a violet lamp, which tints the whole picture alike."""
    linear = np.full((60, 90, 3), 0.18) * np.array(light)
    linear[:, 30:60] *= 1.8
    linear[:, 60:] *= (0.5, 0.8, 0.6)
    seen = np.round(255 * _encoded(np.minimum(linear, 1))).astype(np.uint8)
    Image.fromarray(seen).save(tmp_path / "lit.png")
    assert read_photo(tmp_path / "lit.png", grey=(15, 30)).by == "a grey"


def test_main_colours_are_those_that_were_painted(taken):
    for painted_as, file in taken:
        photo = read_photo(file, **{n: painted_as.spots[n] for n in ("white", "grey", "black")})
        found = main_colours(photo)
        assert FEWEST <= len(found) <= MOST
        labs = np.array([c.lab for c in found])
        for name, at in painted_as.spots.items():
            if name in MIXES:
                assert ciede2000(labs, spot(photo, at).lab).min() < 5, name
        # Each is shown where it is seen, and they part the picture among them.
        for c in found:
            assert ciede2000(spot(photo, c.at).lab, c.lab) < 5
        assert 0.9 < sum(c.share for c in found) <= 1
        # The grey card and its neighbours belong to no picture.
        assert photo.aside[painted_as.spots["grey"][::-1]]


def test_a_plain_picture_has_one_colour(tmp_path: Path):
    Image.new("RGB", (60, 40), (119, 119, 119)).save(tmp_path / "plain.png")
    (only,) = main_colours(read_photo(tmp_path / "plain.png"))
    np.testing.assert_allclose(only.lab, [50.03, 0, 0], atol=0.05)
    assert only.share == 1


def test_a_printed_card_in_the_picture_evens_it(tmp_path: Path):
    card, layout = ladder("ROPE"), read_layout("quick-a5")
    spectra = painted(card, layout, 5)
    shot = render(layout, Colours(PHONE_JPEG, spectra, grey()), PHONE_JPEG, Pose(120.0), 5, dirt=0)
    dim = (shot.pixels * np.array([0.75, 0.85, 0.95])).astype(np.uint8)
    Image.fromarray(dim).save(tmp_path / "card.jpg", quality=95)
    photo = read_photo(tmp_path / "card.jpg", layouts={layout.number: layout})
    assert photo.by == "the card" and photo.aside.mean() > 0.5
    box = next(p.box for p in layout.patches if p.step == 0 and p.over == "white")
    x, y = (box.corners[0][i] + box.corners[2][i] for i in (0, 1))
    at = shot.to_px @ [x / 2, y / 2, 1]
    white = spot(photo, (at[0] / at[2], at[1] / at[2]))
    assert abs(white.lab[0] - 94) < 3 and np.hypot(*white.lab[1:]) < 3
    # One that isn't known here evens nothing.
    assert read_photo(tmp_path / "card.jpg", layouts={}).by == "nothing"


def test_an_embedded_profile_is_applied(tmp_path: Path):
    """The same light in two encodings reads alike; littleCMS's own L* profile is the other."""
    patch = np.zeros((30, 30, 3), np.uint8)
    patch[:] = (200, 90, 60)
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    Image.fromarray(patch).save(tmp_path / "a.png", icc_profile=lab.tobytes())
    Image.fromarray(patch).save(tmp_path / "b.png")
    one, other = (spot(read_photo(tmp_path / f"{n}.png"), (15, 15)).lab for n in "ab")
    np.testing.assert_allclose(one, other, atol=0.3)
    np.testing.assert_allclose(other, srgb_to_lab(patch[0, :1] / 255)[0], atol=1e-6)


def test_what_a_spot_can_not_tell_it_says(tmp_path: Path):
    pixels = np.zeros((100, 100, 3), np.uint8)
    pixels[:, :50], pixels[:, 50:] = (255, 255, 255), (20, 60, 120)
    Image.fromarray(pixels).save(tmp_path / "edge.png")
    photo = read_photo(tmp_path / "edge.png")
    notes = " ".join(spot(photo, (50, 50)).notes)
    assert "isn't one colour" in notes and "cut off" in notes and "estimate" in notes
    assert spot(photo, (80, 50)).estimate and spot(photo, (80, 50)).band == BANDS["nothing"]


def test_bad_spots_and_files(tmp_path: Path):
    Image.new("RGB", (60, 40), (90, 90, 90)).save(tmp_path / "p.png")
    photo = read_photo(tmp_path / "p.png")
    with pytest.raises(InputError, match="60 x 40 px"):
        spot(photo, (60, 10))
    with pytest.raises(InputError, match="a black alone"):
        read_photo(tmp_path / "p.png", black=(5, 5))
    for text in ("12", "a,b", "1,2,3", ""):
        with pytest.raises(InputError, match="120,80"):
            parse_spot(text, "--at")
    (tmp_path / "no.jpg").write_text("no picture")
    with pytest.raises(InputError, match="expected a TIFF, PNG"):
        read_photo(tmp_path / "no.jpg")


def test_the_demo_has_the_scene_that_the_lab_renders():
    """``make measurements`` writes it; an encoder of another version may round otherwise."""
    folder = Path(__file__).parents[1] / "measurements" / "boatyard" / "photos"
    file, painted_as = folder / "slipway.jpg", scene(DEMO)
    assert file.stat().st_size < 100_000
    shipped = np.asarray(Image.open(file)).astype(float)
    assert np.abs(shipped - painted_as.photo.pixels).mean() < 4
    said = (folder / "README.txt").read_text(encoding="utf-8")
    assert "Invented" in said
    for name, (x, y) in painted_as.spots.items():
        assert f"{name} at {x},{y}" in said


@pytest.mark.parametrize("number", [0, 4, 7])
def test_what_looks_like_reference_cards_is_found_and_is_no_colour(tmp_path, number):
    one = scene(number)
    save(one.photo, str(tmp_path / "scene.jpg"), None)
    photo = read_photo(tmp_path / "scene.jpg")
    found = reference_cards(photo)
    spots = [one.spots[name] for name in ("white", "grey", "black")]
    assert len(found) == 3
    for card, spot_at in zip(found, spots, strict=True):
        assert np.hypot(card.at[0] - spot_at[0], card.at[1] - spot_at[1]) < 6
    x, y = np.array([colour.at for colour in main_colours(photo, cards=found)]).T
    for card in found:
        assert (np.hypot(x - card.at[0], y - card.at[1]) > 15).all()


def test_coloured_squares_and_one_grey_alone_are_no_reference_cards():
    pixels = np.full((300, 400, 3), (60, 110, 150), dtype=np.uint8)
    for left, colour in ((40, (200, 60, 50)), (80, (110, 25, 20)), (250, (150, 150, 150))):
        pixels[200:240, left : left + 40] = colour
    aside = np.zeros((300, 400), dtype=bool)
    photo = Photo(pixels, np.ones(3), np.zeros(3), "nothing", "squares.png", aside)
    assert reference_cards(photo) == []
    pixels[200:240, 290:330] = (60, 60, 60)
    assert [card.at for card in reference_cards(photo)] == [(270, 220), (310, 220)]
