"""From wet to dry: what dabs teach of a medium, how surely, and that no face mixes both up.

The media here are invented: how much paint shifts as it dries differs from maker to maker.
"""

from __future__ import annotations

import re
import shutil

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.asked_colour import parse_target
from tintladder.database.easel.drying import mediums_of, one_medium, taught, teach
from tintladder.database.easel.heap import dab_of
from tintladder.database.easel.prediction import MixRequest, predicted_mix
from tintladder.database.easel.recipe import RecipeRequest, recipe_question
from tintladder.database.mixing.drying import MIDDLE, learn
from tintladder.database.mixing.target import of_lab
from tintladder.database.store.paints_file import NewPaint
from tintladder.database.store.store import Store

from .command import run

DRY = np.array([[20.0, 5.0, -20.0], [50.0, 30.0, 10.0], [80.0, -10.0, 25.0], [35.0, -12.0, -4.0]])


def wet_of(dry, shift, chroma):
    """An invented medium: lighter wet by `shift` at L* 50, and of 1 + `chroma` times the chroma."""
    wet = dry * [1, 1 + chroma, 1 + chroma]
    wet[:, 0] += shift * (100 - dry[:, 0]) / (100 - MIDDLE)
    return wet


@pytest.fixture
def store(demo, tmp_path):
    shutil.copytree(demo.folder, tmp_path / "demo")
    with Store.open(tmp_path / "demo") as opened:
        yield opened


@pytest.mark.parametrize(
    ("shift", "chroma", "words"),
    [
        (4.0, -0.15, "dries darker by some 4 L* at middle lightness, and by more in darks and is "
         "18 % more colourful dry than wet"),
        (-5.0, 0.0, "dries lighter by some 5 L* at middle lightness, and by more in darks"),
        (-3.0, 0.2, "dries lighter by some 3 L* at middle lightness, and by more in darks and is "
         "17 % less colourful dry than wet"),
        (0.0, 0.0, "keeps its lightness"),
    ],
)  # fmt: skip
def test_media_that_darken_lighten_lose_their_gloss_or_stay(shift, chroma, words):
    model = learn(wet_of(DRY, shift, chroma), DRY, np.full(4, 0.1))
    assert model.shift == pytest.approx(shift, abs=0.5)
    assert model.chroma == pytest.approx(chroma, abs=0.04)
    assert model.words == words
    white = np.array([98.0, 0.0, 1.0])
    assert model.wet(white).lab == pytest.approx(tuple(white), abs=0.3)
    seen = np.array([45.0, 12.0, -15.0])
    back = model.dry(np.array(model.wet(seen).lab))
    assert back.lab == pytest.approx(tuple(seen), abs=1e-9)


def test_more_dabs_are_surer_and_what_scatters_is_not():
    wet = wet_of(DRY, 3.0, -0.1)
    one, four = (learn(wet[:n], DRY[:n], np.full(n, 0.2)) for n in (1, 4))
    seen = np.array([40.0, 20.0, 0.0])
    assert four.wet(seen).band < 0.7 * one.wet(seen).band
    rng = np.random.default_rng(3)
    rough = learn(wet + rng.normal(0, 3, wet.shape), DRY, np.full(4, 0.2))
    assert rough.scatter > four.scatter and rough.wet(seen).band > four.wet(seen).band
    assert four.wet(seen, 3.0).band == pytest.approx(np.hypot(3.0, four.wet(seen).band))


@pytest.mark.parametrize("pairs", [1, 2, 4, 8])
def test_bands_hold_what_dabs_dry_to(pairs):
    """Of many invented studios, each with a medium and a scatter of its own, 95 of 100 hold."""
    rng = np.random.default_rng(pairs)
    held = []
    for _ in range(300):
        shift, chroma = rng.normal(0, 4), rng.normal(0, 0.15)
        scatter = 1.5 * np.sqrt(4 / rng.chisquare(4))
        dry = np.column_stack([rng.uniform(15, 90, pairs + 4), rng.normal(0, 25, (pairs + 4, 2))])
        wet = wet_of(dry, shift, chroma) + rng.normal(0, scatter, dry.shape)
        model = learn(wet[:pairs], dry[:pairs], np.full(pairs, 0.2))
        for one, other in zip(dry[pairs:], wet[pairs:], strict=True):
            look = model.wet(one)
            held.append(ciede2000(np.array(look.lab), other) <= look.band)
    assert 0.92 <= np.mean(held) <= 0.98


def test_a_studio_is_taught_and_says_so(store):
    mix = {"STARBOARD": 1.0, "HULL": 8.0}
    assert taught(store) == {}
    assert predicted_mix(store, MixRequest("BUOY=1,HULL=3")).wet is None
    teach(store, mix, parse_target("66,-20,-2", store), parse_target("62,-23,-3", store))
    teach(store, {"PITCH": 1.0}, parse_target("20,0,1", store), parse_target("13,0,0", store))
    (model,) = taught(store).values()
    assert model.pairs == 2 and model.shift > 1
    found = predicted_mix(store, MixRequest("BUOY=1,HULL=3"))
    dry = found.looks[0]
    assert found.wet.lab[0] > dry.lab()[0] and found.wet.band > dry.band
    ways = recipe_question(store, RecipeRequest(of_lab(40, 10, 15), most=2, ways=1)).answer()
    assert ways.wet(ways.answer.recipes[0]).lab[0] > ways.answer.recipes[0].lab[0]
    # What an instrument reads is dry, and so is a film over its ground.
    assert predicted_mix(store, MixRequest("BUOY=1", as_read=True)).wet is None
    for row in store.dryings.all():
        assert store.dryings.forget(row.id)
    assert taught(store) == {} and not store.dryings.forget(99)


