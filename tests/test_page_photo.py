"""A photograph on the page: it fits its box, and a touch means the spot that it shows."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

PHOTOS = Path(__file__).parents[1] / "measurements" / "boatyard" / "photos"
SPOT = (304, 239)
"""px of the slipway's own 640 by 440: the hull, as its README says."""


@pytest.mark.parametrize("wide", [390, 820, 1280])
def test_a_touch_is_told_in_the_photographs_own_px_at_every_size(
    window: Any, own_page: Any, wide: int
) -> None:
    window.set_viewport_size({"width": wide, "height": 900})
    window.goto(f"{own_page[0].origin}/mix")
    window.get_by_text("A photograph, and what else can be typed").click()
    window.locator("#aim .drop input[type=file]").set_input_files(PHOTOS / "slipway.jpg")
    photo = window.locator("input[type=image]")
    photo.wait_for()
    photo.scroll_into_view_if_needed()
    # Its grey, white and black strip is proposed, and nothing is taken for it unasked.
    said = window.locator("#aim").inner_text()
    assert all(f"{word}?" in said for word in ("bare white", "grey card (18 %)", "bare black"))
    box = photo.bounding_box()
    assert box["x"] >= 0 and box["x"] + box["width"] <= wide
    scale = box["width"] / 640
    x, y = box["x"] + SPOT[0] * scale, box["y"] + SPOT[1] * scale
    window.mouse.move(x - 1, y)
    window.mouse.move(x, y)
    lens = window.locator("canvas.lens")
    lens.wait_for()
    assert lens.bounding_box()["x"] >= 0
    window.mouse.down()
    window.mouse.up()
    window.wait_for_url("**at=*")
    found = re.search(r"at=(\d+)%2C(\d+)", window.url)
    assert found is not None
    assert abs(int(found[1]) - SPOT[0]) <= 2 and abs(int(found[2]) - SPOT[1]) <= 2
