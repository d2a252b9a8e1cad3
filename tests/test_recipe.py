"""Recipes: what is asked for, how they are ranked, amounts, order, and the command."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import View, ciede2000, lab
from tintladder.calibrate.optics.predict import dry_fractions, predict
from tintladder.calibrate.optics.spectra import GRID
from tintladder.database.easel.asked_colour import parse_target
from tintladder.database.mixing.made import as_made
from tintladder.database.mixing.measures import (
    MEASURES,
    SPOONS,
    WEIGHED_PARTS,
    amount_words,
    area_grams,
    batch_grams,
)
from tintladder.database.mixing.order import hold_back, lab_of, order_of, too_much, waste
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.ranking import clumsiness, special_metamerism
from tintladder.database.mixing.recipes import lacks, recipes
from tintladder.database.mixing.target import of_hex, of_lab, of_spectrum
from tintladder.database.store.store import Store

from tests.command import run
from tests.invented_palette import invented_coefficients

C = invented_coefficients(10)
PALETTE = Palette(C)
KELP = {"ROPE": 0.6, "STARBOARD": 0.2, "HULL": 0.2}


def target_of(mix):
    return of_spectrum("a mix", predict(C, dry_fractions(C, [mix])).reflectance[0])


def test_a_mix_comes_back_first():
    answer = recipes(C, target_of(KELP))
    first = answer.recipes[0]
    assert list(first.parts) == ["ROPE", "STARBOARD", "HULL"] or set(first.parts) == set(KELP)
    for name, share in KELP.items():
        assert first.parts[name] == pytest.approx(share, rel=0.02)
    assert first.difference < 0.05 and max(first.lights.values()) < 0.05
    assert answer.reachable and answer.searched == 10 + 45 + 120 + 210


def test_ways_are_really_different():
    ways = [set(r.parts) for r in recipes(C, of_lab(60, -10, -15), ways=5).recipes]
    assert len(ways) >= 3
    for i, one in enumerate(ways):
        for other in ways[:i]:
            assert len(one ^ other) >= 2 and not one >= other


def test_with_and_without():
    answer = recipes(C, target_of(KELP), must=("LANTERN",))
    assert all("LANTERN" in r.parts for r in answer.recipes)
    with pytest.raises(InputError, match="allow 5 tubes"):
        recipes(C, target_of(KELP), most=4, must=C.paints[:5])


def test_unreachable_says_what_is_missing():
    answer = recipes(C, of_lab(55, 90, 60))
    assert not answer.reachable and answer.nearest > 5
    assert "cleaner" in answer.missing


def test_lacks_in_words():
    assert "lighter" in lacks(np.array([50.0, 0, 0]), np.array([60.0, 0, 0]))
    assert "greyer" in lacks(np.array([50.0, 30, 0]), np.array([50.0, 10, 0]))
    assert "toward yellow" in lacks(np.array([50.0, 40, 20]), np.array([50.0, 30, 34]))


def test_clumsiness_is_that_of_draws():
    shares = dry_fractions(C, [KELP])
    rng = np.random.default_rng(1)
    drawn = shares * (1 + 0.1 * rng.standard_normal((4000, 10)))
    near = PALETTE.lab(shares)[0]
    off = ciede2000(PALETTE.lab(drawn / drawn.sum(axis=1, keepdims=True)), near)
    assert clumsiness(PALETTE, shares, near)[0] == pytest.approx(np.sqrt((off**2).mean()), rel=0.06)


def test_special_metamerism_by_hand():
    """CIE 15: corrected to a match under the first light, the difference under the second."""
    rng = np.random.default_rng(2)
    one, other = 0.4 + 0.1 * np.sin(GRID / 40), 0.42 + 0.1 * np.sin(GRID / 35)
    found = special_metamerism(np.stack([one, other]), other, GRID)
    assert found["A"][1] == pytest.approx(0, abs=1e-9)
    assert found["A"][0] > found["D65"][0] > 0.1
    # A pair that matches needs no correction: its index is the plain difference.
    basis = rng.standard_normal((36, 40))
    from tintladder.calibrate.optics.colour import weights

    null = basis - weights()[0] @ np.linalg.lstsq(weights()[0], basis, rcond=None)[0]
    twin = other + 0.02 * null[:, 0] / np.abs(null[:, 0]).max()
    plain = ciede2000(lab(twin[None], GRID, View("A")), lab(other[None], GRID, View("A")))
    assert special_metamerism(twin[None], other, GRID)["A"] == pytest.approx(plain, rel=1e-6)


@pytest.mark.parametrize("measure", MEASURES, ids=lambda m: m.name)
def test_amounts_are_whole_steps_and_cost_what_they_say(measure):
    goal = lab_of(PALETTE, [KELP])[0]
    found = as_made(PALETTE, KELP, goal, measure)
    steps = np.array(list(found.amounts.values())) / measure.step
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
    assert (steps >= 1).all()
    by_weight = {
        p: a * (C.density[C.index(p)] if measure.by_volume else 1) for p, a in found.amounts.items()
    }
    made = lab_of(PALETTE, [by_weight])[0]
    assert found.moved == pytest.approx(ciede2000(made, goal), abs=1e-9)
    assert found.moved < 1.0


def test_whole_parts_of_a_simple_mix_are_the_simple_ones():
    found = as_made(PALETTE, KELP, lab_of(PALETTE, [KELP])[0], WEIGHED_PARTS)
    assert found.amounts == {"ROPE": 3.0, "STARBOARD": 1.0, "HULL": 1.0}
    assert found.moved < 1e-6


def test_amounts_in_words():
    assert amount_words(2.25, SPOONS) == "2 ¼ spoons"
    assert amount_words(0.75, SPOONS) == "¾ spoon"
    assert amount_words(3.0, WEIGHED_PARTS) == "3 parts"
    spoons, ml = (batch_grams(C, {"HULL": 1.0}, text) for text in ("2 spoons", "10ml"))
    assert spoons == pytest.approx(ml)
    assert amount_words(0.35, MEASURES[0]) == "0.35 g"


def test_order_begins_with_the_bulk():
    steps = order_of(PALETTE, {"DUSK": 0.03, "HULL": 0.9, "BUOY": 0.07})
    assert steps.steps[0].paint == "HULL" and steps.steps[0].hold_back == 0
    assert all(s.hold_back >= 0.25 for s in steps.steps[1:])
    turned = steps.steps[::-1]
    held = [hold_back(step.too_much) for step in turned]
    assert steps.waste < waste(np.array([s.share for s in turned]), np.array(held)).mean()
    np.testing.assert_allclose(
        steps.steps[-1].lab, lab_of(PALETTE, [{"DUSK": 0.03, "HULL": 0.9, "BUOY": 0.07}])[0]
    )


def test_too_much_makes_a_difference_of_one():
    found = too_much(PALETTE, KELP)
    goal = lab_of(PALETTE, [KELP])[0]
    for name, extra in found.items():
        more = {**KELP, name: KELP[name] * (1 + extra)}
        assert ciede2000(lab_of(PALETTE, [more])[0], goal) == pytest.approx(1, abs=0.03)
    assert too_much(PALETTE, {"HULL": 1.0})["HULL"] == np.inf


def test_a_sure_hand_wastes_nothing_twice():
    masses = np.array([0.7, 0.3])
    assert (waste(masses, np.array([0.0, 0.5])) >= 0).all()
    # Less held back is more overshot.
    assert waste(masses, np.array([0, 0.0]), 1, 20000).mean() > (
        waste(masses, np.array([0, 0.5]), 1, 20000).mean()
    )


def test_amount_to_make():
    grams = batch_grams(C, {"HULL": 1.0}, "40ml")
    assert grams == pytest.approx(40 * C.density[0])
    assert batch_grams(C, KELP, "25 g") == 25
    # 40 x 50 cm, 2 coats of 30 µm dry: 2000 cm² x 0.006 cm = 12 ml dry, and a tenth lost.
    dry = area_grams(C, {"HULL": 1.0}, "40x50cm", 2) * C.dry_volume[0]
    assert dry == pytest.approx(1.1 * 12)
    for text in ("40", "-3ml", "much"):
        with pytest.raises(InputError, match="40ml"):
            batch_grams(C, KELP, text)


def test_hex_of_known_colours():
    # sRGB white is D50's white once adapted; mid grey #777777 has L* 50.03 (IEC 61966-2-1).
    np.testing.assert_allclose(of_hex("#ffffff").lab, [100, 0, 0], atol=0.02)
    np.testing.assert_allclose(of_hex("#777").lab, [50.03, 0, 0], atol=0.03)
    # Red, from published tables of sRGB under D50: 54.29, 80.80, 69.89 (from memory).
    np.testing.assert_allclose(of_hex("ff0000").lab, [54.29, 80.80, 69.89], atol=0.05)
    for text in ("#12", "#ggg", "#1234567"):
        with pytest.raises(InputError, match="#rrggbb"):
            of_hex(text)


def test_targets_of_every_kind(own_demo, tmp_path):
    with Store.open(own_demo) as store:
        assert parse_target("62, -18, -9", store).reflectance is None
        assert parse_target("#5f8ea0", store).estimate
        tint = parse_target("ANCHOR 4:1", store)
        assert "4 : 1, white to colour" in tint.said
        assert tint.lab[0] > parse_target("anchor", store).lab[0]
        read = parse_target("mixtures/kelp", store)
        file = own_demo / "readings" / "mixtures.txt"
        white = parse_target(f"{file}::kelp/white", store)
        assert ciede2000(read.lab, white.lab) < 3
        for wrong in ("mixtures/nosuch", "HULLL", "1,2", "???", "120,0,0", str(file)):
            with pytest.raises(InputError):
                parse_target(wrong, store)


def test_command_finds_keeps_and_makes(own_demo, monkeypatch, capsys):
    def tintladder(*arguments):
        return run(monkeypatch, capsys, *arguments, "--studio", own_demo)

    said = tintladder("recipe", "mixtures/kelp", "--keep", "weed", "--json").json
    first = said["recipes"][0]
    assert set(first["parts"]) == {"ROPE", "STARBOARD", "HULL"}
    assert first["difference_de00"] < 1 and 0.3 < first["band_de00"] < 1
    assert first["order"][0]["paint"] == "ROPE"
    again = tintladder("recipe", "weed", "--make", "40ml", "--json").json
    assert len(again["recipes"]) == 1
    weighed = again["recipes"][0]["amounts"][0]["amounts"]
    assert 40 < sum(weighed.values()) < 80
    assert "a handy batch in the same ratio" in tintladder("recipe", "weed", "--make", "40ml").out
    shown = tintladder("recipe", "starboard", "--without", "starboard")
    assert "handy batch" not in shown.out
    assert shown.status == 0 and "Starboard Green:" not in shown.out.split("\n\n")[1]
    assert "95 of 100" in shown.out and "%" in shown.out
    for wrong, why in (
        (("recipe", "62,-18,-9", "--with", "NOSUCH"), "fits no tube"),
        (("recipe", "62,-18,-9", "--with", "HULL", "--without", "HULL"), "drop one"),
        (("recipe", "62,-18,-9", "--make", "lots"), "40ml"),
        (("recipe", "#12"), "#rrggbb"),
    ):
        found = tintladder(*wrong)
        assert found.status == 2 and why in found.err and found.err.count("\n") == 1


def test_tubes_that_are_out_are_not_used(own_demo, monkeypatch, capsys):
    run(monkeypatch, capsys, "tubes", "out", "ROPE", "--studio", own_demo)
    said = run(monkeypatch, capsys, "recipe", "mixtures/kelp", "--json", "--studio", own_demo).json
    assert all("ROPE" not in r["parts"] for r in said["recipes"])
    run(monkeypatch, capsys, "tubes", "on", "ROPE", "--studio", own_demo)


def test_predict_under_a_finish_by_volume_and_with_medium(own_demo, monkeypatch, capsys):
    def predicted(*arguments):
        found = run(monkeypatch, capsys, "predict", *arguments, "--json", "--studio", own_demo)
        return found.json if found.status == 0 else found.err

    gloss, matt = (predicted("PITCH=1", "--finish", f)["looks"][0] for f in ("gloss", "matt"))
    # A matt black sends the surface's 4 % (Fresnel, n = 1.5) all about; a gloss one none of it.
    # Its own surface, as fitted, is close to that.
    off = np.array(matt["reflectance"]) - np.array(gloss["reflectance"])
    with Store.open(own_demo) as store:
        own = float(store.fits.coefficients(["PITCH"]).surface_offset[0])
    assert abs(own) < 3e-4
    np.testing.assert_allclose(off[np.isfinite(off)], 0.04 + own, atol=1e-9)
    assert matt["lab"]["D50/2°"][0] > gloss["lab"]["D50/2°"][0] + 10
    by_weight, by_volume = predicted("ANCHOR=1,HULL=4"), predicted("ANCHOR=1,HULL=4", "--volume")
    # A gram of white is less volume than a gram of blue: by volume there is more white in it.
    assert by_volume["looks"][0]["lab"]["D50/2°"][0] > by_weight["looks"][0]["lab"]["D50/2°"][0]
    alone = predicted("ANCHOR=1", "--thickness", "60")["looks"]
    thin = predicted("ANCHOR=1,MEDIUM=4", "--thickness", "60")["looks"]
    assert thin[0]["lab"]["D50/2°"] == pytest.approx(alone[0]["lab"]["D50/2°"], abs=0.3)
    assert thin[2]["lab"]["D50/2°"][0] > alone[2]["lab"]["D50/2°"][0] + 5
    assert "medium alone" in predicted("MEDIUM=1")
    assert "gloss, satin, matt" in predicted("HULL=1", "--finish", "shiny")
