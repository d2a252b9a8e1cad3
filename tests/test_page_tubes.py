"""Tubes on the page: labels, lots and densities changed, and what can't be refused."""

from __future__ import annotations

import re
from datetime import date

import pytest
from tintladder.database.store.store import Store

from .page_server import SCRIPT, Visitor


@pytest.fixture
def hull(page: Visitor) -> Visitor:
    """A studio with two tubes."""
    page.send("/begin", {"white_name": "Hull White", "colour_name": "Anchor Blue"})
    return page


def seen(page: Visitor, form: str, tube: str = "HULL") -> str:
    text = page.get(f"/tubes/{tube}").text
    found = re.search(rf'action="/tubes/{tube}/{form}">.*?name="seen" value="(\w+)"', text, re.S)
    assert found
    return found[1]


def test_a_label_is_mended_once(hull, tmp_path):
    form = {
        "seen": seen(hull, "label"), "name": "Hull White 2", "maker": "Slipway", "range": "Sign",
        "pigments": "PW6, PW4", "finish": "ordinary", "note": SCRIPT,
    }  # fmt: skip
    path = hull.send("/tubes/HULL/label", form).json["path"]
    assert re.fullmatch(r"/tubes/HULL\?kept=label&changed=\d+#label", path)
    shown = hull.get(path.partition("#")[0]).text
    assert "The label is kept so" in shown
    assert 'value="PW6 PW4"' in shown and SCRIPT not in shown and "&lt;script&gt;" in shown
    stale = hull.send("/tubes/HULL/label", form | {"name": "Another"})
    assert stale.status == 409 and "HULL was changed elsewhere" in stale.json["line"]
    with Store.open(tmp_path / "studio") as store:
        paint = store.paints.find("HULL")
        assert (paint.name, paint.maker, paint.range) == ("Hull White 2", "Slipway", "Sign")
        assert len(paint.lots) == 1


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"name": " "}, "a tube needs a name"),
        ({"name": "Anchor Blue"}, "in the studio already, as ANCHOR"),
        ({"finish": "shiny"}, "expected ordinary or metallic"),
    ],
)
def test_a_label_that_cannot_be_is_refused(hull, changed, words):
    form = {"seen": seen(hull, "label"), "name": "Hull White", "finish": "ordinary"} | changed
    answer = hull.send("/tubes/HULL/label", form)
    assert answer.status == 400 and words in answer.json["line"]
    assert 'name="name" value="Hull White"' in hull.get("/tubes/HULL").text


def test_a_lot_is_changed_and_a_further_one_is_in_use(hull, tmp_path):
    form = {
        "was": "", "seen": seen(hull, "lots"), "lot": "W1", "size": "60 ml", "price": "14,50",
        "density": "1,45", "solids": "0.42", "opened": "2026-03-01", "note": "thick",
    }  # fmt: skip
    assert hull.send("/tubes/HULL/lots", form).status == 200
    assert hull.send("/tubes/HULL/lots", form).status == 409
    assert "used up</span>" in hull.get("/tubes").text  # "On hand" was left unticked
    new = {"do": "add", "lot": "W2", "size": "120"}
    assert hull.send("/tubes/HULL/lots", new).status == 200
    again = hull.send("/tubes/HULL/lots", new)
    assert again.status == 400 and "is in the studio already" in again.json["line"]
    with Store.open(tmp_path / "studio") as store:
        first, second = store.paints.find("HULL").lots
        assert (first.lot, first.size_ml, first.price) == ("W1", 60.0, 14.5)
        assert (first.density, first.volume_solids) == (1.45, 0.42)
        assert first.opened == date(2026, 3, 1) and not first.on_hand
        assert store.paints.find("HULL").current_lot.lot == "W2" and second.size_ml == 120


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"size": "large"}, "expected millilitres such as 60"),
        ({"density": "1450"}, "density: expected above 0.5 and up to 6"),
        ({"solids": "42"}, "expected above 0 and up to 1"),
        ({"price": "-3"}, "expected a figure such as 14.50"),
        ({"opened": "March"}, "expected a day such as"),
        ({"was": "W9"}, "changed elsewhere"),
    ],
)
def test_a_lot_that_cannot_be_is_refused(hull, changed, words):
    form = {"was": "", "seen": seen(hull, "lots"), "lot": "W1"} | changed
    answer = hull.send("/tubes/HULL/lots", form)
    assert answer.status in (400, 409) and words in answer.json["line"]
    assert "Lot W1" not in hull.get("/tubes/HULL").text


