"""What to add to a plate: additions only, a heap that grows little, a plate kept as one goes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.plate import on_plate, read_dab, read_plate, write_plate
from tintladder.database.mixing.heap_guess import likely_mixes, outcomes
from tintladder.database.mixing.next_addition import NEAR, next_additions
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.target import Target

from tests.command import run
from tests.invented_palette import invented_coefficients
from tests.lab import plan

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
    with pytest.raises(InputError, match="start anew with an empty plate"):
        read_plate(tmp_path)


def test_an_addition_too_small_to_measure_is_avoided():
    for plate in ({"HULL": 8.0, "STARBOARD": 1.0}, {"ROPE": 4.0, "HULL": 4.0, "PITCH": 0.2}):
        found = next_additions(C, plate, PALETTE.lab(np.eye(10)[:1])[0] - [30, 10, 8])
        assert all(g >= 0.002 * sum(plate.values()) for g in found.additions.values())


@pytest.mark.parametrize("band", [1.0, 9.0])
def test_what_a_heap_is_made_of_is_estimated_from_its_dab(band: float):
    """Mixtures of the lab's painter, each dab off by as much as its band allows."""
    mixes = list(plan.random_mixtures(6, 5).values())
    rng, held, named = np.random.default_rng(2), [], []
    for mix, other in pairwise(mixes):
        seen = lab_of(PALETTE, [mix])[0] + rng.standard_normal(3) * band / 2.8
        likely = likely_mixes(C, Target("a dab", seen, band=band), tuple(mix))
        assert likely.weights.sum() == pytest.approx(1)
        goal = lab_of(PALETTE, [other])[0]
        _, most = outcomes(PALETTE, likely, 10.0, {"HULL": 4.0}, goal)
        whole = sum(mix.values())
        heap = {name: 10 * grams / whole for name, grams in mix.items()}
        heap["HULL"] = heap.get("HULL", 0.0) + 4.0
        held.append(ciede2000(lab_of(PALETTE, [heap])[0], goal) <= most + 0.3)
        named.append(
            [
                low - 0.03 <= mix[p] / whole <= high + 0.03
                for p, (low, high) in likely.spread.items()
            ]
        )
    assert np.mean(held) >= 0.8
    assert np.mean([all(each) for each in named]) >= 0.7


def test_a_dab_that_no_tubes_make_is_refused():
    with pytest.raises(InputError, match="never judged"):
        likely_mixes(C, Target("a dab", np.array([60.0, 110, 90]), band=1.0))


def test_a_dab_that_its_card_shows_through_is_told():
    clear = likely_mixes(C, Target("a dab", lab_of(PALETTE, [{"RESIN": 1}])[0]), ["RESIN"])
    hiding = likely_mixes(C, Target("a dab", lab_of(PALETTE, [{"PITCH": 1}])[0]), ["PITCH"])
    assert clear.shows_through > 10 and hiding.shows_through < 2


def test_command_keeps_a_dab_as_one_goes(own_demo, monkeypatch, capsys):
    folder = own_demo

    def tintladder(*arguments):
        return run(monkeypatch, capsys, "next", *arguments, "--studio", folder)

    of = ("--of", "HULL,ROPE,STARBOARD")
    first = tintladder("62,-18,-9", "--dab", "mixtures/kelp", "--heap", "10", *of, "--json").json
    assert set(first["dab"]["likely_parts"]) == {"HULL", "ROPE", "STARBOARD"}
    # The kelp of the demo, 2 : 6 : 2, as its dry card was read.
    assert first["dab"]["likely_parts"]["ROPE"] == pytest.approx(0.6, abs=0.05)
    assert sum(first["plate"].values()) == pytest.approx(10)
    then = tintladder("62,-18,-9", "--add", "HULL=4", "--json").json
    assert then["dab"] and sum(then["plate"].values()) == pytest.approx(14)
    assert read_dab(folder) is not None
    tintladder("62,-18,-9", "--clear", "--add", "HULL=4")
    assert read_dab(folder) is None
    photo = folder / "photos" / "slipway.jpg"
    spots = ("--at", "304,239", "--white", "44,405", "--black", "121,406")
    told = tintladder("62,-18,-9", "--dab", photo, *spots, "--heap", "10")
    assert told.status == 0 and "is likely" in told.out
    for wrong, why in (
        (("62,-18,-9", "--dab", "mixtures/kelp"), "--heap 8"),
        (("62,-18,-9", "--dab", photo, "--heap", "8"), "--at 120,80"),
        (("62,-18,-9", "--at", "1,1"), "none is given"),
        (("62,-18,-9", "--dab", "1,2", "--heap", "8"), "a colour to match"),
        (("62,-18,-9", "--add", "HULL=-3"), "zero or more"),
        (("62,-18,-9", "--add", "HULL=0"), "above zero"),
    ):
        found = tintladder(*wrong)
        assert found.status == 2 and why in found.err and found.err.count("\n") == 1, found.err
