"""What batches dried to comes back: bands of later mixes of those paints, with a word how."""

from __future__ import annotations

import shutil

import numpy as np
import pytest
from tintladder.database.easel.additions import AdditionRequest, addition_question
from tintladder.database.easel.asked_colour import parse_target
from tintladder.database.easel.experience import DriedBatch, dried_batches, widening
from tintladder.database.easel.prediction import MixRequest, predicted_mix
from tintladder.database.easel.recipe import RecipeRequest, recipe_question
from tintladder.database.easel.setting_out import SetOutRequest, setout_question, wanted_each
from tintladder.database.easel.swatches import keep_swatch
from tintladder.database.mixing.target import of_lab
from tintladder.database.store.store import Store

from .command import run

SEA = ("STARBOARD", "HULL")


@pytest.fixture
def store(demo, tmp_path):
    shutil.copytree(demo.folder, tmp_path / "demo")
    with Store.open(tmp_path / "demo") as opened:
        yield opened


def batches(*squares, paints=SEA):
    return [DriedBatch(paints, square) for square in squares]


def test_bands_widen_narrow_or_stay_by_what_came_of_them():
    assert widening([], SEA).times == 1 and widening([], SEA).words == ""
    assert widening(batches(1.0, 1.0, 1.0), SEA).times == pytest.approx(1)
    far = widening(batches(9.0, 4.0, 6.0), SEA)
    assert far.times == pytest.approx(np.sqrt((4 + 19) / 7))
    assert "3 dried batches of some of these paints came farther" in far.words
    near = widening(batches(0.1, 0.2, 0.0), SEA)
    assert 0.7 <= near.times < 0.9 and "nearer to what was expected" in near.words
    assert widening(batches(*[400.0] * 9), SEA).times == 3.0


def test_only_batches_of_those_paints_count():
    known = batches(16.0, 16.0)
    assert widening(known, ("BUOY", "ROPE")).times == 1
    assert widening(known, ("BUOY", "ROPE")).batches == 0
    shared = widening(known, ("HULL", "BUOY"))
    assert 1 < shared.times < widening(known, SEA).times


def test_bands_that_were_too_narrow_hold_once_batches_came_back():
    """Invented studios whose mixes truly scatter 1.6 times as far as is stated."""
    rng = np.random.default_rng(1)
    before, after = [], []
    for _ in range(400):
        # A colour's three directions of one standard deviation each; 2.8 of it hold 95 of 100.
        off = 1.6 * np.linalg.norm(rng.standard_normal((9, 3)), axis=1) / 2.8
        known = batches(*(off[:8] ** 2 / 0.35))
        before.append(off[8] <= 1)
        after.append(off[8] <= widening(known, SEA).times)
    assert np.mean(before) < 0.8 and 0.86 <= np.mean(after) <= 0.97


def test_every_face_uses_what_batches_dried_to(store, monkeypatch, capsys):
    target = parse_target("62,-18,-9", store)
    asked = RecipeRequest(target, must=SEA, most=2, ways=1)
    first = recipe_question(store, asked).answer()
    way = first.answer.recipes[0]
    recipe = store.recipes.keep("sea", way.parts, *first.kept(way))
    assert recipe.predicted["model_band_de00"] == pytest.approx(way.band)
    other = predicted_mix(store, MixRequest("BUOY=1,ROPE=1")).looks[0].band
    heap = {p: 10 * share for p, share in way.parts.items()}
    before = addition_question(store, AdditionRequest(target, (heap,))).answer().unsure
    for lightness in (68, 69, 67):
        store.recipes.keep_batch(recipe, heap)
        keep_swatch(store, "sea", of_lab(lightness, -17, -10))
    assert len(dried_batches(store)) == 3
    again = recipe_question(store, asked).answer().answer.recipes[0]
    assert again.band > 1.5 * way.band and again.lab == pytest.approx(way.lab)
    # Kept anew it isn't counted twice.
    second = recipe_question(store, asked).answer()
    _, kept = second.kept(second.answer.recipes[0])
    assert kept["model_band_de00"] == pytest.approx(way.band)
    assert predicted_mix(store, MixRequest("BUOY=1,ROPE=1")).looks[0].band == pytest.approx(other)
    after = addition_question(store, AdditionRequest(target, (heap,))).answer().unsure
    assert after > before
    out = SetOutRequest(wanted_each([target]), must=("STARBOARD",), without=("ANCHOR", "DUSK"))
    dab = setout_question(store, out).answer().found.dabs[0]
    assert dab.recipe.band > 0
    said = run(
        monkeypatch, capsys, "predict", "STARBOARD=1,HULL=5", "--studio", store.studio.folder
    )
    assert "3 dried batches of some of these paints came farther" in said.out