def test_a_tube_is_weighed(hull):
    form = {"seen": seen(hull, "weighed"), "ml": "2", "grams": "4,20", "empty": "1,3"}
    answer = hull.send("/tubes/HULL/weighed", form)
    assert re.fullmatch(r"/tubes/HULL\?weighed=1.45&changed=\d+#weigh", answer.json["path"])
    assert "1.45 g/ml is kept" in hull.get("/tubes/HULL").text
    assert hull.send("/tubes/HULL/weighed", form).status == 409


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({}, "expected grams above 0"),
        ({"grams": "1", "empty": "2"}, "expected grams above 2"),
        ({"grams": "much"}, "expected a figure such as 2.72"),
        ({"grams": "2.7", "ml": "0"}, "some millilitres of paint"),
        ({"grams": "200"}, "up to 6"),
    ],
)
def test_what_cannot_be_weighed_is_refused(hull, typed, words):
    answer = hull.send("/tubes/HULL/weighed", {"seen": seen(hull, "weighed")} | typed)
    assert answer.status == 400 and words in answer.json["line"]
    assert "None is kept" in hull.get("/tubes/HULL").text


def test_a_tube_is_added_with_its_data_sheet_and_again_by_its_lot(hull, tmp_path):
    form = {
        "name": "Rope Earth", "maker": "Slipway", "lot": "R1", "density": "1.6", "solids": "0.4",
        "price": "9", "range": "Sign", "finish": "ordinary", "pigments": "PBr7",
    }  # fmt: skip
    assert hull.send("/tubes", form).status == 200
    assert hull.send("/tubes", form | {"lot": "R2"}).json["path"] == "/tubes#tube-ROPE"
    assert hull.send("/tubes", form | {"lot": ""}).status == 400
    assert "expected a figure" in hull.send("/tubes", form | {"density": "heavy"}).json["line"]
    with Store.open(tmp_path / "studio") as store:
        rope = store.paints.find("ROPE")
        assert [lot.lot for lot in rope.lots] == ["R1", "R2"] and rope.range == "Sign"
        assert rope.lots[0].density == 1.6 and rope.lots[0].price == 9
    assert hull.get("/tubes/NOSUCH").status == 400


def test_what_is_on_hand_and_what_was_weighed_is_taken_back(hull, tmp_path):
    def now():
        with Store.open(tmp_path / "studio") as store:
            lot = store.paints.find("HULL").lots[0]
            return lot.on_hand, lot.density

    def back(answer):
        path = answer.json["path"]
        assert "Take it back" in hull.get(path.partition("#")[0]).text
        number = re.search(r"changed=(\d+)", path)
        assert hull.send(f"/changes/{number[1]}").status == 200

    before = now()
    used_up = hull.send("/tubes/HULL", {"seen": "yes", "on_hand": "no"})
    assert now() == (False, before[1])
    back(used_up)
    assert now() == before
    text = hull.get("/tubes/HULL").text
    mark = re.search(r'/weighed">\s*<input type="hidden" name="seen" value="(\w+)"', text)
    weighed = hull.send("/tubes/HULL/weighed", {"seen": mark[1], "ml": "2", "grams": "2.9"})
    assert now() == (True, 1.45)
    back(weighed)
    assert now() == before
