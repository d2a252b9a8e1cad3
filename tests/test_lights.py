"""The light that the studio remembers: colours are matched, shown and kept under it."""

from __future__ import annotations

import shutil

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import View, ciede2000, lab
from tintladder.database.easel.additions import AdditionRequest, addition_question
from tintladder.database.easel.asked_colour import kept_viewing, parse_target
from tintladder.database.easel.habits import habits, remember
from tintladder.database.easel.prediction import MixRequest, greying, predicted_mix
from tintladder.database.easel.reach import ReachRequest, reach_question
from tintladder.database.easel.recipe import RecipeRequest, recipe_question
from tintladder.database.easel.setting_out import SetOutRequest, setout_question, wanted_each
from tintladder.database.mixing.target import of_lab
from tintladder.database.mixing.viewing import AS_SEEN, Viewing
from tintladder.database.paper.of_studio import mixing_chart
from tintladder.database.store.store import Store

from .command import run
from .test_sheets import text_of

LAMP = View("A")
SAME = 0.3


@pytest.fixture
def store(demo, tmp_path):
    shutil.copytree(demo.folder, tmp_path / "demo")
    with Store.open(tmp_path / "demo") as opened:
        yield opened


@pytest.fixture
def lit(store):
    remember(store, light="A")
    return store


def test_a_reading_is_matched_under_the_light(lit):
    """CIELAB of a spectrum under an illuminant: ISO/CIE 11664-4, with its white as white."""
    target = parse_target("mixtures/kelp", lit)
    assert target.viewing.view == LAMP
    np.testing.assert_allclose(target.lab, lab(target.reflectance, view=LAMP)[0], atol=1e-9)
    assert ciede2000(target.lab, lab(target.reflectance)[0]) > 1, "the lamp changes nothing"
    ways = recipe_question(lit, RecipeRequest(target, most=3, ways=2)).answer()
    assert ways.basis.view == LAMP and ways.basis.said["light"] == "A"
    assert "under lamplight (A/2°)" in ways.basis.manner.viewing.words
    for way in ways.answer.recipes:
        there = lab(way.reflectance, view=LAMP)[0]
        np.testing.assert_allclose(way.lab, there, atol=1e-9)
        assert way.difference == pytest.approx(float(ciede2000(there, target.lab)), abs=0.05)
        assert set(way.lights) == {"D50", "D65", "LED-B3"} == set(way.light_bands)


def test_figures_of_a_colour_stay_under_another_light(lit):
    target = parse_target("62,-18,-9", lit)
    assert target.lab.tolist() == [62.0, -18.0, -9.0]
    assert target.viewing == Viewing("gloss", light="A")


def test_what_one_command_shows_the_others_take_under_the_same_light(lit):
    mix = "BUOY=1,HULL=3,ROPE=1"
    found = predicted_mix(lit, MixRequest(mix))
    there = found.looks[0].lab()
    np.testing.assert_allclose(there, lab(found.looks[0].reflectance[None],
                               found.basis.read.wavelengths, LAMP)[0], atol=1e-9)  # fmt: skip
    assert ciede2000(there, found.looks[0].lab(View())) > 1
    typed = habits(lit).meant(of_lab(*(round(float(x), 1) for x in there)))
    heap = {"BUOY": 1.0, "HULL": 3.0, "ROPE": 1.0}
    assert addition_question(lit, AdditionRequest(typed, (heap,))).answer().found.off < SAME
    out = setout_question(lit, SetOutRequest(wanted_each([typed]), within=1.0)).answer()
    assert out.basis.view == LAMP
    (made,) = out.heaps
    of = ",".join(f"{paint}={grams:.6f}" for paint, grams in made.grams.items())
    again = predicted_mix(lit, MixRequest(of)).looks[0].lab()
    assert ciede2000(again, made.lab) < SAME
    near = reach_question(lit, ReachRequest(typed)).answer()
    assert near.basis.view == LAMP and near.nearest is not None and near.nearest.nearest < 1
    assert ciede2000(greying(lit, MixRequest(mix)).found.lab, there) < 1e-6
    assert "under lamplight (A/2°)" in text_of(mixing_chart(lit, ["BUOY", "ROPE"]))


def test_a_kept_recipe_keeps_its_light(lit):
    ways = recipe_question(lit, RecipeRequest(of_lab(55, 20, 15), most=2)).answer()
    assert ways.basis.view == View(), "a target says how it is meant"
    ways = recipe_question(lit, RecipeRequest(parse_target("55,20,15", lit), most=2)).answer()
    first = ways.answer.recipes[0]
    lit.recipes.keep("lantern-glow", first.parts, *ways.kept(first))
    remember(lit, light="D65")
    again = recipe_question(lit, RecipeRequest(kept="lantern-glow")).answer()
    assert again.basis.view == LAMP
    assert again.answer.recipes[0].lab == pytest.approx(first.lab, abs=1e-6)
    assert parse_target("lantern-glow", lit).viewing.view == LAMP
    assert parse_target("55,20,15", lit).viewing.view == View("D65")


def test_what_was_kept_before_lights_were_is_under_d50():
    assert kept_viewing({"viewing": {"finish": "gloss"}}) == AS_SEEN
    assert AS_SEEN.said == {"finish": "gloss"}
    assert Viewing.of_kept(Viewing("matt", light="A").said) == Viewing("matt", light="A")


def test_the_light_is_remembered_and_said_by_the_commands(store, monkeypatch, capsys):
    def tool(*arguments):
        return run(monkeypatch, capsys, *arguments, "--studio", store.studio.folder)

    said = tool("predict", "BUOY=1,HULL=3", "--light", "A")
    assert said.status == 0 and "under lamplight (A/2°)" in said.out
    assert "under lamplight (A/2°)" in tool("next", "60,20,10", "--add", "HULL=5").out
    assert tool("recipe", "60,20,10", "--tubes", "2", "--json").json["light"] == "A"
    refused = tool("recipe", "60,20,10", "--light", "candle")
    assert refused.status == 2 and "expected D50, D65, A" in refused.err
    with pytest.raises(InputError, match="expected D50"):
        remember(store, light="candle")
    assert habits(store).light == "A"
