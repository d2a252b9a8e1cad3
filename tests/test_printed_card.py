"""The printed card: true to size, found by OpenCV, nothing on the bands, grey alone, readable."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
import pymupdf
import pytest
from tintladder.calibrate.cards.box import Box
from tintladder.calibrate.cards.card_plan import LadderToPaint, plan_card
from tintladder.calibrate.cards.drawings import WORDS
from tintladder.calibrate.cards.fiducials import DICTIONARY, told_by
from tintladder.calibrate.cards.layout import Layout, newest_layouts, read_layout
from tintladder.calibrate.cards.measure import measure_of
from tintladder.calibrate.cards.printed_card import CAUTIONS, print_card
from tintladder.calibrate.errors import InputError

DPI = 150
PX = DPI / 25.4
MM = 72 / 25.4
# Invented; the longest nickname that can be, and one in another script.
PAINTS = ("KEEL", "STARBOARD-LANTERN-TRIM-2", "ЯКОРЬ", "ROPE", "BUOY", "DUSK")


def planned(layout: Layout):
    """A card that fills its layout."""
    ladders = [
        LadderToPaint(paint, strength)
        for paint, strength in zip(PAINTS, ("ordinary", "strong", "weak") * 2, strict=True)
    ]
    return plan_card(
        f"{layout.name} no. 1",
        layout,
        ladders[: layout.tubes],
        "HULL",
        measure_of("0.1"),
        densities={},
        lots={},
        with_white=True,
    )


def printed(layout: Layout) -> bytes:
    return print_card(layout, planned(layout).card if layout.tubes else None, 7)


@pytest.fixture(scope="module", params=sorted(newest_layouts().values()))
def layout(request: pytest.FixtureRequest) -> Layout:
    return read_layout(request.param)


@pytest.fixture(scope="module")
def page(layout: Layout):
    with pymupdf.open(stream=printed(layout), filetype="pdf") as document:
        assert document.page_count == 1
        yield document[0]


@pytest.fixture(scope="module")
def image(page) -> np.ndarray:
    pixels = page.get_pixmap(dpi=DPI)
    return np.frombuffer(pixels.samples, np.uint8).reshape(pixels.height, pixels.width, -1)


def found(grey: np.ndarray):
    """Corners of every marker that OpenCV finds, by id, in pixels from the upper left corner."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(grey)
    # OpenCV counts from the middle of the first pixel.
    return {int(i): c[0] + 0.5 for i, c in zip(ids.ravel(), corners, strict=True)}


def pixels(image: np.ndarray, box: Box) -> np.ndarray:
    """Pixels that lie wholly in a box."""
    left, top = (int(np.ceil(v * PX)) for v in (box.x_mm, box.y_mm))
    right, bottom = (int(v * PX) for v in box.corners[2])
    return image[top:bottom, left:right]


def test_page_is_true_to_size(layout: Layout, page) -> None:
    assert page.rect.width / MM == pytest.approx(layout.page_mm[0], abs=1e-3)
    assert page.rect.height / MM == pytest.approx(layout.page_mm[1], abs=1e-3)
    assert page.rotation == 0 and page.cropbox == page.mediabox
    document = page.parent
    _, preferences = document.xref_get_key(document.pdf_catalog(), "ViewerPreferences")
    # ISO 32000-1, table 150: the viewer then offers no scaling.
    kept = document.xref_get_key(int(preferences.split()[0]), "PrintScaling")
    assert kept == ("name", "/None")


def test_opencv_finds_every_fiducial_where_the_layout_says(layout: Layout, image) -> None:
    markers = found(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY))
    assert set(markers) == {fiducial.id for fiducial in layout.fiducials}
    for fiducial in layout.fiducials:
        off = markers[fiducial.id] / PX - np.array(fiducial.box.corners)
        assert np.hypot(*off.T).max() < 0.2, fiducial


@pytest.mark.parametrize("turn", [cv2.ROTATE_180, cv2.ROTATE_90_CLOCKWISE])
def test_a_turned_card_tells_which_way_is_up(turn: int) -> None:
    layout = read_layout("quick-a5-2")
    with pymupdf.open(stream=printed(layout), filetype="pdf") as document:
        pix = document[0].get_pixmap(dpi=DPI, colorspace="gray")
    upright = np.frombuffer(pix.samples, np.uint8).reshape(pix.height, pix.width)
    markers = found(cv2.rotate(upright, turn))
    places = {told_by(marker)[1]: corners[0] for marker, corners in markers.items()}
    assert {told_by(marker)[0] for marker in markers} == {layout.number}
    across = places["upper right"] - places["upper left"]
    # Seen turned by half, "right" lies to the left; by a quarter clockwise, below.
    wanted = np.array([-1, 0] if turn == cv2.ROTATE_180 else [0, 1])
    assert across @ wanted > 0.99 * np.hypot(*across)


def test_nothing_is_printed_on_the_bands(layout: Layout, image) -> None:
    """Ink bleeds into wet paint; outlines alone are allowed."""
    for band in layout.bands:
        assert (pixels(image, band.box.grown(-0.4)) == 255).all()


