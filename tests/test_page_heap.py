"""A heap of unknown parts on the page: put on the plate by its dab, or refused in one line."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlencode

import pytest
from tintladder.database.easel.plate import on_plate, plate_of, set_plate
from tintladder.database.mixing.viewing import AS_SEEN
from tintladder.database.store.store import Store

PHOTOS = Path(__file__).parents[1] / "measurements" / "boatyard" / "photos"
BACK = "/mix?target=BUOY+3:1&lay=HULL&lay=BUOY&way=BUOY,HULL&make=20g&mixing=yes#plate"


TINT = "Buoy Red let down 3 : 1, white to colour"


def plate(folder, goal=TINT):
    with Store.open(folder) as store:
        return plate_of(store, goal)


FROM_MIX = f"?{urlencode({'back': BACK})}"


def seen(page, query=FROM_MIX):
    text = page.get(f"/heap{query}").text
    return re.search(r'action="/heap">.*?name="seen" value="(\w+)"', text, re.S)[1]


def test_a_heap_goes_on_the_plate_by_the_colour_of_its_dab(own_page):
    page, folder = own_page
    start = page.get(BACK.partition("#")[0]).text
    said = parse_qs(unescape(re.search(r'href="/heap\?(back=[^"]+)"', start)[1]))["back"][0]
    assert said.startswith("/mix?target=BUOY+3%3A1") and said.endswith("#plate")
    form = [
        ("back", BACK), ("seen", seen(page)), ("colour", "BUOY 3:1"), ("grams", "10 g"),
        ("of", "HULL"), ("of", "BUOY"),
    ]  # fmt: skip
    assert page.wait(page.send("/heap", form))["path"] == BACK
    heap = on_plate(plate(folder).additions)
    # The dab is three parts of white to one of colour, so the heap is.
    assert heap == pytest.approx({"HULL": 7.5, "BUOY": 2.5}, abs=0.1)
    text = page.get(BACK.partition("#")[0]).text
    assert "By its dab the heap is likely 75 % Hull White" in text and "--" not in text
    assert page.send("/heap", form).status == 409
    assert "gives way to this heap" in page.get(f"/heap?{urlencode({'back': BACK})}").text
    cleared = re.search(r'name="seen" value="(\w+)"', text)[1]
    page.send("/mix/plate", {"do": "clear", "seen": cleared, "target": "BUOY 3:1"})
    assert plate(folder).dab is None


def test_a_photograph_of_a_dab_is_touched(own_page):
    page, folder = own_page
    shown = page.drop("/heap/photo", [PHOTOS / "slipway.jpg"]).json["path"]
    assert shown == "/heap?photo=slipway.jpg#dab"
    start = "/heap?photo=slipway.jpg&white=44,405&black=121,406"
    there = page.get(f"{start}&touch=at&spot.x=304&spot.y=239").headers["location"]
    text = page.get(there.partition("#")[0]).text
    assert "Evened by a white and a black" in text
    form = {"photo": "slipway.jpg", "at": "304,239", "white": "44,405", "black": "121,406"}
    form |= {"grams": "8", "seen": seen(page, ""), "back": "//elsewhere.example/"}
    assert page.wait(page.send("/heap", form))["path"] == "/mix"
    there = plate(folder, "")
    assert there.dab.viewing == AS_SEEN
    assert sum(on_plate(there.additions).values()) == pytest.approx(8)


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"colour": "BUOY 3:1"}, "expected more than none"),
        ({"colour": "BUOY 3:1", "grams": "much"}, "expected a figure such as 8.2"),
        ({"grams": "8"}, "has no colour yet"),
        ({"colour": "nosuch", "grams": "8"}, "fits no tube"),
        ({"colour": "BUOY 3:1", "grams": "8", "of": "NOSUCH"}, "fits no tube"),
        ({"photo": "nosuch.jpg", "at": "1,1", "grams": "8"}, "isn't there any more"),
    ],
)
def test_a_dab_that_cannot_be_is_refused(demo_page, form, words):
    answer = demo_page.send("/heap", form | {"seen": seen(demo_page, "")})
    assert answer.status == 400 and words in answer.json["line"]


def test_a_dab_that_no_tubes_make_leaves_the_plate_as_it_was(own_page):
    page, folder = own_page
    with Store.open(folder) as store:
        set_plate(store, TINT, [{"HULL": 3.0}])
    form = {"colour": "60,-90,-60", "grams": "8", "seen": seen(page), "back": BACK}
    assert "no mix of these tubes looks like it" in page.wait(page.send("/heap", form))["fault"]
    assert on_plate(plate(folder).additions) == {"HULL": 3.0}
    assert "outside the picture" not in page.get("/heap?photo=nosuch.jpg").text
    assert page.get("/heap?photo=nosuch.jpg").text.count('class="fault"') == 1
