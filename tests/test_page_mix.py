"""The mixing worksheet, asked as a browser would: its steps, the plate, and what is kept."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import urlencode

import pytest
from sqlalchemy import select
from tintladder.database.store.schema import Recipe
from tintladder.database.store.store import Store

from .golden import text_of

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
        ("target=BUOY+3:1&lay=HULL&film=thick", "expected micrometres such as 20"),
        ("target=BUOY+3:1&lay=HULL&film=0", "expected 0.1 µm or more"),
        ("target=BUOY+3:1&lay=HULL&film=20&over=oak", "expected white or black"),
        ("target=BUOY+3:1&lay=HULL&finish=sparkling", "expected gloss or satin or matt"),
        ("target=BUOY+3:1&lay=HULL&medium=some", "expected must or out"),
        ("target=BUOY+3:1&lay=HULL&must=NOSUCH", "fits no tube"),
        ("target=BUOY+3:1&lay=HULL&tubes=2&must=ANCHOR&must=ROPE&must=DUSK", "3 tubes for a mix"),
        ("again=nosuch", "is no kept recipe"),
        (f"target={'a' * 500}", "fits no tube"),
    ],
)
def test_a_step_of_the_worksheet_that_cannot_be_done_says_so_in_its_place(demo_page, query, words):
    answer = demo_page.get(f"/mix?{query}")
    assert answer.status == 200 and words in answer.text
    assert answer.text.count('class="fault"') == 1


def seen(page, address):
    """What a form of the worksheet carries of the plate."""
    return re.search(
        r'action="/mix/plate">.*?name="seen" value="(\w+)"', page.get(address).text, re.S
    )[1]


def test_the_plate_takes_every_addition_but_no_undo_of_another(demo_page):
    start = "/mix?target=BUOY+3:1&lay=HULL&lay=BUOY&way=BUOY,HULL&make=20g&mixing=yes"
    chosen = {
        "target": "BUOY 3:1", "lay": "HULL", "way": "BUOY,HULL", "make": "20g", "mixing": "yes",
    }  # fmt: skip
    add = chosen | {"do": "add", "g:HULL": "15", "g:BUOY": "4,5", "seen": seen(demo_page, start)}
    answer = demo_page.send("/mix/plate", add)
    assert answer.json["path"].startswith("/mix?target=BUOY+3%3A1")
    first = demo_page.get(start).text
    assert "15.00 g Hull White, 4.50 g Buoy Red" in text_of(first)
    # The same form sent once more, as from a second window, adds nothing.
    assert demo_page.send("/mix/plate", add).status == 409
    before = seen(demo_page, start)
    more = chosen | {"do": "add", "g:BUOY": "0.5", "seen": before}
    assert demo_page.send("/mix/plate", more).status == 200
    stale = demo_page.send("/mix/plate", chosen | {"do": "undo", "seen": before})
    assert stale.status == 409 and "the plate was changed elsewhere" in stale.json["line"]
    assert "5.00 g Buoy Red" in text_of(demo_page.get(start).text)
    now = seen(demo_page, start)
    demo_page.send("/mix/plate", chosen | {"do": "clear", "seen": now})
    assert "The plate is empty" in text_of(demo_page.get(start).text)
    back = {"do": "undo", "seen": seen(demo_page, start)}
    assert demo_page.send("/mix/plate", chosen | back).status == 200
    assert "5.00 g Buoy Red" in text_of(demo_page.get(start).text)
    for _ in range(2):
        demo_page.send("/mix/plate", chosen | {"do": "undo", "seen": seen(demo_page, start)})
    assert "The plate is empty" in text_of(demo_page.get(start).text)


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


def test_a_plate_that_is_only_begun_need_not_be_begun_anew(own_page):
    page, _ = own_page
    chosen = {
        "target": "BUOY 3:1", "lay": "HULL", "way": "BUOY,HULL", "make": "40g", "mixing": "yes",
    }  # fmt: skip
    start = "/mix?target=BUOY+3:1&lay=HULL&lay=BUOY&way=BUOY,HULL&mixing=yes&make="
    add = {"do": "add", "g:BUOY": "3", "seen": seen(page, f"{start}40g")}
    page.send("/mix/plate", chosen | add)
    begun = page.get(f"{start}40g").text
    assert (
        "Hull White</span>: so much is surely not too much" in begun
        and "to start over" not in begun
    )
    # Of a batch that needs 2 g only, so much more isn't worth it.
    assert "It takes less paint to start over" in page.get(f"{start}2g").text


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
    before = seen(page, f"/mix?{urlencode(chosen)}")
    add = [*chosen, ("do", "add"), ("g:HULL", "16"), ("g:BUOY", "4.25"), ("seen", before)]
    assert page.send("/mix/plate", add).status == 200
    plate = [*chosen, ("mixed", "plate"), ("note", "second coat")]
    assert page.send("/mix/keep", [*plate, ("seen", "another")]).status == 409
    there = page.get(kept.json["path"].partition("#")[0]).text
    assert "Kept as transom, 1 batch" in there and "first coat" in there
    now = seen(page, kept.json["path"].partition("#")[0])
    last = page.send("/mix/keep", [*plate, ("seen", now)])
    assert last.json["path"].endswith("kept=transom#plate")
    shown = page.get(last.json["path"].partition("#")[0]).text
    assert "2 batches" in shown and "4.25 g Buoy Red" in shown and "second coat" in shown
    with Store.open(folder) as store:
        (found,) = store.recipes.all()
        with store.snapshot() as session:
            assert len(session.scalars(select(Recipe)).all()) == 1
    first, second = found.batches
    assert sum(first.masses.values()) == pytest.approx(20, rel=0.3) and first.lots
    assert second.masses == {"HULL": 16.0, "BUOY": 4.25}


def test_a_glaze_is_weighed_for_an_area_as_one_film(demo_page):
    glaze = "/mix?target=80,-10,-20&lay=HULL&lay=ANCHOR&film=20&over=white&medium=must"
    ways = demo_page.get(glaze).text
    assert "as a dry film of 20 µm over white" in ways and "clear medium" in ways
    weighed = demo_page.get(f"{glaze}&way=ANCHOR,MEDIUM&make=40x50cm&mixing=yes").text
    # By hand: 0.2 m2 of 20 µm dry, a tenth lost, of a medium a third of which stays when it dries.
    grams = sum(float(g) for g in re.findall(r"<li><b>([\d.]+) g</b>", weighed))
    assert grams == pytest.approx(0.2 * 20 * 1.1 / 0.38 * 1.04, rel=0.1)
    assert 'for="coats"' not in weighed and "The plate is empty" in weighed
    thicker = demo_page.get(glaze.replace("film=20", "film=80")).text
    assert "80 µm over white" in thicker
    out = demo_page.get(glaze.replace("medium=must", "medium=out")).text
    assert "clear medium," not in out and 'class="fault"' not in out


def test_a_glaze_goes_on_the_plate_and_is_kept_as_one(own_page):
    page, folder = own_page
    chosen = [
        ("target", "80,-10,-20"), ("lay", "HULL"), ("lay", "ANCHOR"), ("film", "20"),
        ("medium", "must"), ("way", "ANCHOR,MEDIUM"), ("make", "20g"), ("mixing", "yes"),
    ]  # fmt: skip
    before = seen(page, f"/mix?{urlencode(chosen)}")
    add = [*chosen, ("do", "add"), ("g:MEDIUM", "10"), ("g:ANCHOR", "0,4"), ("seen", before)]
    there = page.send("/mix/plate", add).json["path"].partition("#")[0]
    assert "calculated for paint that hides only" in page.get(there).text
    assert page.send("/mix/keep", [*chosen, ("name", "haze"), ("mixed", "so")]).status == 200
    with Store.open(folder) as store:
        (found,) = store.recipes.all()
    assert (
        found.recipe.predicted["thickness_um"] == 20 and found.recipe.predicted["over"] == "white"
    )
    again = page.get("/mix?again=haze&make=20g").text
    assert "To be mixed as haze was kept" in again and "20 µm over white" in again
    assert 'class="fault"' not in again and again.count("<b>") == 2


def test_a_finish_and_a_tube_that_must_be_in_it_change_the_ways(demo_page):
    plain = "/mix?target=mixtures/moss&lay=HULL&lay=ROPE&lay=STARBOARD&lay=LANTERN"
    read, gloss = demo_page.get(plain).text, demo_page.get(f"{plain}&finish=gloss").text
    assert "as the eye sees it in a gloss finish" in gloss
    assert "as an instrument of geometry di:8 reads it" in read
    colours = [re.search(r'class="chip pair".*?fill="(#\w+)"', t, re.S)[1] for t in (read, gloss)]
    assert colours[0] != colours[1]  # what was read is seen without its shine
    must = demo_page.get(f"{plain}&must=DUSK").text
    assert all("Dusk Violet" in way for way in re.findall(r'<h3 id="way.*?</h3>', must))
    assert re.search(r'name="must" value="DUSK" checked', must)


def test_neutral_spots_even_a_photograph(demo_page):
    demo_page.drop("/mix/photo", [PHOTOS / "slipway.jpg"])
    start = "/mix?photo=slipway.jpg&white=44,405"
    touched = demo_page.get(f"{start}&touch=black&spot.x=121&spot.y=406").headers["location"]
    assert "white=44%2C405" in touched and "black=" in touched and touched.endswith("#aim")
    plain = demo_page.get("/mix?photo=slipway.jpg&at=304,239").text
    even = demo_page.get(f"{start}&black=121,406&grey=82,405&at=304,239").text
    assert "nothing in the photograph tells its light" in plain.casefold()
    assert "Evened by a white and a black" in even
    for wrong, words in (
        ("black=121,406&at=304,239", "a black alone"),
        ("white=99999,0", "outside the picture"),
        ("white=here&at=304,239", "expected a spot in px"),
        ("white=121,406&black=44,405&at=304,239", "order of lightness"),
        ("spot.x=1&spot.y=1&touch=purple", "expected at or grey"),
    ):
        answer = demo_page.get(f"/mix?photo=slipway.jpg&{wrong}")
        assert words in answer.text and "--" not in answer.text, wrong
    ringed = demo_page.get("/mix/photos/slipway.jpg?at=304,239&white=44,405")
    assert ringed.body != demo_page.get("/mix/photos/slipway.jpg").body
    assert demo_page.get("/mix/photos/slipway.jpg?at=there").status == 400
    assert demo_page.get("/mix/photos/slipway.jpg?at=nan,1").status == 400


def test_ways_are_drawn_under_three_lights_and_further_tubes_tried(demo_page):
    far = [("target", "55,70,40"), ("lay", "HULL"), ("lay", "ROPE"), ("lay", "ANCHOR")]
    start = f"/mix?{urlencode(far)}"
    text = demo_page.get(start).text
    assert "Would a further tube help?" in text and "With " not in text
    picture = demo_page.get(re.search(r'src="(/mix/ways.png[^"]*)"', text)[1].replace("&amp;", "&"))
    assert picture.headers["content-type"] == "image/png" and len(picture.body) > 5000
    said = demo_page.wait(demo_page.send("/mix/further", far))
    assert said["path"].endswith("further=yes#ways")
    further = demo_page.get(said["path"].partition("#")[0]).text
    assert re.search(r"With (Buoy Red|Pennant Magenta) too it would be", further)
    assert demo_page.get("/mix/ways.png").status == 400
    assert demo_page.send("/mix/further", {"target": "nosuch"}).status == 400
