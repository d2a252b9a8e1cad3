"""Kept recipes on the page: a batch's dried swatch beside what was expected of it."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.swatches import dried
from tintladder.database.mixing.prediction import look
from tintladder.database.mixing.viewing import AS_SEEN
from tintladder.database.store.store import Store

from .page_server import SCRIPT

PHOTOS = Path(__file__).parents[1] / "measurements" / "boatyard" / "photos"
LAB = [45.0, 8.0, -2.0]


@pytest.fixture
def batch(own_page):
    """A batch of a recipe that is expected to be `LAB`, kept before viewing conditions were."""
    return mixed(*own_page, {"lab": LAB})


def mixed(page, folder, expected):
    with Store.open(folder) as store:
        made = store.recipes.keep_mixed(
            "transom", {"HULL": 0.8, "BUOY": 0.2}, {"said": "a spot", "lab": LAB}, expected,
            {"HULL": 16.0, "BUOY": 4.0}, SCRIPT,
        )  # fmt: skip
    return page, folder, made.id


def seen(page, number):
    text = page.get("/kept").text
    return re.search(rf'action="/kept/{number}/swatch".*?name="seen" value="(\w+)"', text, re.S)[1]


def found(folder):
    with Store.open(folder) as store:
        (each,) = store.recipes.all()
    return dried(each.of[each.batches[-1].recipe_id], each.batches[-1])


def test_a_dried_swatch_is_shown_beside_what_was_expected(own_page):
    page, folder, number = mixed(*own_page, {"lab": LAB, "viewing": AS_SEEN.said})
    form = {"seen": seen(page, number), "colour": "41,8,-2"}
    assert page.send(f"/kept/{number}/swatch", form).json["path"] == f"/kept#batch-{number}"
    text = page.get("/kept").text
    off = float(ciede2000(np.array(LAB), np.array([41.0, 8.0, -2.0])))
    assert f"(CIEDE2000 {off:.1f})" in text and "a near miss: darker than expected" in text
    assert SCRIPT not in text and "&lt;script&gt;" in text
    assert found(folder).off == pytest.approx(off)
    stale = page.send(f"/kept/{number}/swatch", form | {"colour": "90,0,0"})
    assert stale.status == 409 and "what that batch dried to" in stale.json["line"]
    assert found(folder).lab[0] == 41


def test_a_swatch_that_a_person_names_is_compared_as_the_eye_sees_it(batch):
    page, folder, number = batch
    form = {"seen": seen(page, number), "colour": "41,8,-2"}
    assert page.send(f"/kept/{number}/swatch", form).status == 200
    with Store.open(folder) as store:
        c = AS_SEEN.of(store.fits.coefficients(["HULL", "BUOY"]))
    expected = look(c, {"HULL": 0.8, "BUOY": 0.2})[0].lab()
    assert found(folder).expected == pytest.approx(expected, abs=1e-6)


def test_a_swatch_is_read_from_a_file_or_a_card(batch):
    page, folder, number = batch
    form = {"seen": seen(page, number), "colour": "mixtures/moss"}
    assert page.send(f"/kept/{number}/swatch", form).status == 200
    assert found(folder).said == "reading mixtures/moss"
    file = folder / "own.csv"
    head = "sample," + ",".join(str(nm) for nm in range(400, 710, 10))
    stated = "# unit: fraction\n# geometry: di:8\n# specular: included\n"
    file.write_text(f"{stated}{head}\nswatch," + ",".join(["0.18"] * 31) + "\n")
    fields = {"seen": seen(page, number), "patch": "swatch"}
    answer = page.bring(f"/kept/{number}/swatch", fields, [("files", "own.csv", file)])
    assert answer.status == 200, answer.text
    # A flat reflectance of 0.18 is L* 116 * 0.18^(1/3) - 16 (CIE 15).
    assert found(folder).lab == pytest.approx([116 * 0.18 ** (1 / 3) - 16, 0, 0], abs=0.01)
    assert found(folder).said == "swatch of own.csv"
    wrong = fields | {"seen": seen(page, number), "patch": "another"}
    answer = page.bring(f"/kept/{number}/swatch", wrong, [("files", "own.csv", file)])
    assert answer.status == 400 and "expected one patch" in answer.json["line"]
    assert str(folder) not in answer.json["line"]  # its name alone


def test_a_photograph_of_a_swatch_is_touched_and_kept_as_seen(batch):
    page, folder, number = batch
    shown = page.drop(f"/kept/{number}/swatch", [PHOTOS / "slipway.jpg"]).json["path"]
    assert shown == f"/kept?batch={number}&photo=slipway.jpg#batch-{number}"
    start = shown.partition("#")[0]
    touched = page.get(f"{start}&white=44,405&touch=at&spot.x=149&spot.y=242").headers["location"]
    there = page.get(touched.partition("#")[0]).text
    assert "Evened by a white" in there and "It dried to this" in there
    form = {"photo": "slipway.jpg", "at": "149,242", "white": "44,405"}
    form["seen"] = re.search(r'name="seen" value="(\w+)"', there)[1]
    assert page.send(f"/kept/{number}/swatch", form).status == 200
    kept = found(folder)
    # A camera keeps the shine out of sight, so what was expected is calculated so too.
    assert kept.band > 1 and kept.expected.tolist() != LAB
    assert "good to within some 9" in page.get("/kept").text


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({}, "nothing was said"),
        ({"colour": "no such colour"}, "fits no tube"),
        ({"colour": "studio.db"}, "fits no tube"),
        ({"colour": "readings.txt"}, "is a file"),
        ({"photo": "nosuch.jpg", "at": "1,1"}, "isn't there any more"),
        ({"photo": "slipway.jpg", "at": "99999,1"}, "outside the picture"),
    ],
)
def test_a_swatch_that_cannot_be_is_refused(batch, form, words):
    page, folder, number = batch
    page.drop("/mix/photo", [PHOTOS / "slipway.jpg"])
    answer = page.send(f"/kept/{number}/swatch", form | {"seen": seen(page, number)})
    assert answer.status == 400 and words in answer.json["line"]
    assert found(folder) is None
    assert page.send("/kept/99/swatch", form).status == 400


def test_where_nothing_is_kept_the_way_to_mix_is_shown(demo_page):
    assert "Nothing is kept yet" in demo_page.get("/kept").text
    assert 'class="fault"' not in demo_page.get("/kept?batch=7&photo=nosuch.jpg").text


def test_a_spot_outside_says_so_in_its_place(batch):
    page, _, number = batch
    page.drop("/mix/photo", [PHOTOS / "slipway.jpg"])
    text = page.get(f"/kept?batch={number}&photo=slipway.jpg&at=99999,1").text
    assert "outside the picture" in text and text.count('class="fault"') == 1
