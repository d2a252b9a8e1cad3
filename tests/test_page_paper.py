"""Paper on the page: printed as jobs, kept, and refused in one line."""

from __future__ import annotations

import re
from pathlib import Path

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
        assert said["path"] == f"/paper?fresh={file}"
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
    said = page.drop("/paper/picture", [PHOTOS / "slipway.jpg"])
    assert page.wait(said)["path"] == "/paper?fresh=set-out-slipway.pdf"
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
    ],
)
def test_a_picture_that_cannot_be_set_out_is_refused(demo_page, form, words):
    answer = demo_page.send("/paper/picture", form)
    assert answer.status == 400 and words in answer.json["line"]
