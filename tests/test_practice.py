"""Practice: a planted bias is found, chance is not accused, and the page takes what was done."""

from __future__ import annotations

import re

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.database.easel.practice import keep_round, practice
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.practice import Round, exercise, hand_of
from tintladder.database.store.store import Store

from tests.invented_palette import invented_coefficients

PALETTE = Palette(invented_coefficients(6))


def practised(bias, tells_parts, rounds, seed=3, errs=0.15):
    """Rounds of a simulated hand that takes `bias` times what is right of some tubes."""
    rng, done = np.random.default_rng(seed), []
    for _ in range(rounds):
        asked = exercise(PALETTE, done, seed=seed)
        taken = {
            p: g * bias.get(p, 1.0) * np.exp(rng.normal(0, errs)) for p, g in asked.parts.items()
        }
        dried = None if tells_parts else lab_of(PALETTE, [taken])[0] + rng.normal(0, 0.4, 3)
        done.append(Round(asked.lab, asked.parts, taken if tells_parts else None, dried))
    return done


@pytest.mark.parametrize("tells_parts", [True, False])
@pytest.mark.parametrize(("tube", "times"), [("ANCHOR", 1.6), ("ROPE", 0.6)])
def test_a_bias_is_found_with_its_size(tells_parts, tube, times):
    hand = hand_of(PALETTE, practised({tube: times}, tells_parts, 16))
    (found,) = hand.biases
    # Four hands here, and the band of each holds 95 of 100: one may lie a little outside.
    assert found.paint == tube and found.band[0] < 1.1 * times and times < 1.1 * found.band[1]
    assert ("too much" in found.words) == (times > 1)


def test_chance_alone_is_not_accused():
    for seed in range(6):
        hand = hand_of(PALETTE, practised({}, seed % 2 == 0, 12, seed))
        assert not hand.biases and 0.08 < hand.spread < 0.3


def test_a_heap_twice_as_large_is_no_error():
    asked = exercise(PALETTE, [])
    twice = {p: 2 * g for p, g in asked.parts.items()}
    hand = hand_of(PALETTE, [Round(asked.lab, asked.parts, twice)] * 10)
    assert not hand.biases and hand.spread < 0.12


def test_an_exercise_is_a_mix_of_its_colour_and_asks_what_is_open():
    first = exercise(PALETTE, [], seed=1)
    np.testing.assert_allclose(lab_of(PALETTE, [first.parts])[0], first.lab, atol=1e-6)
    assert sum(first.parts.values()) == pytest.approx(1)
    done = practised({"ANCHOR": 1.7}, True, 7)
    later = [exercise(PALETTE, done, seed=seed) for seed in range(6)]
    assert sum("ANCHOR" in each.parts for each in later) >= 5


@pytest.fixture
def begun(own_demo):
    with Store.open(own_demo) as store:
        yield store


def test_rounds_are_kept_and_forgotten(begun):
    stand = practice(begun)
    assert not stand.rounds and not stand.words
    keep_round(begun, stand.next, dict(stand.next.parts))
    keep_round(begun, stand.next, {}, ",".join(f"{x:.2f}" for x in stand.next.lab))
    again = practice(begun)
    assert len(again.rounds) == 2 and max(each.off for each in again.rounds) < 0.1
    assert "Nothing that it always does wrong is sure yet, after 2 mixes." in again.words
    first = next(iter(stand.next.parts))
    for given, dried in (({first: 1.0}, ""), ({"NONE": 1.0, first: 1.0}, ""), ({}, "nothing-such")):
        with pytest.raises(InputError):
            keep_round(begun, stand.next, given, dried)
    assert len(practice(begun).rounds) == 2


def test_the_page_takes_a_round_and_says_what_it_came_to(own_page):
    page, folder = own_page
    shown = page.get("/practice").text
    assert "<h1>Practice</h1>" in shown and "What it came to" not in shown
    fields = re.findall(r'name="(part-[A-Z]+)"', shown)
    form = dict.fromkeys(fields, "2,5") | {
        "seen": re.search(r'name="seen" value="(\w+)"', shown)[1], "exercise": "0",
    }  # fmt: skip
    assert len(fields) >= 2 and page.send("/practice", {**form, fields[0]: "x"}).status == 400
    assert page.send("/practice", form).status == 200
    came = page.get("/practice?done=1").text
    assert "What it came to" in came and "after one mix" in came
    # The exercise that was shown is no longer the one that is asked.
    assert page.send("/practice", form).status == 409
    with Store.open(folder) as store:
        assert len(practice(store).rounds) == 1
    assert "Forget all of it" in page.get("/practice").text
    page.send("/practice/forget", {})
    assert "Forget all of it" not in page.get("/practice").text
