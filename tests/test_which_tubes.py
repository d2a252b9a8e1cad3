"""Which tubes: stand-ins for one that is gone, sets to keep, and partners that grey."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from tintladder.database.mixing.gamut import gamut, spread
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.search import search
from tintladder.database.mixing.tubes import fewest, stand_in
from tintladder.database.mixing.tubes.fewest import best_sets, fewest_tubes
from tintladder.database.mixing.tubes.greying import warmth
from tintladder.database.mixing.tubes.neutral import LET_DOWN, partners
from tintladder.database.mixing.tubes.stand_in import by_light, stand_ins

from tests.command import run
from tests.invented_palette import invented_coefficients

PALETTE = Palette(invented_coefficients(8))
MIX = {"DUSK": 2.0, "HULL": 5.0, "ROPE": 1.0}


def test_the_nearest_stand_in_is_found_among_all():
    """Against a search of each other tube alone with what is left."""
    found = stand_ins(PALETTE, MIX, "DUSK")
    wanted = lab_of(PALETTE, [MIX])[0]
    best = {}
    for other in PALETTE.paints:
        if other not in MIX:
            solved = search(PALETTE.select(["HULL", "ROPE", other]), wanted, 3)[-1]
            best[other] = float(solved.difference.min())
    alone = [each for each in found if len(each.paints) <= 1]
    assert len(alone) == len(best)
    assert alone[0].difference == pytest.approx(min(best.values()), abs=0.02)
    for each in found:
        assert "DUSK" not in each.parts and sum(each.parts.values()) == pytest.approx(1)
        lights = by_light(PALETTE, MIX, each.parts)
        assert set(lights) == {"D50", "D65", "A", "LED-B3"}
        assert lights["D50"] == pytest.approx(each.difference, abs=0.05)


def test_a_pair_stands_in_only_where_it_comes_nearer_by_what_is_seen():
    found = stand_ins(PALETTE, MIX, "DUSK")
    pairs = [each for each in found if len(each.paints) == 2]
    assert all(each.difference < found[len(pairs)].difference - 1 for each in pairs)


def test_a_tube_alone_has_stand_ins_too():
    found = stand_ins(PALETTE, {"ANCHOR": 1.0}, "ANCHOR")
    assert found and all(set(each.parts) == set(each.paints) for each in found)


def test_nothing_stands_in_where_nothing_is_left():
    assert (
        stand_ins(PALETTE.select(["ROPE", "HULL"]), {"ROPE": 1, "HULL": 1}, "ROPE")[0].paints == ()
    )


@pytest.fixture(scope="module")
def wanted():
    return spread(gamut(PALETTE), 12)


def test_the_best_sets_are_the_best_of_all(wanted):
    """Against every set of so many tubes, each searched by itself."""
    found = best_sets(PALETTE, wanted, 3, 3.0)
    for best in found.sets:
        every = []
        for some in combinations(PALETTE.paints, len(best.tubes)):
            off = search(PALETTE.select(some), wanted)[-1].difference.min(axis=1)
            every.append(((off > found.limit + 0.01).sum(), off.mean()))
        assert best.missed <= min(every)[0] and best.exact
        assert best.mean <= min(mean for missed, mean in every if missed == best.missed) + 0.02


def test_the_smallest_set_is_that_of_setting_out(wanted):
    found = best_sets(PALETTE, wanted, 8, 3.0)
    other = fewest_tubes(PALETTE, wanted, 3.0)
    assert found.smallest is not None and len(found.smallest.tubes) == len(other.chosen.tubes)


def test_too_many_sets_are_said_to_be_too_many(wanted, monkeypatch):
    exact = best_sets(PALETTE, wanted, 7, 3.0)
    monkeypatch.setattr(fewest, "_COMPARED", 10)
    guessed = best_sets(PALETTE, wanted, 7, 3.0)
    assert [best.exact for best in guessed.sets] == [True] * 4 + [False] * 3
    for one, other in zip(exact.sets, guessed.sets, strict=True):
        assert (one.missed, one.mean) <= (other.missed, other.mean + 1e-6)
    assert all(best.mean >= guessed.bound - 1e-6 for best in guessed.sets)


def test_of_very_many_tubes_those_that_matter_are_compared(wanted, monkeypatch):
    whole = stand_ins(PALETTE, MIX, "DUSK")
    monkeypatch.setattr(fewest, "POOL", 5)
    monkeypatch.setattr(stand_in, "POOL", 5)
    few = stand_ins(PALETTE, MIX, "DUSK")
    alone = [[each for each in found if len(each.paints) <= 1] for found in (whole, few)]
    assert alone[1][0].paints == alone[0][0].paints and len(alone[1]) == 3
    found = best_sets(PALETTE, wanted, 3, 3.0)
    assert found.bound == 0 and not any(best.exact for best in found.sets)


def test_colours_lie_far_apart():
    some = spread(gamut(PALETTE), 10)
    apart = np.linalg.norm(some[:, None] - some[None], axis=2)
    assert np.sort(apart, axis=1)[:, 1].min() > 20


@pytest.mark.parametrize("tube", ["DUSK", "ROPE", "STARBOARD"])
def test_the_partner_greys_at_its_best_ratio(tube):
    """Against 400 ratios of every partner that has a hue."""
    found = partners(PALETTE, tube, "HULL")
    assert "PITCH" not in [each.paint for each in found]
    for each in found:
        chroma = []
        for share in np.linspace(0.002, 0.998, 400):
            mixes = [{tube: share, each.paint: 1 - share, "HULL": white} for white in LET_DOWN]
            lab = lab_of(PALETTE, mixes)
            chroma.append(np.hypot(lab[:, 1], lab[:, 2]).max())
        assert each.chroma <= min(chroma) + 0.05
        made = lab_of(PALETTE, [{**each.parts, "HULL": white} for white in LET_DOWN])
        np.testing.assert_allclose(made, each.lab, atol=1e-6)
    assert [each.chroma for each in found] == sorted(each.chroma for each in found)


def test_warm_and_cool():
    """A red that leans orange is warm, one that leans blue is cool (common practice, no source)."""
    assert warmth("a red that leans orange") == "warm" == warmth("a blue that leans violet")
    assert warmth("a red that leans blue") == "cool" == warmth("a yellow that leans green")
    assert warmth("a green that leans neither way") == "" == warmth("a grey")


def test_the_commands_say_it(own_demo, monkeypatch, capsys):
    def said(*typed):
        out = run(monkeypatch, capsys, *typed, "--studio", own_demo)
        assert out.status == 0, out.err
        return out

    mix = "DUSK=2,HULL=5,ROPE=1"
    words, place = (
        said("recipe", mix, "--instead", "DUSK"),
        said("recipe", mix, "--instead", "DUSK", "--json").json,
    )
    assert "What stands in for Dusk Violet" in words.out and "can't be helped" in words.out
    assert all("DUSK" not in way["parts"] for way in place["recipes"])
    said("recipe", mix, "--instead", "DUSK", "--keep", "dusk-anew")
    assert "DUSK" not in said("recipe", "dusk-anew", "--json").json["recipes"][0]["parts"]
    kept = said("reach", "--keep", "3", "dusk-anew", "#7d99a8", "--json").json
    assert kept["colours"] == 2 and [len(each["tubes"]) for each in kept["sets"]] == [1, 2, 3]
    assert "near enough" in said("reach", "--keep", "2").out
    grey = said("muddy", "DUSK", "--json").json
    assert grey["neutral"]["partner"] == grey["partners"][0]["paint"]
    assert len(grey["neutral"]["ladder"]) == 6 and "greys it cleanest" in said("muddy", "DUSK").out


SLIPS = {
    ("recipe", "62,-18,-9", "--instead", "ANCHOR"): "isn't known as a mix of tubes",
    ("recipe", "DUSK=1,HULL=2", "--instead", "ROPE"): "isn't in 2 parts Hull White, 1 Dusk Violet",
    ("recipe", "DUSK=1,HULL=2", "--instead", "DUSK", "--made"): "goes with no --instead",
    ("reach", "ANCHOR", "ROPE"): "expected one colour",
    ("reach", "ANCHOR", "--within", "3"): "goes with --keep alone",
    ("muddy", "HULL"): "is the white that tints are let down with",
    ("muddy", "nothing-such"): "nothing-such",
}


@pytest.mark.parametrize("typed", SLIPS, ids=lambda typed: " ".join(typed))
def test_a_slip_is_one_line(typed, own_demo, monkeypatch, capsys):
    said = run(monkeypatch, capsys, *typed, "--studio", own_demo)
    assert said.status == 2 and said.err.count("\n") == 1 and not said.out
    assert SLIPS[typed] in said.err
