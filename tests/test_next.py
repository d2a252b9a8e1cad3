"""What to add to a plate: additions only, a heap that grows little, a plate kept as one goes."""

from __future__ import annotations

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.next_addition import NEAR, next_additions
from tintladder.database.plate import on_plate, read_plate, write_plate
from tintladder.database.recipe_order import lab_of
from tintladder.database.recipe_palette import Palette

from tests.invented_palette import invented_coefficients

C = invented_coefficients(10)
PALETTE = Palette(C)
KELP = {"ROPE": 6.3, "STARBOARD": 2.1, "HULL": 1.6}
GOAL = lab_of(PALETTE, [KELP])[0]


def test_a_plate_that_is_right_needs_nothing():
    found = next_additions(C, KELP, GOAL)
    assert found.off < 1e-6 and not found.additions and not found.start_over


@pytest.mark.parametrize(
    "plate",
    [{"ROPE": 6.3}, {"ROPE": 6.3, "STARBOARD": 2.8, "HULL": 1.6}, {"HULL": 3.0, "ROPE": 4.0}],
)
def test_what_it_adds_brings_it_near(plate):
    found = next_additions(C, plate, GOAL)
    assert min(found.additions.values()) > 0
    whole = {n: plate.get(n, 0) + found.additions.get(n, 0) for n in {**plate, **found.additions}}
    off = ciede2000(lab_of(PALETTE, [whole])[0], GOAL)
    assert off == pytest.approx(found.then, abs=1e-6)
    assert off <= NEAR + 1e-6
    assert found.growth == pytest.approx(sum(found.additions.values()) / sum(plate.values()))


def test_the_heap_grows_no_more_than_by_the_recipe():
    """Making the recipe whole is one way to the colour: the advice must not take more paint."""
    plate = {**KELP, "STARBOARD": 2.1 * 1.4}
    by_recipe = 0.4 * (KELP["ROPE"] + KELP["HULL"]) / sum(plate.values())
    assert next_additions(C, plate, GOAL).growth <= by_recipe + 0.05


def test_a_plate_far_off_is_begun_anew():
    found = next_additions(C, {"PITCH": 8.0}, PALETTE.lab(np.eye(10)[:1])[0], wanted=8.0)
    assert found.start_over
    assert found.fresh < 1e-3


def test_plate_is_kept_as_one_goes(tmp_path):
    assert read_plate(tmp_path) == []
    write_plate(tmp_path, [{"HULL": 8.0}, {"ROPE": 1.0}, {"HULL": 0.5}])
    assert on_plate(read_plate(tmp_path)) == {"HULL": 8.5, "ROPE": 1.0}
    (tmp_path / "plate.json").write_text("{not a list")
    with pytest.raises(InputError, match="--clear"):
        read_plate(tmp_path)
