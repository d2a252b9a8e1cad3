"""Which mixtures are chosen to prove a fit, and what is weighed for them."""

from __future__ import annotations

from itertools import combinations

import pytest
from tintladder.calibrate.cards.card_plan import seats
from tintladder.calibrate.cards.layout import layout_names, read_layout
from tintladder.calibrate.cards.measure import measure_of
from tintladder.calibrate.cards.mixture_plan import MOST_G, Mixture, choose_mixtures, plan_mixtures
from tintladder.calibrate.cards.sureness import LARGEST_ERROR
from tintladder.calibrate.cards.weighing import composition
from tintladder.calibrate.errors import InputError

WHITE = "HULL"
TUBES = {"SEA": "weak", "BUOY": "ordinary", "ROPE": "ordinary", "DUSK": "strong", "PITCH": "strong"}
LAYOUTS = [name for name in layout_names() if not read_layout(name).tubes]


def planned(mixtures, layout="quick-mixtures-a5", scale="0.01", **also):
    said = {"densities": {}, "lots": {}} | also
    return plan_mixtures("m", read_layout(layout), mixtures, measure_of(scale), **said)


def test_mixtures_show_every_pair_before_any_twice():
    found = choose_mixtures(TUBES, WHITE, 12)
    seen: list[frozenset[str]] = []
    for mixture in found:
        colours = sorted(set(mixture.parts) - {WHITE})
        pairs = [frozenset(pair) for pair in combinations(colours, 2)]
        if len(set(seen)) < 10:  # of five colours
            assert set(pairs) - set(seen), "a pair is new as long as one is left"
        seen += pairs
    assert len(set(seen)) == 10
    kinds = [(WHITE in m.parts, len(m.parts)) for m in found]
    assert kinds[:3] == [(True, 3), (True, 4), (False, 2)]
    assert set(found[0].parts) == {WHITE, "SEA", "DUSK"}, "the weakest against the strongest"


def test_a_strong_colour_gets_less_of_the_mixture():
    first = choose_mixtures(TUBES, WHITE, 1)[0].parts
    assert first[WHITE] > 2 * first["SEA"] > 4 * first["DUSK"]


def test_the_same_tubes_give_the_same_mixtures_and_earlier_cards_others():
    once = choose_mixtures(TUBES, WHITE, 6)
    assert choose_mixtures(TUBES, WHITE, 6) == once
    again = choose_mixtures(TUBES, WHITE, 6, [set(m.parts) for m in once])
    assert {frozenset(m.parts) for m in again[:2]}.isdisjoint(frozenset(m.parts) for m in once)


def test_two_colours_have_six_mixtures_and_none_twice():
    found = choose_mixtures({"SEA": "weak", "DUSK": "strong"}, WHITE, 12)
    assert len(found) == 6
    assert len({tuple(m.parts.items()) for m in found}) == 6


@pytest.mark.parametrize("tubes", [{}, {"SEA": "weak"}])
def test_one_colour_is_no_mixture(tubes):
    with pytest.raises(InputError, match="expected two colours or more besides HULL"):
        choose_mixtures(tubes, WHITE, 6)


@pytest.mark.parametrize("scale", ["0.01", "0.1", "syringe", "spoons"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_share_is_sure_enough_whatever_is_at_hand(layout, scale):
    room = read_layout(layout).steps
    plan = planned(choose_mixtures(TUBES, WHITE, room), layout, scale)
    card = plan.card
    assert card.purpose == "check" and len(card.drawdowns) >= room - 2
    assert max(plan.errors.values()) < LARGEST_ERROR + 5e-4
    assert all(d.paint is None and d.white is None for d in card.drawdowns)
    assert {d.opaque for d in card.drawdowns} == {layout.startswith("quick")}
    # What can't be weighed smaller comes on top.
    least = max(min(d.masses.values()) for d in card.drawdowns)
    assert max(sum(d.masses.values()) for d in card.drawdowns) < MOST_G + 3 * least
    masses = [tuple(sorted(d.masses.items())) for d in card.drawdowns]
    assert len(set(masses)) == len(masses)
    assert list(seats(read_layout(layout), card).values()) == list(range(1, len(masses) + 1))


def test_a_mixture_that_was_named_keeps_its_parts():
    plan = planned([Mixture({"SEA": 2, "ROPE": 1, WHITE: 7}, said=True)], scale="0.1")
    made = composition(plan.card)
    shares = dict(zip(made.paints, made.fractions[0], strict=True))
    assert shares == pytest.approx({"SEA": 0.2, "ROPE": 0.1, WHITE: 0.7}, rel=0.07)


def test_amounts_by_volume_are_kept_in_grams_of_the_tubes_own_density():
    mixtures = [Mixture({"SEA": 1, WHITE: 1}, said=True)]
    plan = planned(mixtures, scale="syringe", densities={WHITE: 2.6}, lots={"SEA": "A1"})
    (d,) = plan.card.drawdowns
    assert d.masses[WHITE] == pytest.approx(2 * d.masses["SEA"])
    assert d.lots == {"SEA": "A1"}


def test_what_can_t_be_planned_says_why():
    even = Mixture({"SEA": 1, WHITE: 1})
    with pytest.raises(InputError, match="for ladders, not for mixtures"):
        planned([even], "quick-a5")
    with pytest.raises(InputError, match="room for 6 mixtures, got 7"):
        planned([even] * 7)
    with pytest.raises(InputError, match=r"mix 1 .*DUSK=0.01.* can't keep every share"):
        planned([Mixture({"DUSK": 0.01, WHITE: 9}, said=True)], scale="0.1")
