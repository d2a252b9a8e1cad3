"""Steps from one colour to another: alike to the eye, and mixed as they are said."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.mixing.measures import SPOONS, scale
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.recipes import recipes_of_many
from tintladder.database.mixing.steps.between import steps_between
from tintladder.database.mixing.steps.growing import plates
from tintladder.database.mixing.steps.path import Path
from tintladder.database.mixing.target import Target

from tests.command import run
from tests.invented_palette import invented_coefficients

PALETTE = Palette(invented_coefficients(8))
TUBE, TINT = {"STARBOARD": 1.0}, {"STARBOARD": 1 / 9, "HULL": 8 / 9}
EARTH = {"ROPE": 0.5, "HULL": 0.5}


def mixed(found):
    """Steps as someone mixes them who knows only what is put on the plate and taken off it."""
    plate, labs = np.zeros(len(found.heaps)), []
    for taken in found.taken:
        if taken.left == 0:
            plate[:] = 0
        assert plate.sum() == pytest.approx(taken.left, abs=1e-9)
        plate[taken.leg] += taken.first
        plate[taken.leg + 1] += taken.second
        grams: dict[str, float] = {}
        for units, heap in zip(plate, found.heaps, strict=True):
            for paint, held in heap.grams.items():
                grams[paint] = grams.get(paint, 0.0) + held * units / heap.total
        labs.append(lab_of(PALETTE, [grams])[0])
        assert taken.take <= plate.sum() + 1e-9
        plate *= 1 - taken.take / plate.sum()
    return np.array(labs)


@pytest.mark.parametrize(("measure", "each"), [(scale(0.1), 10.0), (SPOONS, 8.0)])
@pytest.mark.parametrize("ends", [(TUBE, TINT), (EARTH, TUBE)])
def test_steps_look_alike_as_they_are_measured(measure, each, ends):
    found = steps_between(PALETTE, ends, 6, measure, each)
    labs = mixed(found)
    np.testing.assert_allclose(labs, found.lab, atol=1e-6)
    apart = ciede2000(labs[1:], labs[:-1])
    assert np.abs(apart / apart.mean() - 1).max() < 0.10
    for taken in found.taken:
        for amount in (taken.first, taken.second):
            assert amount / measure.step == pytest.approx(round(amount / measure.step), abs=1e-6)
    used = sum(taken.take for taken in found.taken)
    assert found.left_over < 0.25 * used and found.departs == 0


def test_heaps_grow_out_of_one_another():
    found = steps_between(PALETTE, (TUBE, TINT), 6, scale(0.1), 10.0)
    assert sum(taken.left > 0 for taken in found.taken) >= 3


def test_a_plate_is_used_up_by_the_last_step_of_its_leg():
    """Worked by hand: a fifth, a half and four fifths of the second heap, 10 of each.

    The last takes 10; of 10 at 0.8, 2 are of the first heap, which 4 at a half hold: so 14 before.
    Of 14 at a half, 7 are of the first heap, which 8.75 at a fifth hold: so 18.75 before.
    """
    np.testing.assert_allclose(plates(np.array([0.2, 0.5, 0.8]), 10.0), [18.75, 14.0, 10.0])


def test_between_colours_the_steps_keep_to_the_straight_line():
    ends = ({"ANCHOR": 0.2, "HULL": 0.8}, {"LANTERN": 0.3, "HULL": 0.7})

    def mixes(labs):
        targets = [Target("between", lab) for lab in labs]
        return [a.recipes[0].parts for a in recipes_of_many(PALETTE.coefficients, targets, ways=1)]

    blended = steps_between(PALETTE, ends, 7, scale(0.1), 10.0)
    straight = steps_between(PALETTE, ends, 7, scale(0.1), 10.0, mixes)
    line = np.linspace(0, 1, 400)[:, None]
    on = straight.lab[0] + line * (straight.lab[-1] - straight.lab[0])
    off = [np.array([ciede2000(lab, on).min() for lab in way.lab]) for way in (straight, blended)]
    assert off[0].max() == pytest.approx(straight.departs, abs=0.05) and off[0].max() < 2.5
    # Blue and yellow heaps mixed toward each other pass through green instead.
    assert off[1].max() > 5


def test_points_of_one_heap_twice_are_one_colour():
    path = Path(PALETTE, np.array([[0.0] * 7 + [1.0]] * 2))
    assert ciede2000(*path.equal(2).lab) == pytest.approx(0, abs=1e-9)


SLIPS = {
    ("ANCHOR", "--to", "ANCHOR"): "no step between them could be seen",
    ("ANCHOR", "--to", "HULL", "--steps", "2"): "expected 3 or more",
    ("ANCHOR", "--to", "HULL", "--keep", "x"): "--keep, x: goes with no --to",
    ("ANCHOR", "--to", "HULL", "--over", "ROPE"): "goes with no --to",
    ("ANCHOR", "--to", "nothing-such"): "fits no tube",
}


@pytest.mark.parametrize("typed", SLIPS, ids=lambda typed: " ".join(typed))
def test_a_slip_is_one_line(typed, own_demo, monkeypatch, capsys):
    said = run(monkeypatch, capsys, "recipe", *typed, "--studio", own_demo)
    assert said.status == 2 and said.err.count("\n") == 1 and not said.out
    assert SLIPS[typed] in said.err, said.err


def test_the_command_says_what_it_claims_to_machines(own_demo, monkeypatch, capsys):
    asked = ("recipe", "ANCHOR", "--to", "ANCHOR=1,HULL=20", "--steps", "5", "--studio", own_demo)
    words = run(monkeypatch, capsys, *asked).out
    said = run(monkeypatch, capsys, *asked, "--json").json
    assert not said["straight"] and len(said["steps"]) == 5 and said["uneven"] < 0.1
    for nth, step in enumerate(said["steps"], 1):
        assert f"\n{nth}. " in words and f"take {step['take']:.2f} g" in words
    for heap in said["heaps"]:
        assert f"{heap['name']}, {heap['made_of']['total']:.2f} g: " in words
    kept = run(monkeypatch, capsys, "recipe", "#7d99a8", "--keep", "sea", "--studio", own_demo)
    assert kept.status == 0
    both = run(monkeypatch, capsys, "recipe", "sea", "--to", "80,0,20", "--studio", own_demo)
    assert both.status == 0 and "straight line" in both.out