def test_what_cannot_be_drying_is_refused(store):
    there = parse_target("62,-23,-3", store)
    with pytest.raises(InputError, match="no paint changes so much"):
        teach(store, {"HULL": 1.0}, parse_target("90,30,40", store), there)
    with pytest.raises(InputError, match="isn't known"):
        dab_of(store, there, 8.0, ["HULL", "STARBOARD"], wet=True)
    assert one_medium({"A": "oil", "B": "acrylic"}, ["A", "B"]) is None
    assert one_medium({"A": "oil", "B": "acrylic"}, ["A", "MEDIUM"]) == "oil"
    there_was = store.paints.find("HULL")
    store.paints.change(
        "HULL", NewPaint("HULL", there_was.name, pigments=("PW6",), binder="Linseed")
    )
    assert mediums_of(store)["HULL"] == "linseed"
    with pytest.raises(InputError, match="of several binders"):
        teach(store, {"HULL": 1.0, "STARBOARD": 1.0}, there, there)
    assert store.dryings.all() == []


def test_commands_hold_a_wet_heap_against_a_wet_prediction_alone(store, monkeypatch, capsys):
    def tool(*arguments):
        return run(monkeypatch, capsys, *arguments, "--studio", store.studio.folder)

    plate = ("next", "62,-18,-9", "--clear", "--add", "HULL=8,STARBOARD=1")
    assert "Nothing was taught yet" in tool("drying").out
    before = tool(*plate).out
    assert "dry a dab and look" in tool("setout", "62,-18,-9").out
    assert "wet paint isn't yet its colour" in before and "Wet, the plate" not in before
    untaught = tool("next", "62,-18,-9", "--dab", "58,-20,-4", "--heap", "9", "--wet")
    assert untaught.status == 2 and "tintladder drying" in untaught.err
    said = tool("drying", "STARBOARD=1,HULL=8", "--wet", "66,-20,-2", "--dry", "62,-23,-3")
    assert said.status == 0 and "dries darker" in said.out
    after = tool(*plate)
    assert "Wet, the plate should look" in after.out and "the aim looks" in after.out
    asked = tool(*plate, "--json").json
    assert asked["wet_now"]["lab"][0] > asked["now_lab"][0]
    assert asked["wet_aim"]["lab"][0] > 62
    assert "Wet it looks" in tool("predict", "STARBOARD=1,HULL=8").out
    set_out = tool("setout", "62,-18,-9")
    assert "Wet on the plate it looks" in set_out.out and "dry a dab and look" not in set_out.out
    (colour,) = tool("setout", "62,-18,-9", "--json").json["colours"]
    assert colour["wet"]["lab"][0] > colour["made_lab"][0] + 1
    assert "wet on the plate it looks" in tool("recipe", "62,-18,-9", "--tubes", "2").out.lower()
    dab = tool("next", "62,-18,-9", "--dab", "66,-20,-2", "--heap", "9", "--wet", "--json")
    assert dab.json["dab"]["lab"][0] < 65 and dab.json["dab"]["band_de00"] > 1
    assert "as it will dry" in dab.json["dab"]["said"]
    for slip, words in (
        (("drying", "HULL=1", "--wet", "60,0,0"), "expected both dabs"),
        (("drying", "--wet", "60,0,0", "--dry", "58,0,0"), "expected the mix"),
        (("drying", "--forget", "7"), "no such pair"),
        (("drying", "HULL=1", "--wet", "60,0,0", "--dry", "x y"), "expected a colour"),
        (("drying", "HULL=1", "--wet", "6,0,0", "--dry", "9,0,0", "--grey", "1,2"), "photograph"),
    ):
        refused = tool(*slip)
        assert refused.status == 2 and words in refused.err


def test_the_page_teaches_and_forgets(own_page):
    page, folder = own_page
    assert "Nothing yet" in page.get("/drying").text
    form = {"mix": "STARBOARD=1,HULL=8", "wet": "66,-20,-2", "dry": "62,-23,-3"}
    assert page.send("/drying", form).json["path"] == "/drying#pairs"
    text = re.sub(r"<[^>]+>|\s+", " ", page.get("/drying").text)
    text = " ".join(text.split())
    assert "dries darker" in text and "8 Hull White" in text
    assert "Wet it looks" in page.get("/predict?p:STARBOARD=1&p:HULL=8").text
    for slip, words in (
        ({"mix": "NOSUCH=1"}, "fits no tube"),
        ({"wet": ""}, "say both dabs"),
        ({"dry": "10,0,0"}, "no paint changes so much"),
    ):
        refused = page.send("/drying", form | slip)
        assert refused.status == 400 and words in refused.json["line"]
    with Store.open(folder) as store:
        (row,) = store.dryings.all()
    assert page.send(f"/drying/{row.id}/forget", {}).status == 200
    assert page.send(f"/drying/{row.id}/forget", {}).status == 400
    assert page.send("/drying/x/forget", {}).status == 400
