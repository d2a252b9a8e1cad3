"""Recipes among very many tubes: as near as where every set is searched, and the gap is stated.

The tubes are invented; what is found is held against the search of every set.
"""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.optics.surface import Surface
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.ranking import VISIBLE
from tintladder.database.mixing.recipes import recipes, recipes_of_many
from tintladder.database.mixing.search import search
from tintladder.database.mixing.shortlist import ALL_SETS, how_many, shortlist
from tintladder.database.mixing.target import Target

from .bench.scale_paints import curves, nickname
from .plain_paints import plain

FEW, MANY = 44, 120
SURFACE = Surface.of("45:0", "excluded")


def tubes(count):
    return plain({nickname(i): curves(i) for i in range(count)}, SURFACE)


def target(*lab):
    return Target("a colour", np.array(lab, dtype=float))


def test_sets_are_counted():
    assert how_many(1000, 3) == 1000 + 499_500 + 166_167_000


@pytest.mark.parametrize("lab", [(55, -8, 18), (70, -20, -15), (80, 5, 60)])
def test_the_shortlist_holds_a_set_as_near_as_any(lab):
    every = Palette(tubes(FEW))
    chosen = shortlist(every, np.array(lab, dtype=float), 3)
    assert len(chosen.tubes) < FEW
    few = search(every.select(chosen.tubes), np.array(lab, dtype=float), 3)
    whole = search(every, np.array(lab, dtype=float), 3)
    found, best = (min(s.difference.min() for s in each) for each in (few, whole))
    assert max(found, VISIBLE) <= max(best, VISIBLE) + 0.01


def test_few_tubes_are_all_searched():
    answer = recipes(tubes(12), target(55, -8, 18), most=3)
    assert answer.searched == how_many(12, 3) and not answer.passed_over
    assert answer.searched_words == "Every one of 298 sets of tubes was searched."


def test_of_many_tubes_the_answer_says_how_many_sets_were_passed_over():
    answer = recipes(tubes(MANY), target(55, -8, 18), most=3, ways=2)
    assert how_many(MANY, 3) > ALL_SETS
    assert answer.searched + answer.passed_over == how_many(MANY, 3)
    assert answer.reachable and answer.gap == 0
    assert answer.searched_words.endswith("searched; no other can come visibly nearer.")


def test_what_must_be_in_it_is_shortlisted():
    answer = recipes(tubes(MANY), target(55, -8, 18), most=3, must=[nickname(77)], ways=1)
    assert nickname(77) in answer.recipes[0].parts


def test_out_of_reach_the_gap_is_what_the_nearest_lacks():
    answer = recipes(tubes(MANY), target(50, 120, 0), most=3, ways=1)
    assert answer.gap == pytest.approx(answer.nearest - VISIBLE)
    assert f"by CIEDE2000 {answer.gap:.1f} at most" in answer.searched_words


def test_many_colours_are_shortlisted_each():
    wanted = [target(55, -8, 18), target(40, 30, 20)]
    found = recipes_of_many(tubes(MANY), wanted, most=3, ways=1)
    assert [answer.target for answer in found] == wanted
    assert all(answer.reachable for answer in found)
