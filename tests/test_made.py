"""A mix as it is made: whatever is printed, mixed literally, is the colour claimed for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.made_words import beforehand_words, surplus_words
from tintladder.database.mixing.made import ENOUGH, as_made
from tintladder.database.mixing.measures import (
    MEASURES,
    SPOONS,
    SYRINGE,
    WEIGHED_PARTS,
    Tint,
    density,
    scale,
)
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.setout import set_out
from tintladder.database.mixing.target import of_lab
from tintladder.database.paper.for_colours import heaps_of
from tintladder.database.paper.handout.lesson import lesson
from tintladder.database.store.schema import Paint

from .invented_palette import answered, invented_coefficients
from .printed_amounts import in_handout

C = invented_coefficients(10)
PALETTE = Palette(C)
PASTELS = [(88, 2, -6), (90, -4, 3), (84, 6, 8), (92, 0, -2), (60, 10, 20), (35, -12, -15)]


def random_mixes(count: int, seed: int):
    rng = np.random.default_rng(seed)
    for _ in range(count):
        size = rng.integers(2, 5)
        shares = rng.dirichlet(np.full(size, 0.4)) + 2e-4
        names = rng.choice(PALETTE.paints, size, replace=False)
        yield dict(zip(map(str, names), (shares / shares.sum()).tolist(), strict=True))


@pytest.mark.parametrize("people", [1, 12])
def test_a_handout_mixed_literally_is_the_colour_it_promises(people):
    found = set_out(PALETTE, [of_lab(*lab) for lab in PASTELS], within=4.0, ml=5.0 * len(PASTELS))
    paints = {p: Paint(nickname=p, name=p.title(), pigments=["PY35"], maker="") for p in C.paints}
    heaps = heaps_of(answered(found, C), scale(0.1))
    unsure = C.local.copy()
    unsure[:, [0, 1], [0, 1]] = 1e-6
    page = lesson(found, heaps, Palette(replace(C, local=unsure)), paints, "A class", people)
    assert any(each.spoons.tints for each in heaps), "no part was scarce: the test tells nothing"
    for dab, columns in zip(found.dabs, in_handout(page), strict=True):
        for column, units in columns.items():
            mix = {paint.upper(): amount for paint, amount in units.items()}
            if column != "g":
                mix = {p: v * float(C.density[C.index(p)]) for p, v in mix.items()}
            made = lab_of(PALETTE, [mix])[0]
            assert ciede2000(made, dab.recipe.lab) < 0.5, (dab.target.words, column, mix)


@pytest.mark.parametrize(
    ("measure", "asked"),
    [(m, asked) for m in MEASURES for asked in (None, 8.0, 40.0) if asked is None or m.size],
)
def test_whatever_is_asked_is_made_within_a_step_or_the_surplus_said(measure, asked):
    for mix in random_mixes(12, 4):
        goal = lab_of(PALETTE, [mix])[0]
        made = as_made(PALETTE, mix, goal, measure, asked)
        steps = np.array(list(made.amounts.values())) / measure.step
        np.testing.assert_allclose(steps, np.round(steps), atol=1e-6)
        assert (steps >= 1).all() and made.moved <= max(ENOUGH, 0.5)
        if asked is not None:
            over = made.total - asked
            assert abs(over) <= measure.step + 1e-9 or surplus_words(made)
            assert over > -measure.step - 1e-9
        assert ciede2000(lab_of(PALETTE, [made.grams])[0], made.lab) < 1e-6


def test_a_tint_of_a_tint_is_mixed_where_one_is_too_strong():
    mix = {"HULL": 0.9996, "PITCH": 0.0004}
    made = as_made(PALETTE, mix, lab_of(PALETTE, [mix])[0], scale(0.1), 10.0)
    assert made.tints == (Tint("PITCH", "HULL", 2),) and made.moved < 0.3
    first, second = made.beforehand
    # By hand: a hundredth of what is weighed of it is black.
    assert made.grams["PITCH"] == pytest.approx(made.amounts["PITCH"] / 100)
    assert first.strong + first.into >= second.strong
    assert second.strong + second.into >= made.amounts["PITCH"]
    said = beforehand_words(made.beforehand, made.measure, {})
    assert len(said) == 1 and "1 PITCH to 99 HULL" in said[0] and "of that with" in said[0]


def test_millilitres_and_grams_of_one_mix_agree():
    mix = {"ROPE": 0.6, "STARBOARD": 0.2, "HULL": 0.2}
    goal = lab_of(PALETTE, [mix])[0]
    weighed = as_made(PALETTE, mix, goal, scale(0.01), 50.0)
    drawn = as_made(PALETTE, mix, goal, SYRINGE, 50.0 / density(C, mix))
    for paint, ml in drawn.amounts.items():
        assert ml * float(C.density[C.index(paint)]) == pytest.approx(drawn.grams[paint])
        assert drawn.grams[paint] == pytest.approx(weighed.amounts[paint], rel=0.03)


def test_a_step_that_cannot_be_read_off_shows_in_the_band():
    mix = {"HULL": 0.93, "ANCHOR": 0.07}
    goal = lab_of(PALETTE, [mix])[0]
    coarse, fine = (as_made(PALETTE, mix, goal, scale(step), 10.0) for step in (0.1, 0.01))
    rng = np.random.default_rng(1)
    slipped = [
        {p: a + rng.uniform(-0.05, 0.05) for p, a in coarse.amounts.items()} for _ in range(400)
    ]
    off = ciede2000(lab_of(PALETTE, slipped), coarse.lab)
    assert not coarse.tints and 0.93 <= np.mean(off <= coarse.band(0.0)) <= 1
    assert fine.weighing < coarse.weighing / 5
    assert as_made(PALETTE, mix, goal, SPOONS).weighing == 0
    assert as_made(PALETTE, mix, goal, WEIGHED_PARTS).surplus == 0
