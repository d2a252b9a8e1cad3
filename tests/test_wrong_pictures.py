"""Pictures that show no card as it is: mirrored, of a screen, of another card. Nothing is kept."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.scan.reading import read_scan
from tintladder.calibrate.scan.same_card import another_card
from tintladder.database.cards.characterising import characterise_device
from tintladder.database.cards.intake import take_in
from tintladder.database.store.store import Store

from .bench.scan import picture_of
from .lab.render import PHONE_JPEG, SCANNER_8, Colours, Pose, render, save
from .lab.scans import grey, ladder, painted
from .test_scan_checks import BOATYARD, SCANS

QUICK = read_layout("quick-a5")


@cache
def shot(paint="STARBOARD", device=SCANNER_8, pose=Pose(130, 3.0), seed=1):  # noqa: B008
    card = ladder(paint)
    return render(QUICK, Colours(device, painted(card, QUICK, 11), grey()), device, pose, seed)


def read(pixels, paint="STARBOARD"):
    picture = picture_of(np.ascontiguousarray(pixels), "JPEG", None)
    return read_scan(picture, ladder(paint), QUICK, {})


def test_a_mirrored_card_is_told():
    with pytest.raises(InputError, match="the card is seen mirrored"):
        read(shot().pixels[:, ::-1])


def on_a_screen(pixels: np.ndarray, pitch: float, turn: float) -> np.ndarray:
    """The picture shown on a screen whose points are so many px wide, and photographed.

    Each point is a red, a green and a blue stripe between black lines; the camera stands a little
    askew and blurs them.
    """
    high, wide = pixels.shape[:2]
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    across, down = (c * x + s * y) / pitch, (c * y - s * x) / pitch
    stripes = np.stack([(across % 1 >= i / 3) & (across % 1 < (i + 0.8) / 3) for i in range(3)], -1)
    light = stripes * (down % 1 < 0.85)[..., None]
    linear = (pixels / 255.0) ** 2.2 * light / light.mean()
    seen = cv2.GaussianBlur(linear.astype(np.float32), (0, 0), 0.38 * pitch)
    return np.round(255 * np.clip(0.7 * seen + 0.004, 0, 1) ** (1 / 2.2)).astype(np.uint8)


@pytest.mark.parametrize(("pitch", "turn"), [(5.2, -1.5), (4.0, 44.0), (6.5, 7.0)])
def test_a_photograph_of_a_screen_is_told(pitch, turn):
    with pytest.raises(InputError, match="a photograph of a screen"):
        read(on_a_screen(shot(pose=Pose(260, 3.0)).pixels, pitch, turn))


@pytest.mark.parametrize(("pitch", "turn"), [(3.3, 0.5), (2.6, 2.0)])
def test_points_of_a_screen_that_blur_the_markers_leave_no_card(pitch, turn):
    with pytest.raises(InputError) as error:
        read(on_a_screen(shot(pose=Pose(260, 3.0)).pixels, pitch, turn))
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("quality", [95, 80, 60])
def test_a_photograph_of_a_card_is_no_screen(quality):
    """JPEG's own blocks, brush marks and dust make no grid."""
    for turn in (0.0, 2.0, 33.0):
        pixels = shot(device=PHONE_JPEG, pose=Pose(150, turn, 4.0, 20.0)).pixels
        done, content = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
        assert done
        read(cv2.imdecode(content, cv2.IMREAD_COLOR))


def test_another_devices_picture_is_of_the_same_card():
    """A phone that nothing is known of, against a scanner."""
    for paint in ("STARBOARD", "ANCHOR", "PITCH"):
        one = read(shot(paint).pixels, paint)
        other = read(shot(paint, PHONE_JPEG, Pose(150, 88.0, 6.0, 30.0), 2).pixels, paint)
        labels = one.channels.labels
        assert not another_card(labels, one.lab, other.channels.labels, other.lab)


def test_cards_of_other_paints_are_told_apart():
    labels = read(shot("ANCHOR").pixels, "ANCHOR").channels.labels
    seen = {paint: read(shot(paint).pixels, paint).lab for paint in ("ANCHOR", "BUOY", "PITCH")}
    for one, other in (("ANCHOR", "BUOY"), ("BUOY", "PITCH"), ("PITCH", "ANCHOR")):
        assert another_card(labels, seen[one], labels, seen[other])
    few = labels[:3]
    assert not another_card(few, seen["ANCHOR"][:3], few, seen["BUOY"][:3])


def test_a_picture_of_another_card_is_not_kept(tmp_path):
    with Store.open(tmp_path / "studio") as store:
        take_in(store, [BOATYARD / "paints.toml", SCANS / "anchor-blue-quick.toml"])
        characterise_device(store, "flatbed", SCANS / "target.png", SCANS / "target.txt")
        take_in(store, [SCANS / "anchor-blue-quick.png"])
        wrong = tmp_path / "again.png"
        rendered = shot("BUOY", replace(SCANNER_8, bits=16), Pose(130, 3.0))
        save(rendered, str(wrong), 110.0)
        with pytest.raises(InputError, match=r"other colours than in .*anchor-blue-quick\.png"):
            take_in(store, [wrong], "anchor-blue-quick")
        assert len(store.scans.rows()) == 1
