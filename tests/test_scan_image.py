"""Pictures are opened at their true depth, upright, and refused in one line where they can't be."""

from __future__ import annotations

import struct
import sys
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.scan.image import MOST_PIXELS, read_facts, read_picture

RNG = np.random.default_rng(1)
PIXELS = RNG.integers(0, 65536, (40, 60, 3)).astype(np.uint16)


def refused(path, words):
    with pytest.raises(InputError, match=words) as error:
        read_picture(path)
    assert "\n" not in str(error.value) and str(path) in str(error.value)
    return str(error.value)


@pytest.mark.parametrize("suffix", ["tif", "png"])
def test_sixteen_bit_stays_sixteen_bit(tmp_path, suffix):
    path = tmp_path / f"a.{suffix}"
    cv2.imwrite(str(path), PIXELS[:, :, ::-1])
    picture = read_picture(path)
    assert picture.pixels.dtype == np.uint16 and picture.facts.bits == 16 and picture.top == 65535
    assert np.array_equal(picture.pixels, PIXELS)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_rotation_as_a_general_library_honours_it(tmp_path, orientation):
    # Reference: Pillow's ImageOps.exif_transpose.
    from PIL import ImageOps

    path = tmp_path / "a.png"
    image = Image.fromarray((PIXELS >> 8).astype(np.uint8))
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F], exif[0x0110] = "Invented", "Handset"
    image.save(path, exif=exif)
    picture = read_picture(path)
    with Image.open(path) as again:
        assert np.array_equal(picture.pixels, np.asarray(ImageOps.exif_transpose(again)))
    assert picture.facts.device == "Invented Handset"


def test_resolution_profile_and_transparency(tmp_path):
    from PIL import ImageCms

    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = tmp_path / "a.tif"
    rgba = np.dstack([PIXELS >> 8, np.full(PIXELS.shape[:2], 255)]).astype(np.uint8)
    Image.fromarray(rgba).save(path, dpi=(300, 300), icc_profile=srgb)
    picture = read_picture(path)
    assert picture.facts.dpi == 300 and "sRGB" in (picture.facts.icc or "")
    assert np.array_equal(picture.pixels, rgba[:, :, :3])


def test_400_megapixels_are_refused_before_they_are_decoded(tmp_path):
    """A page of A4 at 1200 dpi has 140 and is read."""
    side = 20_000
    assert 9921 * 14031 < MOST_PIXELS < side**2
    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    body = b"IHDR" + header
    path = tmp_path / "huge.png"
    # The pixels aren't even there: only the header is read.
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
        + struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))
    )  # fmt: skip
    assert "400 megapixels" in refused(path, "megapixels")


@pytest.mark.parametrize("suffix", ["tif", "png", "jpg"])
def test_a_truncated_picture_is_refused(tmp_path, suffix):
    path = tmp_path / f"a.{suffix}"
    cv2.imwrite(str(path), np.tile((PIXELS >> 8).astype(np.uint8), (8, 8, 1)))
    path.write_bytes(path.read_bytes()[:-2000])
    refused(path, "breaks off|truncated|damaged")


def test_what_is_no_picture_of_colours_is_refused(tmp_path):
    text = tmp_path / "a.tif"
    text.write_text("not a picture")
    refused(text, "none or is damaged")
    grey = tmp_path / "g.png"
    cv2.imwrite(str(grey), PIXELS[:, :, 0])
    refused(grey, "no colour")
    gif = tmp_path / "a.gif"
    Image.new("RGB", (4, 4)).save(gif)
    refused(gif, "GIF")
    empty = tmp_path / "e.png"
    empty.write_bytes(b"")
    refused(empty, "empty")
    refused(tmp_path, "folder")
    refused(tmp_path / "none.png", "no such file")


def test_heic_is_read_where_the_library_is(tmp_path):
    pillow_heif = pytest.importorskip("pillow_heif", reason="pillow-heif isn't installed")
    pixels = np.full((64, 96, 3), (200, 120, 40), np.uint8)
    path = tmp_path / "a.heic"
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(path, quality=95)
    picture = read_picture(path)
    assert (picture.facts.format, picture.facts.bits) == ("HEIC", 8)
    assert np.abs(picture.pixels.astype(int) - pixels).max() < 8
    path.write_bytes(path.read_bytes()[:200])
    refused(path, "damaged|truncated")


def test_heic_without_the_library_says_how_to_go_on(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    heic = tmp_path / "a.heic"
    heic.write_bytes(b"\x00\x00\x00\x18ftypheic" + bytes(40))
    assert "JPEG" in refused(heic, "HEIC") and "pip install" in refused(heic, "HEIC")


def test_the_day_that_a_picture_states(tmp_path):
    path = tmp_path / "a.jpg"
    exif = Image.Exif()
    exif[0x0132] = "2026:05:09 10:11:12"  # DateTime, as CIPA DC-008 writes it
    Image.new("RGB", (8, 8)).save(path, exif=exif)
    assert read_facts(path)[0].taken == "2026-05-09"
    exif.get_ifd(0x8769)[0x9003] = "2026:05:07 10:11:12"  # DateTimeOriginal comes first
    Image.new("RGB", (8, 8)).save(path, exif=exif)
    assert read_facts(path)[0].taken == "2026-05-07"
    exif = Image.Exif()
    exif[0x0132] = "0000:00:00 00:00:00"
    Image.new("RGB", (8, 8)).save(path, exif=exif)
    assert read_facts(path)[0].taken is None


def test_facts_need_no_pixels(tmp_path):
    path = tmp_path / "a.jpg"
    cv2.imwrite(str(path), (PIXELS >> 8).astype(np.uint8))
    facts, raw = read_facts(path)
    assert (facts.format, facts.bits, facts.size) == ("JPEG", 8, (60, 40))
    assert raw == path.read_bytes()
