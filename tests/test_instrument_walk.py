"""The way over a card."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.layout import layout_names, read_layout
from tintladder.calibrate.instrument.walk import Stop, direction, shortest, walk

from .studio_fixtures import ladder


def length(places, way):
    return np.linalg.norm(np.diff(places[list(way)], axis=0), axis=1).sum()


@pytest.mark.parametrize("seed", range(4))
def test_as_short_as_can_be(seed):
    """Against every order there is."""
    places = np.random.default_rng(seed).uniform(0, 200, (7, 2))
    way = shortest(places)
    assert sorted(way) == list(range(7))
    best = min(length(places, order) for order in permutations(range(7)))
    assert length(places, way) <= best * 1.02


def test_a_grid_is_walked_to_and_fro():
    places = np.array([(20.0 * x, 15.0 * y) for y in range(6) for x in range(2)])
    # Down one column and up the other, or row by row: never longer than that.
    assert length(places, shortest(places, 2)) <= 20 + 5 * 15 + 20 + 4 * 15 + 1e-9


def card_for(layout):
    """A card that fills a layout."""
    white = layout.white_step
    steps = [
        Drawdown(f"s{n}", f"P{(n - 1) // layout.steps_each}", {"W": 1.0, "P": 1.0}, white="W")
        for n in range(1, layout.steps + 1)
        if n != white
    ]
    return Card("full", "full.toml", tuple(steps), layout=layout.name)


@pytest.mark.parametrize("name", layout_names())
def test_every_layout_is_walked_once_and_bare_first(name):
    layout = read_layout(name)
    card = card_for(layout)
    stops = walk(card, layout)
    assert sorted(stop.patch for stop in stops) == sorted(card.patches)
    assert {stop.patch for stop in stops[:2]} == {"bare/black", "bare/white"}
    places = np.array([stop.at_mm for stop in stops])
    as_listed = np.array([{s.patch: s.at_mm for s in stops}[patch] for patch in card.patches])
    assert length(places, range(len(places))) <= length(as_listed, range(len(places)))


def test_without_a_layout_the_hand_goes_down_one_side_and_up_the_other():
    patches = [stop.patch for stop in walk(ladder(), None)]
    assert patches == [
        "bare/black", "bare/white", "white/white", "masstone/white", "tenth/white", "tenth/black",
        "half/black", "masstone/black", "white/black",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "to, words",
    [
        ((10.0, 32.4), "22 mm down"),
        ((52.0, 10.0), "42 mm right"),
        ((0.0, 4.0), "10 mm left and 6 mm up"),
        ((10.2, 10.4), ""),
        (None, ""),
    ],
)
def test_how_far_to_move(to, words):
    assert direction(Stop("a/black", (10.0, 10.0)), Stop("b/black", to)) == words
    assert direction(None, Stop("b/black", to)) == ""
