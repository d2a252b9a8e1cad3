"""A card is found at any rotation, in perspective and cropped; nothing else is taken for one."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from tintladder.calibrate.cards.layout import layout_names, read_layout
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.scan.find import find_card, project
from tintladder.calibrate.scan.overlay import overlay
from tintladder.calibrate.scan.sample import clean, sample_all, sites

from .bench.scan import picture_of
from .lab.render import SCANNER_8, Colours, Pose, render
from .lab.scans import grey

LAYOUTS = {layout.number: layout for layout in map(read_layout, layout_names())}
QUICK = read_layout("quick-a5")


@cache
def scanned(name="quick-a5", pose=Pose(130), seed=1, glare=0, dirt=1.0):  # noqa: B008
    layout = read_layout(name)
    rng = np.random.default_rng(seed)
    shades = rng.uniform(0.1, 0.7, (layout.steps + 1, 36))
    patches = {(p.step, p.over): shades[p.step] for p in layout.patches}
    patches |= {(0, "black"): np.full(36, 0.03), (0, "white"): np.full(36, 0.85)}
    colours = Colours(SCANNER_8, patches, grey())
    return render(layout, colours, SCANNER_8, pose, seed, dirt, glare), colours


def picture(*arguments, **named):
    return picture_of(scanned(*arguments, **named)[0].pixels, "TIFF", 130.0)


def off_mm(found, rendered, dpi):
    boxes = np.concatenate([patch.box.corners for patch in found.layout.patches])
    off = project(found.to_px, boxes) - project(rendered.to_px, boxes)
    return np.linalg.norm(off, axis=1).max() / dpi * 25.4


@pytest.mark.parametrize("turn", [0, 47, 90, 180, 271])
@pytest.mark.parametrize("tilt", [0, 10])
def test_any_rotation_and_mild_perspective(turn, tilt):
    pose = Pose(130, turn, tilt, 70)
    found = find_card(picture(pose=pose), LAYOUTS)
    assert found.layout == QUICK and len(found.markers) == 6
    assert off_mm(found, scanned(pose=pose)[0], 130) < 0.3
    assert found.dpi == pytest.approx(130, rel=0.05)


@pytest.mark.parametrize("name", ["six-tube-a4", "drawdown-letter", "quick-half-letter"])
def test_other_layouts(name):
    found = find_card(picture(name, pose=Pose(120, 3)), LAYOUTS)
    assert found.layout.name == name


@pytest.mark.parametrize("edge", range(4))
def test_an_edge_may_be_cropped(edge):
    cut = tuple(14.0 if i == edge else 0.0 for i in range(4))
    pose = Pose(130, 0, 0, 0, cut)
    found = find_card(picture(pose=pose), LAYOUTS)
    assert len(found.markers) < 6
    assert off_mm(found, scanned(pose=pose)[0], 130) < 0.3


def test_markers_at_one_side_tell_no_perspective():
    shot = picture(pose=Pose(130, 0, 9, 70))
    with pytest.raises(InputError, match="markers at one side"):
        find_card(replace(shot, pixels=shot.pixels[:, 140:].copy()), LAYOUTS)


def refused(pixels, words, **named):
    with pytest.raises(InputError, match=words) as error:
        find_card(picture_of(pixels, "TIFF", 130.0), LAYOUTS, **named)
    assert "\n" not in str(error.value)


def test_no_card_two_cards_wrong_layout():
    pixels = scanned()[0].pixels
    refused(np.full((500, 400, 3), 220, np.uint8), "no card was found")
    refused(pixels[:, ::-1], "the card is seen mirrored")
    refused(np.concatenate([pixels, pixels], axis=1), "two cards")
    refused(pixels, "wrong layout.*quick-a5.*six-tube-a4", expected=read_layout("six-tube-a4"))


def test_another_card_beside_it_is_two_cards():
    one, other = scanned()[0].pixels, scanned("quick-half-letter", pose=Pose(130))[0].pixels
    high = min(len(one), len(other))
    refused(np.concatenate([one[:high], other[:high]], axis=1), "two cards")


def test_too_few_markers_and_too_coarse():
    pixels = scanned()[0].pixels
    height, width = pixels.shape[:2]
    refused(pixels[: height // 4], "only 2 of the card's 6 markers.*upper left, upper right")
    import cv2

    small = cv2.resize(pixels, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    refused(small, "at 6[0-9] dpi, at least 100")


def test_a_sheet_that_waves_is_told():
    import cv2

    pixels = scanned()[0].pixels
    height, width = pixels.shape[:2]
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    wave = 12 * np.sin(2 * np.pi * y / height * 1.3) * np.sin(2 * np.pi * x / width)
    bent = cv2.remap(pixels, x + wave, y + wave, cv2.INTER_LINEAR, borderValue=(230, 230, 230))
    refused(bent, "flat")


def test_patches_are_sampled_where_they_lie_and_dirt_is_left_out():
    pose, named = Pose(130, 20, 5, 40), {"seed": 4, "glare": 4}
    rendered, _ = scanned(pose=pose, **named)
    shot = picture_of(rendered.pixels, "TIFF", 130.0)
    found = find_card(shot, LAYOUTS)
    samples = sample_all(shot, found, sites(QUICK))
    assert {s.site.label for s in samples} >= {"bare/black", "6/white", "grey/black", "tone/0.4"}
    plain = picture(pose=pose, seed=4, dirt=0.0)
    bare = {
        s.site.label: s.middle for s in sample_all(plain, find_card(plain, LAYOUTS), sites(QUICK))
    }
    soiled = [s for s in samples if s.left_out > 0.02]
    assert soiled
    for sample in samples:
        assert np.abs(sample.middle - bare[sample.site.label]).max() < 0.006
        assert sample.left_out < 0.35
    drawn = overlay(shot, found, samples)
    red = (drawn == (230, 30, 30)).all(axis=2)
    assert red.sum() > 50  # what was left out shows


def test_cells_of_dust_go_with_their_neighbours_and_an_even_patch_stays_whole():
    rng = np.random.default_rng(3)
    cells = 0.5 + 0.002 * rng.standard_normal((12, 30, 3))
    within = np.full((12, 30, 3), 0.004)
    assert clean(cells, within).mean() > 0.99
    cells[5, 7] += 0.2
    kept = clean(cells, within)
    assert not kept[4:7, 6:9].any() and kept.mean() > 0.95


def test_clipping_is_told_by_patch_and_channel():
    shot = picture()
    found = find_card(shot, LAYOUTS)
    bright = replace(shot, pixels=np.clip(shot.pixels.astype(int) * 1.2, 0, 255).astype(np.uint8))
    with pytest.raises(InputError, match=r"bare/white: (red|green|blue) is clipped"):
        sample_all(bright, found, sites(QUICK))
    dark = replace(shot, pixels=np.clip(shot.pixels.astype(int) - 60, 0, 255).astype(np.uint8))
    with pytest.raises(InputError, match=r"bare/black: all channels are clipped.*darkest"):
        sample_all(dark, found, sites(QUICK))
