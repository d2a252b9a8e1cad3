"""What each step holds, and how errors of the balance reach it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tintladder.calibrate.cards.card import Card, Drawdown
from tintladder.calibrate.cards.weighing import composition


def card(*drawdowns):
    return Card("c", "c.toml", drawdowns)


CHAIN = card(
    Drawdown("masstone", "OCHRE", {"OCHRE": 10.0}),
    Drawdown("1:1", "OCHRE", {"OCHRE": 5.0, "WHITE": 5.0}),
    Drawdown("3:1", "OCHRE", {"WHITE": 5.0}, taken_from="1:1", taken_g=5.0),
    Drawdown("7:1", "OCHRE", {"WHITE": 6.0}, taken_from="3:1", taken_g=4.0),
)


def test_chain_worked_by_hand():
    # 1:1 holds 1/2 of ochre; 5 g of it + 5 g of white 1/4; 4 g of that + 6 g of white 1/10.
    made = composition(CHAIN)
    assert made.paints == ("OCHRE", "WHITE")
    np.testing.assert_allclose(made.fractions[:, 0], [1, 0.5, 0.25, 0.1], atol=1e-15)
    np.testing.assert_allclose(made.fractions.sum(axis=1), 1, atol=1e-15)
    assert made.weighings == (
        "masstone: OCHRE",
        "1:1: OCHRE",
        "1:1: WHITE",
        "3:1: taken",
        "3:1: WHITE",
        "7:1: taken",
        "7:1: WHITE",
    )
    np.testing.assert_allclose(made.grams, [10, 5, 5, 5, 5, 4, 6])


def test_slopes_worked_by_hand():
    """By hand: f = m/(m + w), df/dm = w/(m + w)^2, df/dw = -m/(m + w)^2, carried down the chain."""
    made = composition(CHAIN)
    ochre = made.by_weighing[:, :, 0]
    at = {name: j for j, name in enumerate(made.weighings)}
    assert not ochre[0].any()  # a masstone stays one, whatever the balance says
    assert ochre[1, at["1:1: OCHRE"]] == pytest.approx(0.05)
    assert ochre[1, at["1:1: WHITE"]] == pytest.approx(-0.05)
    # Half of the 3:1 is the 1:1: its error arrives halved, and at 7:1 times 0.4 again.
    assert ochre[2, at["1:1: OCHRE"]] == pytest.approx(0.025)
    assert ochre[3, at["1:1: OCHRE"]] == pytest.approx(0.010)
    # Taken grams at 3:1: (f_parent - f) / total = (0.5 - 0.25) / 10.
    assert ochre[2, at["3:1: taken"]] == pytest.approx(0.025)
    assert ochre[3, at["7:1: taken"]] == pytest.approx((0.25 - 0.1) / 10)
    assert ochre[3, at["7:1: WHITE"]] == pytest.approx(-0.01)


def nudged(sound, which, by):
    """The same card with one weighing off by some grams."""
    drawdowns = []
    count = 0
    for d in sound.drawdowns:
        if d.taken_from is not None:
            if count == which:
                d = replace(d, taken_g=d.taken_g + by)
            count += 1
        for paint in list(d.masses):
            if count == which:
                d = replace(d, masses={**d.masses, paint: d.masses[paint] + by})
            count += 1
        drawdowns.append(d)
    return replace(sound, drawdowns=tuple(drawdowns))


GRAMS = st.floats(0.2, 20.0)


@given(st.tuples(*[GRAMS] * 8))
def test_slopes_by_finite_differences(g):
    """A chain of three paints, one of them added again further down."""
    sound = card(
        Drawdown("a", None, {"X": g[0], "Y": g[1]}),
        Drawdown("b", None, {"Z": g[2]}, taken_from="a", taken_g=g[3]),
        Drawdown("c", None, {"Z": g[4], "X": g[5]}, taken_from="b", taken_g=g[6]),
        Drawdown("d", None, {"Y": g[7]}),
    )
    made = composition(sound)
    for j in range(len(made.weighings)):
        up, down = (composition(nudged(sound, j, by)).fractions for by in (1e-6, -1e-6))
        np.testing.assert_allclose(made.by_weighing[:, j], (up - down) / 2e-6, atol=1e-7)


def test_steps_of_a_chain_err_together():
    """An error of the first mix moves every later step alike; fresh steps are independent."""
    made = composition(CHAIN)
    covariance = made.by_weighing[:, :, 0] @ made.by_weighing[:, :, 0].T
    assert covariance[1, 2] > 0
    assert covariance[2, 3] > 0
    fresh = composition(
        card(
            Drawdown("1:1", None, {"OCHRE": 5.0, "WHITE": 5.0}),
            Drawdown("3:1", None, {"OCHRE": 2.5, "WHITE": 7.5}),
        )
    )
    covariance = fresh.by_weighing[:, :, 0] @ fresh.by_weighing[:, :, 0].T
    assert covariance[0, 1] == 0


def test_order_on_the_card_does_not_matter():
    backwards = replace(CHAIN, drawdowns=CHAIN.drawdowns[::-1])
    made, turned = composition(CHAIN), composition(backwards)
    columns = [turned.paints.index(p) for p in made.paints]
    np.testing.assert_allclose(turned.fractions[::-1][:, columns], made.fractions, atol=1e-15)
