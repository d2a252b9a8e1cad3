"""Paper on the page: printed as jobs, kept, and refused in one line."""

from __future__ import annotations

import re
from pathlib import Path

import pymupdf
import pytest

from .page_server import SCRIPT

PHOTOS = Path(__file__).parents[1] / "measurements" / "boatyard" / "photos"


def test_paper_is_printed_and_still_there_after_a_reload(own_page):
    page, folder = own_page
    two, colours = [("tube", "ANCHOR"), ("tube", "ROPE")], {"colours": "BUOY 3:1\nROPE 2:1"}
    for path, form, file in (
        ("/paper/wall", {"tube": "ANCHOR"}, None),
        ("/paper/wall", [*two, ("do", "chart")], "mixing-chart.pdf"),
        ("/paper/wall", {"do": "labels", "page": "letter"}, "tube-labels.pdf"),
        ("/paper/wall", {"do": "labels", "page": "a0"}, None),
        ("/paper/pots", {}, None),
        ("/paper/picture", colours | {"do": "setout"}, "set-out-colours.pdf"),
        ("/paper/picture", colours | {"do": "class", "title": SCRIPT}, "handout-colours.html"),
    ):
        said = page.wait(page.send(path, form))
        if file is None:
            assert said["fault"] and "\n" not in said["fault"]
            continue
        assert said["path"].partition("&")[0] == f"/paper?fresh={file}"
        assert f"{file} is ready" in page.get(said["path"]).text
        answer = page.get(f"/paper/{file}")
        assert answer.body == (folder / "paper" / file).read_bytes()
        if file.endswith(".pdf"):
            assert answer.body[:4] == b"%PDF"
        else:
            assert "sandbox" in answer.headers["content-security-policy"]
            assert SCRIPT not in answer.text
    assert len(list((folder / "paper").iterdir())) == 4


def test_a_photograph_is_set_out_and_is_still_there_where_that_fails(own_page):
    page, folder = own_page
    said = page.wait(page.drop("/paper/picture", [PHOTOS / "slipway.jpg"]))
    assert said["path"].startswith("/paper?fresh=set-out-slipway.pdf&")
    # Its white, grey and black card lie at about 44,405, 82,405 and 121,406.
    shown = page.get(said["path"].partition("#")[0]).text
    assert "looks like reference cards and is left out" in shown
    with pymupdf.open(folder / "paper" / "set-out-slipway.pdf") as document:
        printed = " ".join(document[0].get_text().split())
    places = re.search(r"What is seen at ([\d, and]+) px looks like reference cards", printed)
    assert [round(int(x), -1) for x in re.findall(r"(\d+),4\d\d", places[1])] == [40, 80, 120]
    evened = {"again": "slipway.jpg", "white": "44,405", "grey": "82,405", "black": "121,406"}
    there = page.wait(page.send("/paper/picture", evened))["path"].partition("#")[0]
    assert "looks like reference cards" not in page.get(there).text
    asked = page.send("/paper/picture", {"again": "slipway.jpg", "size": "wide"})
    assert "width x height" in page.wait(asked)["fault"]
    back = re.search(r'href="(/paper\?size=wide[^"]*)"', page.get(asked.json["path"]).text)
    there = page.get(back[1].replace("&amp;", "&").partition("#")[0]).text
    assert "Still here: slipway.jpg" in there and 'name="size" value="wide"' in there
    assert [path.name for path in (folder / "paper").iterdir()] == ["set-out-slipway.pdf"]


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({}, "expected a photograph or some colours"),
        ({"colours": "BUOY 3:1\n" * 21}, "up to 20 colours"),
        ({"colours": "BUOY 3:1", "ml": "0"}, "expected 1 to"),
        ({"again": "nosuch.jpg"}, "isn't there any more"),
        ({"colours": "BUOY 3:1", "finish": "sparkling"}, "expected gloss or satin"),
        ({"colours": "BUOY 3:1", "within": "0.1"}, "expected 0.5 to 20"),
        ({"colours": "BUOY 3:1", "within": "near"}, "expected a figure such as 2"),
        ({"colours": "BUOY 3:1", "tubes": "9"}, "expected 1 to 5"),
        ({"colours": "BUOY 3:1", "white": "44,405"}, "is a spot of a photograph"),
    ],
)
def test_a_picture_that_cannot_be_set_out_is_refused(demo_page, form, words):
    answer = demo_page.send("/paper/picture", form)
    assert answer.status == 400 and words in answer.json["line"]


def test_a_picture_is_set_out_under_a_finish_with_tubes_of_ones_own_choice(own_page):
    page, folder = own_page
    chosen = [
        ("colours", "BUOY 3:1\nROPE 2:1"), ("finish", "matt"), ("must", "DUSK"),
        ("without", "ROPE"), ("within", "6"), ("tubes", "3"), ("whose", SCRIPT), ("do", "class"),
    ]  # fmt: skip
    said = page.wait(page.send("/paper/picture", chosen))
    assert said["path"].startswith("/paper?fresh=handout-colours.html&")
    # What was chosen is still there, for another paper of the same colours.
    form = page.get(said["path"]).text
    assert "BUOY 3:1\nROPE 2:1</textarea>" in form and 'value="DUSK" checked' in form
    made = (folder / "paper" / "handout-colours.html").read_text()
    assert "Dusk Violet" in made and "Rope Earth" not in made and SCRIPT not in made
    both = [*chosen, ("must", "ROPE")]
    assert "both asked for and left out" in page.wait(page.send("/paper/picture", both))["fault"]


def test_a_photograph_is_evened_by_its_white_and_black(own_page):
    page, _ = own_page
    page.drop("/mix/photo", [PHOTOS / "slipway.jpg"])
    wrong = {"again": "slipway.jpg", "white": "44,405", "black": "9999,0", "must": "DUSK"}
    asked = page.send("/paper/picture", wrong)
    assert "outside the picture" in page.wait(asked)["fault"]
    back = re.search(r'href="(/paper\?[^"]*)"', page.get(asked.json["path"]).text)[1]
    there = page.get(back.replace("&amp;", "&").partition("#")[0]).text
    assert 'name="white" value="44,405"' in there and 'value="DUSK" checked' in there
    even = page.wait(page.send("/paper/picture", wrong | {"black": "121,406"}))
    assert even["path"].startswith("/paper?fresh=set-out-slipway.pdf&")
