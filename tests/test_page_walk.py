"""A painter's evening in a real browser: a photograph touched, a batch mixed, kept, and judged."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from .page_access import serious_faults

PHOTOS = Path(__file__).parents[1] / "measurements" / "boatyard" / "photos"


def touch(window: Any, what: str, x: int, y: int) -> None:
    window.get_by_role("radio", name=re.compile(what)).check()
    window.locator("input[type=image]").click(position={"x": x, "y": y})
    window.wait_for_load_state()


def test_from_a_photograph_to_a_batch_whose_swatch_has_dried(window: Any, own_page: Any) -> None:
    home = own_page[0].origin
    found = []
    window.goto(f"{home}/mix")
    window.get_by_text("A photograph, and what else can be typed").click()
    window.locator("#aim .drop input[type=file]").set_input_files(PHOTOS / "slipway.jpg")
    window.locator("input[type=image]").wait_for()
    # Where they are is in the photographs' README.
    touch(window, "bare white", 44, 405)
    touch(window, "bare black", 121, 406)
    touch(window, "colour you want", 304, 239)
    window.get_by_text("Evened by a white and a black").wait_for()
    window.get_by_text("A glaze, a finish, a tube that must be in it").click()
    window.get_by_label("Finish", exact=False).select_option("matt")
    window.locator("[name=must][value=STARBOARD]").check()
    found += serious_faults(window, "tubes")
    window.get_by_role("button", name="Look for ways").click()
    window.get_by_text("as the eye sees it in a matt finish under").wait_for()
    window.get_by_text("Under three lights").click()
    drawn = window.locator("img[src^='/mix/ways.png']")
    drawn.scroll_into_view_if_needed()
    drawn.evaluate("i => i.complete || new Promise((done) => { i.onload = done; })")
    assert drawn.evaluate("i => i.naturalWidth") > 100
    for way in window.locator(".way h3").all_inner_texts():
        assert "Starboard Green" in way
    window.get_by_role("link", name="Take this way").first.click()
    window.get_by_role("button", name="Say how much").click()
    window.get_by_text("Keep it under a name").click()
    window.locator("#way-name").fill("hull")
    window.get_by_role("button", name="It is mixed so").click()
    # That is a tube's name: what was typed stays, and the line says why.
    window.get_by_text("is the name of a tube").wait_for()
    assert window.locator("#way-name").input_value() == "hull"
    window.locator("#way-name").fill("boat-green")
    window.get_by_role("button", name="It is mixed so").click()
    window.get_by_role("link", name="Say what it dried to").click()
    window.wait_for_url("**/kept*")
    window.get_by_text("It has dried: say its colour").click()
    window.get_by_label("Its colour").fill("35,-25,18")
    found += serious_faults(window, "kept")
    window.get_by_role("button", name="It dried to this").click()
    window.get_by_text("Expected on the left, dried on the right").wait_for()
    window.reload()
    window.get_by_text("Expected on the left, dried on the right").wait_for()
    found += serious_faults(window, "dried")
    window.get_by_role("link", name="Mix it again").click()
    window.get_by_text("To be mixed as boat-green was kept").wait_for()
    window.get_by_role("button", name="Say how much").click()
    window.get_by_text("In this order").wait_for()
    assert not found


def test_a_heap_and_a_tube_are_weighed_without_a_terminal(window: Any, own_page: Any) -> None:
    home, found = own_page[0].origin, []
    window.goto(f"{home}/tubes")
    window.get_by_role("link", name="Anchor Blue", exact=True).click()
    window.get_by_label("The scale shows", exact=False).fill("2.72")
    window.get_by_role("button", name="Keep its density").click()
    window.get_by_text("1.36 g/ml. Amounts of it by volume rest on that from now on.").wait_for()
    found += serious_faults(window, "tube")
    window.goto(
        f"{home}/mix?target=BUOY+3:1&lay=HULL&lay=BUOY&way=BUOY,HULL&make=20g&mixing=yes#plate"
    )
    window.get_by_role("link", name="Say what a dab of it dried to").click()
    window.get_by_label("Or its colour as read").fill("BUOY 2:1")
    window.get_by_label("Grams in the heap").fill("10")
    found += serious_faults(window, "heap")
    window.get_by_role("button", name="It is on the plate").click()
    window.get_by_text("By its dab the heap is likely").wait_for(timeout=30_000)
    assert window.url.endswith("#plate")
    assert not found
