"""The mixing worksheet, asked as a browser would: its steps, the plate, and what is kept."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import urlencode

import pytest
from sqlalchemy import select
from tintladder.database.recipe_store import kept_recipes
from tintladder.database.schema import Recipe
from tintladder.database.store import Store

PHOTOS = Path(__file__).parents[1] / "measurements" / "boatyard" / "photos"


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("target=nosuch+colour", "fits no tube"),
        ("target=200,0,0", "expected L* from 0 to 100"),
        ("target=readings.txt", "is a file"),
        ("target=62,-18,-9&lay=NOSUCH", "none of the tubes laid out"),
        ("target=BUOY+3:1&lay=HULL&lay=BUOY&way=BUOY,HULL&make=much", "expected an amount"),
        ("target=BUOY+3:1&lay=HULL&lay=BUOY&way=BUOY,HULL&make=5g&scale=7", "one of those listed"),
        ("target=BUOY+3:1&lay=HULL&lay=BUOY&tubes=many", "expected 1 to 6"),
    ],
)
def test_a_step_of_the_worksheet_that_cannot_be_done_says_so_in_its_place(demo_page, query, words):
    answer = demo_page.get(f"/mix?{query}")
    assert answer.status == 200 and words in answer.text
    assert answer.text.count('class="fault"') == 1


def test_the_plate_takes_every_addition_but_no_undo_of_another(demo_page):
    start = "/mix?target=BUOY+3:1&lay=HULL&lay=BUOY&way=BUOY,HULL&make=20g&mixing=yes"
    chosen = {
        "target": "BUOY 3:1", "lay": "HULL", "way": "BUOY,HULL", "make": "20g", "mixing": "yes",
    }  # fmt: skip
    add = chosen | {"do": "add", "g:HULL": "15", "g:BUOY": "4,5"}
    answer = demo_page.send("/mix/plate", add)
    assert answer.json["path"].startswith("/mix?target=BUOY+3%3A1")
    first = demo_page.get(start).text
    assert "15 g Hull White, 4.5 g Buoy Red" in first
    seen = re.search(r'name="seen" value="(\w+)"', first)[1]
    demo_page.send("/mix/plate", chosen | {"do": "add", "g:BUOY": "0.5"})
    stale = demo_page.send("/mix/plate", chosen | {"do": "undo", "seen": seen})
    assert stale.status == 409 and "the plate was changed elsewhere" in stale.json["line"]
    assert "5 g Buoy Red" in demo_page.get(start).text
    seen = re.search(r'name="seen" value="(\w+)"', demo_page.get(start).text)[1]
    demo_page.send("/mix/plate", chosen | {"do": "clear", "seen": seen})
    assert "The plate is empty" in demo_page.get(start).text


def test_a_spot_of_a_photograph_can_be_aimed_at(demo_page):
    shown = demo_page.drop("/mix/photo", [PHOTOS / "slipway.jpg"])
    assert shown.json["path"] == "/mix?photo=slipway.jpg#aim"
    page = demo_page.get("/mix?photo=slipway.jpg").text
    width = int(re.search(r'type="image"[^>]* width="(\d+)"', page)[1])
    picture = demo_page.get("/mix/photos/slipway.jpg")
    assert picture.headers["content-type"] == "image/png"
    touched = demo_page.get(f"/mix?photo=slipway.jpg&spot.x={width // 2}&spot.y=30")
    assert touched.status == 303
    there = touched.headers["location"].partition("#")[0]
    assert "of slipway.jpg" in demo_page.get(there).text
    ways = demo_page.get(f"{there}&lay=HULL&lay=ANCHOR&lay=ROPE").text
    assert "Take this way" in ways and 'class="fault"' not in ways
    outside = demo_page.get("/mix?photo=slipway.jpg&at=99999,0").text
    assert "outside the picture" in outside
    assert "is no photograph" in demo_page.drop("/mix/photo", [PHOTOS / "README.txt"]).json["line"]
    assert demo_page.get("/mix/photos/..%2Fstudio.db").status in (400, 404)


def test_a_way_is_kept_under_a_name_and_can_be_aimed_at(demo_page):
    chosen = [
        ("target", "BUOY 3:1"), ("lay", "HULL"), ("lay", "BUOY"), ("way", "BUOY,HULL"),
    ]  # fmt: skip
    assert demo_page.send("/mix/keep", [*chosen, ("name", "keelson")]).status == 200
    assert "recipe keelson" in demo_page.get("/mix?target=keelson").text
    other = demo_page.send("/mix/keep", [*chosen, ("name", "two words")])
    assert other.status == 400 and "expected a name" in other.json["line"]


def test_a_batch_is_kept_as_weighed_out_and_as_it_is_on_the_plate(own_page):
    page, folder = own_page
    chosen = [
        ("target", "BUOY 3:1"), ("lay", "HULL"), ("lay", "BUOY"), ("way", "BUOY,HULL"),
        ("make", "20g"), ("mixing", "yes"), ("name", "Transom"),
    ]  # fmt: skip
    kept = page.send("/mix/keep", [*chosen, ("mixed", "so"), ("note", "first coat")])
    assert kept.json["path"].endswith("kept=transom#plate")
    assert "Kept as transom" not in page.get("/mix?" + urlencode(chosen)).text
    add = [*chosen, ("do", "add"), ("g:HULL", "16"), ("g:BUOY", "4.25")]
    assert page.send("/mix/plate", add).status == 200
    plate = [*chosen, ("mixed", "plate"), ("note", "second coat")]
    assert page.send("/mix/keep", [*plate, ("seen", "another")]).status == 409
    there = page.get(kept.json["path"].partition("#")[0]).text
    assert "Kept as transom, 1 batch" in there and "first coat" in there
    seen = re.search(r'name="seen" value="(\w+)"', there)[1]
    last = page.send("/mix/keep", [*plate, ("seen", seen)])
    assert last.json["path"].endswith("kept=transom#plate")
    shown = page.get(last.json["path"].partition("#")[0]).text
    assert "2 batches" in shown and "4.25 g Buoy Red" in shown and "second coat" in shown
    with Store.open(folder) as store:
        (found,) = kept_recipes(store)
        with store.snapshot() as session:
            assert len(session.scalars(select(Recipe)).all()) == 1
    first, second = found.batches
    assert sum(first.masses.values()) == pytest.approx(20, rel=0.3) and first.lots
    assert second.masses == {"HULL": 16.0, "BUOY": 4.25}
