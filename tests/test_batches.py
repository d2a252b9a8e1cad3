"""Kept batches are told as they were measured out: on labels, in the list and on the page."""

from __future__ import annotations

import re
import shutil

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.asked_colour import parse_target
from tintladder.database.easel.basis import names_of
from tintladder.database.easel.batches import batch_words, kept_portions, portions_of
from tintladder.database.easel.habits import remember
from tintladder.database.easel.prediction import MixRequest, predicted_mix
from tintladder.database.easel.recipe import Quantity, RecipeRequest, amounts, recipe_question
from tintladder.database.easel.swatches import dried, keep_swatch
from tintladder.database.mixing.measures import SPOONS, Portions, Tint, amount_words, scale
from tintladder.database.mixing.target import of_lab
from tintladder.database.paper.of_studio import labels_of_pots
from tintladder.database.paper.pots import pot_labels
from tintladder.database.store.store import Store

from .command import run
from .test_sheets import text_of


@pytest.fixture
def store(demo, tmp_path):
    shutil.copytree(demo.folder, tmp_path / "demo")
    with Store.open(tmp_path / "demo") as opened:
        remember(opened, scale=0.1)
        yield opened


def keep(store, colour="88,2,-6", make="20g"):
    """Keep a recipe of little of a strong paint, and a batch of it."""
    request = RecipeRequest(parse_target(colour, store), must=("DUSK",), most=3, ways=1)
    ways = recipe_question(store, request).answer()
    first = ways.answer.recipes[0]
    recipe = store.recipes.keep("mist", first.parts, *ways.kept(first))
    made = amounts(ways, first, Quantity(make, measuring=remember(store).measuring)).batch
    batch = store.recipes.keep_batch(recipe, made.grams, "", kept_portions(made, ways.basis.manner))
    return made, recipe, batch


def test_a_batch_is_told_in_what_it_was_measured_with_and_tints_are_called_so(
    store, monkeypatch, capsys
):
    made, _, batch = keep(store)
    assert made.tints, "the test needs an amount too small for the scale"
    words = batch_words(batch, names_of(store), scale(0.1))
    printed = [float(x) for x in re.findall(r"([\d.]+) g", "; ".join(words))]
    assert sum(printed) == pytest.approx(20, abs=0.1)
    assert all(x == pytest.approx(round(x, 1), abs=1e-9) for x in printed)
    assert re.search(r"g Dusk Violet tint, 1 Dusk Violet to 9+ Hull White", "; ".join(words))
    folder = store.studio.folder
    listed = run(monkeypatch, capsys, "recipe", "--studio", folder).out
    label = text_of(labels_of_pots(store))
    for face in (listed, label):
        assert words[0].partition(" (")[0] in " ".join(face.split())
        assert not re.search(r"\d\.\d\d+ g", face)
        assert "Dusk Violet tint" in face


def test_a_label_shows_the_colour_of_what_was_measured_out(store):
    made, recipe, batch = keep(store)
    (kept,) = store.recipes.all()
    paints = {paint.nickname: paint for paint in store.paints.all()}
    (label,) = pot_labels([kept], paints, scale(0.1))
    literal = ",".join(f"{paint}={grams:.9f}" for paint, grams in batch.masses.items())
    look = predicted_mix(store, MixRequest(literal)).looks[0].lab()
    assert ciede2000(label.colour, look) < 0.05
    assert label.said.startswith("as predicted in films that hide, in gloss, D50/2°")
    keep_swatch(store, "mist", parse_target("85,2,-5", store))
    (kept,) = store.recipes.all()
    seen = dried(recipe, kept.batches[0])
    np.testing.assert_allclose(seen.expected, made.lab)
    assert pot_labels([kept], paints, scale(0.1))[0].said.startswith(
        "as it dried, in gloss, D50/2°"
    )


def test_grams_that_were_typed_are_told_no_finer_than_the_scale_shows(store):
    recipe = store.recipes.keep(
        "old", {"HULL": 0.9, "DUSK": 0.1}, {"said": "x"}, {"lab": [1, 2, 3]}
    )
    batch = store.recipes.keep_batch(recipe, {"HULL": 12.3456, "DUSK": 0.031})
    assert portions_of(batch, scale(0.1)).tints == ()
    names = {"HULL": "Hull White", "DUSK": "Dusk Violet"}
    lots = batch.lots or {}
    assert [w.partition(" (lot")[0] for w in batch_words(batch, names, scale(0.1))] == [
        "12.3 g Hull White", "under 0.1 g Dusk Violet",
    ]  # fmt: skip
    assert [w.partition(" (lot")[0] for w in batch_words(batch, names, scale(0.01))] == [
        "12.35 g Hull White", "0.03 g Dusk Violet",
    ]  # fmt: skip
    assert all(lot in batch_words(batch, names, scale(0.1))[i] for i, lot in
               enumerate(lots.get(p, "") or "" for p in batch.masses))  # fmt: skip


def test_portions_are_kept_whole():
    portions = Portions(SPOONS, {"HULL": 2.25, "DUSK": 1.0}, (Tint("DUSK", "HULL", 2),))
    again = Portions.of_kept(portions.kept)
    assert again == portions
    assert again.total == 3.25 and again.tint("DUSK").parts == 99
    assert amount_words(0.0, SPOONS) == "0 spoon" and amount_words(0.1, SPOONS) == "under ¼ spoon"


def test_a_recipe_of_another_condition_is_expected_under_its_own(store):
    """A batch is only compared with what was measured out where both were looked at alike."""
    _, _, batch = keep(store)
    read = of_lab(85, 2, -5)
    remember(store, finish="matt")
    keep_swatch(store, "mist", parse_target("85,2,-5", store))
    (kept,) = store.recipes.all()
    swatch = kept.batches[0].swatch
    assert swatch["viewing"] == {"finish": "matt"} and swatch["expected"] != batch.portions["lab"]
    assert swatch["lab"] == read.lab.tolist()