def test_fiducials_keep_their_quiet_zone(layout: Layout, image) -> None:
    for fiducial in layout.fiducials:
        # Half a pixel of the marker's soft edge aside, what its zone holds lies within the marker.
        ink = (pixels(image, fiducial.quiet) < 250).any(axis=2)
        marker = (pixels(image, fiducial.box.grown(0.2)) < 250).any(axis=2)
        assert ink.sum() == marker.sum() > 0, fiducial


def test_it_prints_in_grey(image) -> None:
    # The rasteriser turns a grey into red, green and blue that differ by its rounding.
    assert np.ptp(image, axis=2).max() <= 2


def test_printed_tones_lie_where_the_layout_says(layout: Layout, image) -> None:
    tones = [r for r in layout.references if r.kind == "tone"]
    assert len(tones) >= 5
    for tone in tones:
        assert pixels(image, tone.box.grown(-1)).mean() == pytest.approx(255 * tone.tone, abs=2)


def test_rulers_are_true(layout: Layout, page) -> None:
    rulers = [text.box for text in layout.texts if text.holds == "ruler"]
    assert any(r.width_mm > r.height_mm for r in rulers)
    assert any(r.width_mm < r.height_mm for r in rulers)
    drawn = [item for path in page.get_drawings() for item in path["items"] if item[0] == "l"]
    for box in rulers:
        start = np.array([box.x_mm, box.y_mm])
        wanted = int(max(box.width_mm, box.height_mm) // 10) * 10
        ends = [np.array([b.x, b.y]) / MM for _, a, b in drawn if _close(a, start)]
        assert any(np.hypot(*(end - start)) == pytest.approx(wanted, abs=0.01) for end in ends)


def _close(point, mm) -> bool:
    return bool(np.hypot(point.x / MM - mm[0], point.y / MM - mm[1]) < 0.01)


def test_words_are_text_and_do_not_touch(layout: Layout, page) -> None:
    text = " ".join(page.get_text().split())
    for words in WORDS[layout.method]:
        assert words in text
    assert CAUTIONS in text and "Painted on" in text and "no. 7" in text
    assert ("for pictures" if layout.method == "brush" else "for an instrument") in text
    if layout.tubes:
        card = planned(layout).card
        assert card.name in text
        for step in card.drawdowns:
            assert step.step.split()[-1] in text
    words = [Box(x0, y0, x1 - x0, y1 - y0) for x0, y0, x1, y1, *_ in page.get_text("words")]
    everything = Box(0, 0, page.rect.width, page.rect.height).grown(-5 * MM)
    for word in words:
        assert word.within(everything)
    for a, b in combinations(words, 2):
        # A line's box holds its ascenders and descenders, which may meet the next line's.
        high = min(a.y_mm + a.height_mm, b.y_mm + b.height_mm) - max(a.y_mm, b.y_mm)
        assert not a.overlaps(b) or high < 0.45 * min(a.height_mm, b.height_mm)


def test_what_there_is_to_do_is_in_letters_that_can_be_read(layout: Layout, page) -> None:
    """Eight points (our choice); a nickname that is too long for its place may be smaller."""
    said = {CAUTIONS, *(f"{i}. {words}" for i, words in enumerate(WORDS[layout.method], 1))}
    spans = [
        span
        for block in page.get_text("dict")["blocks"]
        for line in block.get("lines", ())
        for span in line["spans"]
    ]
    wanted = [span for span in spans if any(span["text"].strip() in words for words in said)]
    assert sum(len(span["text"].split()) for span in wanted) >= len(" ".join(said).split())
    todo = [span for span in wanted if len(span["text"].split()) > 1]
    assert min(span["size"] for span in todo) >= 8 - 1e-3


def test_drawings_show_how_it_is_painted(layout: Layout, page) -> None:
    """Five of them, side by side above their words."""
    (box,) = (text.box for text in layout.texts if text.holds == "bands")
    places = [
        path["rect"].x0 / MM
        for path in page.get_drawings()
        if path["rect"].y0 / MM >= box.y_mm - 0.5 and path["rect"].y1 / MM < box.y_mm + 11
    ]
    starts = [
        next(w[0] / MM for w in page.get_text("words") if w[4] == f"{i}.") for i in range(1, 6)
    ]
    for start, end in zip(starts, [*starts[1:], box.x_mm + box.width_mm], strict=True):
        assert sum(start - 1 <= x < end for x in places) >= 4


def test_fonts_are_in_the_file(page) -> None:
    """A print shop's machine need not have them."""
    assert {extension for _, extension, *_ in page.get_fonts()} == {"ttf"}


def test_the_same_card_gives_the_same_bytes() -> None:
    layout = read_layout("quick-a5-2")
    assert printed(layout) == printed(layout)


def test_words_that_fit_no_box_are_refused() -> None:
    layout = read_layout("quick-a5-2")
    texts = tuple(
        replace(t, box=replace(t.box, height_mm=3.0)) if t.holds == "cautions" else t
        for t in layout.texts
    )
    with pytest.raises(InputError, match=r"text at 20, .* don't fit"):
        printed(replace(layout, texts=texts))
