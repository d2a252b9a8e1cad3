"""The service behind both faces: what an answer rests on, and that no studio is open meanwhile."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.additions import AdditionRequest, addition_question
from tintladder.database.easel.asked_colour import parse_target
from tintladder.database.easel.habits import Measuring
from tintladder.database.easel.heap import dab_of, heap_question
from tintladder.database.easel.prediction import MixRequest, greying, predicted_mix
from tintladder.database.easel.reach import ReachRequest, reach_question
from tintladder.database.easel.recipe import (
    Quantity,
    RecipeRequest,
    amounts,
    recipe_question,
)
from tintladder.database.easel.setting_out import SetOutRequest, setout_question, wanted_each
from tintladder.database.mixing.film import Film
from tintladder.database.mixing.target import of_lab
from tintladder.database.mixing.viewing import AS_SEEN, Viewing
from tintladder.database.store.store import Store

LAID_OUT = ("HULL", "BUOY", "ROPE")


@pytest.fixture
def store(own_demo):
    with Store.open(own_demo) as opened:
        yield opened


def test_an_answer_needs_no_studio(store):
    target = of_lab(55, 20, 15)
    dab = dab_of(store, parse_target("BUOY 3:1", store), 8.0, ["HULL", "BUOY"])
    plate = ({"HULL": 3.0, "BUOY": 1.0}, {"MEDIUM": 1.0})
    questions = [
        recipe_question(store, RecipeRequest(target, laid_out=LAID_OUT, most=2)),
        addition_question(store, AdditionRequest(target, plate)),
        heap_question(store, dab),
        reach_question(store, ReachRequest(target, laid_out=LAID_OUT, most=2)),
        setout_question(store, SetOutRequest(wanted_each([target]), most=2)),
    ]
    folder = store.studio.folder
    store.close()
    away = folder.with_name("away")
    folder.rename(away)
    try:
        assert not Path(folder).exists()
        for question in questions:
            assert question.answer() is not None
    finally:
        away.rename(folder)


def test_an_answer_carries_all_that_it_rests_on(store):
    request = RecipeRequest(of_lab(55, 20, 15), laid_out=LAID_OUT, most=2, finish="satin")
    basis = recipe_question(store, request).basis
    assert basis.manner.viewing == Viewing("satin") and basis.manner.film is None
    assert str(basis.view) == "D50/2°" and basis.model in basis.said["model"]
    assert {tube.nickname for tube in basis.tubes} == set(LAID_OUT)
    lots = {paint.nickname: paint.current_lot for paint in store.paints.all()}
    for tube in basis.tubes:
        lot = lots[tube.nickname]
        assert tube.lot == lot.lot and tube.density_assumed == (lot.density is None)
    assert dict(basis.fits) == {
        paint: fit for paint, fit in store.fits.current(basis.model).items() if paint in LAID_OUT
    }
    assert set(basis.said) == {
        "viewing", "film", "light", "observer_degrees", "model", "models", "lots",
        "out_of_date",
    }  # fmt: skip


def test_another_question_has_another_key(store):
    request = RecipeRequest(of_lab(55, 20, 15), laid_out=LAID_OUT)
    keys = {
        recipe_question(store, each).key
        for each in (
            request,
            replace(request, finish="matt"),
            replace(request, film=Film(20.0)),
            replace(request, film=Film(20.0), without=("MEDIUM",)),
            replace(request, must=("BUOY",)),
            replace(request, most=2),
            replace(request, laid_out=LAID_OUT[:2]),
            replace(request, target=of_lab(55, 20, 16)),
        )
    }
    assert len(keys) == 8
    assert recipe_question(store, request).key in keys


def test_what_a_scale_may_cost_is_that_of_rounding_by_chance(store):
    ways = recipe_question(
        store, RecipeRequest(of_lab(60, 25, 20), laid_out=LAID_OUT, most=2)
    ).answer()
    recipe = ways.answer.recipes[0]
    found = amounts(ways, recipe, Quantity("10g", measuring=Measuring(step=0.1)))
    palette, c = ways.basis.palette, ways.basis.palette.coefficients
    grams = np.array([found.first.amounts.get(p, 0.0) for p in palette.paints])
    assert found.first.tints == ()
    # JCGM 101: amounts off by up to half a step, all alike likely.
    rng = np.random.default_rng(7)
    drawn = grams + rng.uniform(-0.05, 0.05, (4000, len(grams))) * (grams > 0)
    dry = drawn * c.dry_volume
    colours = palette.lab(dry / dry.sum(axis=1, keepdims=True))
    exact = palette.lab((grams * c.dry_volume / (grams @ c.dry_volume))[None])
    off = ciede2000(colours, np.broadcast_to(exact, colours.shape))
    assert found.first.weighing == pytest.approx(float(np.sqrt((off**2).mean())), rel=0.1)


def test_a_kept_recipe_is_mixed_again_as_it_was_kept(store):
    request = RecipeRequest(
        of_lab(60, 25, 20), laid_out=LAID_OUT, most=2, finish="matt", film=Film(80.0, "black")
    )
    ways = recipe_question(store, request).answer()
    first = ways.answer.recipes[0]
    store.recipes.keep("keel-haze", first.parts, *ways.kept(first))
    again = recipe_question(store, RecipeRequest(kept="keel-haze")).answer()
    assert again.basis.manner == ways.basis.manner
    assert again.answer.recipes[0].lab == pytest.approx(first.lab, abs=1e-6)
    assert parse_target("keel-haze", store).viewing == Viewing("matt")
    with pytest.raises(InputError, match="is no kept recipe"):
        recipe_question(store, RecipeRequest(kept="nosuch"))


def test_medium_changes_no_plate_that_hides(store):
    target = of_lab(55, 20, 15)
    plain = addition_question(store, AdditionRequest(target, ({"HULL": 3.0, "BUOY": 1.0},)))
    clear = {"HULL": 3.0, "BUOY": 1.0, "MEDIUM": 2.0}
    thinned = addition_question(store, AdditionRequest(target, (clear,)))
    one, other = plain.answer(), thinned.answer()
    # Opaque paint is as its K over S is (Kubelka and Munk 1931); medium has next to none of either.
    assert other.found.now == pytest.approx(one.found.now, abs=0.1)
    assert other.found.off == pytest.approx(one.found.off, abs=0.1)
    assert all(np.isfinite(grams) for grams in other.found.additions.values())


def test_a_predicted_mix_and_its_greying_are_looked_at_alike(store):
    request = MixRequest("BUOY=1,STARBOARD=2,MEDIUM=1", finish="gloss")
    looks, grey = predicted_mix(store, request), greying(store, request)
    assert looks.basis.manner == grey.basis.manner and "MEDIUM" not in grey.parts
    assert looks.basis.manner.viewing == AS_SEEN
    assert grey.found.lab == pytest.approx(looks.looks[0].lab(), abs=0.2)
    with pytest.raises(InputError, match="medium alone"):
        greying(store, MixRequest("MEDIUM=1"))
