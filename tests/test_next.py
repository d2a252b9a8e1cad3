"""What to add to a plate: additions only, a heap that grows little, a plate kept as one goes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from sqlalchemy import select, update
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.easel.asked_colour import parse_target
from tintladder.database.easel.plate import on_plate, plate_of, set_plate, undo
from tintladder.database.mixing.heap_guess import corrected, likely_mixes, outcomes
from tintladder.database.mixing.next_addition import (
    AIM,
    LEFT_G,
    NEAR,
    hand,
    next_additions,
    predicted_band,
)
from tintladder.database.mixing.order import lab_of
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.target import Target
from tintladder.database.store.schema import Plate
from tintladder.database.store.store import Store

from tests.command import run
from tests.invented_palette import invented_coefficients
from tests.lab import plan

C = invented_coefficients(10)
PALETTE = Palette(C)
KELP = {"ROPE": 6.3, "STARBOARD": 2.1, "HULL": 1.6}
GOAL = lab_of(PALETTE, [KELP])[0]


def test_a_plate_that_is_right_needs_nothing():
    found = next_additions(PALETTE, KELP, GOAL)
    assert found.off < 1e-6 and not found.additions and not found.start_over


@pytest.mark.parametrize(
    "plate",
    [{"ROPE": 6.3}, {"ROPE": 6.3, "STARBOARD": 2.8, "HULL": 1.6}, {"HULL": 3.0, "ROPE": 4.0}],
)
def test_what_it_adds_brings_it_near(plate):
    found = next_additions(PALETTE, plate, GOAL)
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
    assert next_additions(PALETTE, plate, GOAL).growth <= by_recipe + 0.05


def test_a_plate_far_off_is_begun_anew():
    found = next_additions(PALETTE, {"PITCH": 8.0}, PALETTE.lab(np.eye(10)[:1])[0], wanted=8.0)
    assert found.start_over
    assert found.fresh_off < 1e-3
    assert list(found.fresh) == [PALETTE.paints[0]] and found.fresh[PALETTE.paints[0]] == 8.0


SEA = "L*a*b* 62, -18, -9"


def test_a_plate_for_each_colour_is_kept_as_one_goes_and_every_step_is_taken_back(tmp_path):
    with Store.open(tmp_path) as store:
        assert plate_of(store, SEA).additions == []
        assert undo(store, SEA) is None
        set_plate(store, SEA, [{"HULL": 8.0}])
        set_plate(store, SEA, [{"HULL": 8.0}, {"ROPE": 1.0}, {"HULL": 0.5}])
    with Store.open(tmp_path) as store:
        last = plate_of(store, SEA)
        assert on_plate(last.additions) == {"HULL": 8.5, "ROPE": 1.0}
        assert plate_of(store, "recipe moss").additions == []
        set_plate(store, SEA, [])
        assert plate_of(store, SEA).number > last.number
        # Back over clearing, over both additions, to the empty plate; no further.
        assert undo(store, SEA).additions == last.additions
        assert on_plate(undo(store, SEA).additions) == {"HULL": 8.0}
        assert undo(store, SEA).additions == [] and undo(store, SEA) is None


def test_steps_are_forgotten_once_they_are_old_but_never_what_is_on_the_plate(tmp_path):
    with Store.open(tmp_path) as store:
        for grams in (1.0, 2.0, 3.0):
            set_plate(store, SEA, [{"HULL": grams}])
        with store.transaction() as session:
            session.execute(update(Plate).values(made="2020-01-01T00:00:00Z"))
        set_plate(store, SEA, [{"HULL": 4.0}])
        with store.snapshot() as session:
            assert len(session.scalars(select(Plate)).all()) == 2
        assert on_plate(undo(store, SEA).additions) == {"HULL": 3.0}
        assert undo(store, SEA) is None


def test_a_plate_kept_in_a_file_is_taken_up(tmp_path):
    (tmp_path / "plate.json").write_text('[{"HULL": 8.0}, {"ROPE": 1}]')
    with Store.open(tmp_path) as store:
        assert on_plate(plate_of(store, SEA).additions) == {"HULL": 8.0, "ROPE": 1.0}
        assert on_plate(undo(store, SEA).additions) == {}
        assert plate_of(store, "recipe moss").additions == []
    (tmp_path / "studio.db").unlink()
    (tmp_path / "plate.json").write_text("{not a list")
    with Store.open(tmp_path) as store:
        with pytest.raises(InputError, match="start anew with an empty plate"):
            plate_of(store, SEA)
        assert set_plate(store, SEA, [{"HULL": 1.0}], anew=True).additions == [{"HULL": 1.0}]


def test_it_aims_at_the_middle_and_the_scale_is_in_its_band():
    plate = {"ROPE": 6.3, "STARBOARD": 2.8, "HULL": 1.6}
    assert next_additions(PALETTE, plate, GOAL).then <= AIM + 1e-6
    rng, step = np.random.default_rng(3), 0.1
    slips = [{p: g + rng.uniform(-0.05, 0.05) for p, g in KELP.items()} for _ in range(400)]
    off = ciede2000(lab_of(PALETTE, slips), GOAL)
    spread = hand(PALETTE, KELP, dict.fromkeys(KELP, 1), step, left=0.0)
    assert float(np.sqrt((off**2).mean())) == pytest.approx(spread, rel=0.15)
    assert hand(PALETTE, KELP, dict.fromkeys(KELP, 4), step, 0.0) == pytest.approx(2 * spread)


@pytest.mark.parametrize("step", [0.01, 0.1, 0.5])
def test_additions_are_whole_steps_of_the_scale(step):
    plate = {"ROPE": 6.3, "STARBOARD": 2.8, "HULL": 1.6}
    found = next_additions(PALETTE, plate, GOAL, step=step)
    for name, grams in found.additions.items():
        assert grams / step == pytest.approx(round(grams / step), abs=1e-6), name
    whole = {n: plate.get(n, 0) + found.additions.get(n, 0) for n in {**plate, **found.additions}}
    assert ciede2000(lab_of(PALETTE, [whole])[0], GOAL) == pytest.approx(found.then, abs=1e-6)


def test_an_addition_too_small_to_measure_is_avoided():
    for plate in ({"HULL": 8.0, "STARBOARD": 1.0}, {"ROPE": 4.0, "HULL": 4.0, "PITCH": 0.2}):
        found = next_additions(PALETTE, plate, PALETTE.lab(np.eye(10)[:1])[0] - [30, 10, 8])
        assert all(g >= 0.002 * sum(plate.values()) for g in found.additions.values())


def test_an_addition_is_chosen_for_what_a_hand_makes_of_it():
    """On a coarse scale, additions that are weighed worse are left for some that are surer."""
    plate = {"HULL": 9.3, "STARBOARD": 0.4, "BUOY": 0.3}
    goal = lab_of(PALETTE, [{"HULL": 9.3, "STARBOARD": 0.4, "BUOY": 0.1}])[0]
    rng, step = np.random.default_rng(4), 0.1

    def ends(added):
        heaps = []
        for _ in range(300):
            more = {p: g + rng.uniform(-step / 2, step / 2) for p, g in added.items()}
            heaps.append({p: plate.get(p, 0) + more.get(p, 0) for p in {**plate, **more}})
        return float(np.mean(ciede2000(lab_of(PALETTE, heaps), goal)))

    exact = next_additions(PALETTE, plate, goal)
    coarse = next_additions(PALETTE, plate, goal, step=step)
    rounded = {p: max(round(g, 1), step) for p, g in exact.additions.items()}
    assert ends(coarse.additions) <= ends(rounded) + 0.05
    assert coarse.then < coarse.off


def test_which_paint_a_brush_brought_is_told_by_the_dab():
    """One paint explains a dab better than a little of every one."""
    for old in ("STARBOARD", "BUOY", "PITCH"):
        true = {**KELP, old: KELP.get(old, 0.0) + 0.05}
        look = lab_of(PALETTE, [true])[0]
        found = corrected(PALETTE, KELP, Target("a dab", look, band=0.3), 0.01).mixes[0]
        brought = {p: 10 * share for p, share in found.items() if p not in KELP}
        # A red is told from a violet, not from another red.
        assert len(brought) == (old not in KELP), (old, brought)
        assert sum(brought.values()) < 0.1
        assert ciede2000(lab_of(PALETTE, [found])[0], look) < 0.3


@pytest.mark.parametrize("band", [1.0, 9.0])
def test_what_a_heap_is_made_of_is_estimated_from_its_dab(band: float):
    """Mixtures of the lab's painter, each dab off by as much as its band allows."""
    mixes = list(plan.random_mixtures(6, 5).values())
    rng, held, named = np.random.default_rng(2), [], []
    for mix, other in pairwise(mixes):
        seen = lab_of(PALETTE, [mix])[0] + rng.standard_normal(3) * band / 2.8
        likely = likely_mixes(PALETTE, Target("a dab", seen, band=band), tuple(mix))
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
        likely_mixes(PALETTE, Target("a dab", np.array([60.0, 110, 90]), band=1.0))


def test_a_dab_that_its_card_shows_through_is_told():
    clear = likely_mixes(PALETTE, Target("a dab", lab_of(PALETTE, [{"RESIN": 1}])[0]), ["RESIN"])
    hiding = likely_mixes(PALETTE, Target("a dab", lab_of(PALETTE, [{"PITCH": 1}])[0]), ["PITCH"])
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
    with Store.open(folder) as store:
        assert plate_of(store, SEA).dab is not None
    tintladder("62,-18,-9", "--clear", "--add", "HULL=4")
    with Store.open(folder) as store:
        assert plate_of(store, SEA).dab is None
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
        (("62,-18,-9", "--add", "HULL=8g,ROPE=1ml"), "in g and ml"),
        (("62,-18,-9", "--add", "HULL=8cm"), "how much a cm holds"),
        (("62,-18,-9", "--add", "HULL=1", "--based-on", "0"), "was changed since"),
        (("20,1,1", "--undo"), "no step of this plate"),
    ):
        found = tintladder(*wrong)
        assert found.status == 2 and why in found.err and found.err.count("\n") == 1, found.err


def test_an_addition_is_taken_back_and_each_colour_has_its_own_plate(own_demo, monkeypatch, capsys):
    def tintladder(*arguments):
        return run(monkeypatch, capsys, "next", *arguments, "--studio", own_demo)

    first = tintladder("40 10 20", "--add", "ROPE=5,HULL=1", "--json").json
    assert first["plate"] == {"ROPE": 5, "HULL": 1}
    again = tintladder("rgb(80, 80, 80)", "--add", "PITCH=1,HULL=4", "--json").json
    assert again["plate"] == {"PITCH": 1, "HULL": 4}
    more = ("40,10,20", "--add", "BUOY=0.2", "--based-on", str(first["number"]))
    assert tintladder(*more).status == 0
    twice = tintladder(*more)
    assert twice.status == 2 and "was changed since" in twice.err
    assert tintladder("40,10,20", "--undo", "--json").json["plate"] == {"ROPE": 5, "HULL": 1}
    assert "empty" in tintladder("40,10,20", "--undo").out
    millilitres = tintladder("40,10,20", "--add", "ROPE=2ml", "--json").json["plate"]
    assert millilitres["ROPE"] == pytest.approx(2 * 1.4, rel=0.3)


def test_a_scale_and_a_finish_are_remembered(own_demo, monkeypatch, capsys):
    def tintladder(*arguments):
        found = run(monkeypatch, capsys, *arguments, "--studio", own_demo)
        assert found.status == 0, found.err
        return found

    def step(*arguments):
        return tintladder("recipe", "62,-18,-9", "--ways", "1", "--json", *arguments).json

    tintladder("recipe", "62,-18,-9", "--ways", "1", "--scale", "0.1", "--finish", "satin")
    said = step()
    assert said["recipes"][0]["amounts"][0]["step"] == 0.1
    assert said["viewing"] == {"finish": "satin"}
    grams = tintladder("next", "62,-18,-9", "--clear", "--add", "HULL=8,ROPE=1", "--json").json
    assert grams["viewing"] == {"finish": "satin"}
    assert all(round(10 * g, 6) % 1 == 0 for g in grams["additions"].values())
    spooned = step("--measure", "spoons")["recipes"][0]["amounts"][0]
    assert spooned["unit"] == "spoon" and step()["recipes"][0]["amounts"][0] == spooned
    # What was read is still matched as it was read.
    read = tintladder("recipe", "mixtures/moss", "--ways", "1", "--json").json
    assert "finish" not in read["viewing"]
    tintladder("recipe", "62,-18,-9", "--scale", "0.01", "--measure", "grams", "--finish", "gloss")


def test_what_a_brush_brings_is_part_of_the_hand():
    """Against heaps into which a little of any one tube was truly stirred."""
    rng = np.random.default_rng(5)
    brought = []
    for _ in range(400):
        heap = dict(KELP)
        paint = str(rng.choice(PALETTE.paints))
        heap[paint] = heap.get(paint, 0.0) + abs(float(rng.normal(0, LEFT_G)))
        brought.append(heap)
    off = ciede2000(lab_of(PALETTE, brought), lab_of(PALETTE, [KELP])[0])
    alone = hand(PALETTE, KELP, {}, 0.1)
    assert float(np.sqrt((off**2).mean())) == pytest.approx(alone, rel=0.25)
    assert hand(PALETTE, KELP, dict.fromkeys(KELP, 1), 0.1) > alone


def test_a_dab_of_a_heap_that_was_weighed_corrects_it():
    """The heap that was truly mixed is told nearer than by what the scale showed."""
    rng = np.random.default_rng(11)
    before, after, held = [], [], []
    for _ in range(30):
        true = {p: g + float(rng.uniform(-0.05, 0.05)) for p, g in KELP.items()}
        old = str(rng.choice(PALETTE.paints))
        true[old] = true.get(old, 0.0) + float(rng.uniform(0.01, 0.05))
        look = lab_of(PALETTE, [true])[0]
        dab = Target("a dab", look + rng.uniform(-0.2, 0.2, 3), band=0.5)
        likely = corrected(PALETTE, KELP, dab, 0.1)
        before.append(float(ciede2000(lab_of(PALETTE, [KELP])[0], look)))
        after.append(float(ciede2000(lab_of(PALETTE, [likely.mixes[0]])[0], look)))
        _, most = outcomes(PALETTE, likely, 10.0, {}, look)
        held.append(after[-1] <= most)
        assert likely.weights.sum() == pytest.approx(1)
    assert np.mean(after) < 0.5 * np.mean(before) and np.percentile(after, 95) < 0.6
    assert np.mean(held) >= 0.9
    other = Target("a dab", np.array([40.0, 60.0, 40.0]), band=1.0)
    assert corrected(PALETTE, KELP, other, 0.1) is None


def test_what_the_model_gets_wrong_of_a_heap_is_carried_beside_its_parts(own_demo):
    with Store.open(own_demo) as store:
        palette = Palette(store.fits.coefficients(list(KELP)))
    expected = lab_of(palette, [KELP])[0]
    look = expected + np.array([predicted_band(palette, KELP), 0, 0])
    likely = corrected(palette, KELP, Target("a dab", look, band=0.2), 0.001)
    parts = lab_of(palette, [likely.mixes[0]])[0]
    assert ciede2000(parts + likely.shift, look) < 0.25
    assert likely.shift[0] > 2 * (parts - expected)[0]


def test_of_a_plate_known_badly_only_what_is_surely_not_too_much_goes_on(
    own_demo, monkeypatch, capsys
):
    def told(*arguments):
        typed = ("next", *arguments, "--scale", "0.1", "--studio", own_demo)
        return run(monkeypatch, capsys, *typed)

    heap = ("62,-18,-9", "--clear", "--add", "HULL=2,STARBOARD=0.7")
    said = told(*heap, "--json").json
    whole = said["whole"]["additions"]
    assert said["off_de00"] > 2 * said["unsure_de00"] > 2, "far off, and not known well"
    assert not said["dab_first"] and said["additions"]
    share = 1 - said["unsure_de00"] / said["off_de00"]
    for paint, grams in said["additions"].items():
        assert share * whole[paint] - 0.1 < grams <= share * whole[paint] + 1e-6
        assert round(grams / 0.1, 6) == round(grams / 0.1), "whole steps of the scale"
    assert said["whole"]["then_de00"] < said["then_de00"] < said["off_de00"]
    assert "So much is surely not too much" in told(*heap).out


def test_a_dab_is_asked_for_where_it_tells_more_than_an_addition(own_demo, monkeypatch, capsys):
    def tintladder(*arguments):
        return run(monkeypatch, capsys, "next", *arguments, "--studio", own_demo)

    far = tintladder("62,-18,-9", "--clear", "--add", "HULL=8,STARBOARD=1", "--json").json
    assert not far["dab_first"], "far off an addition brings more"
    # Weighed in many small portions on a coarse scale, nobody knows a little heap well.
    with Store.open(own_demo) as store:
        near = parse_target("62,-18,-9", store)
    heap = "HULL=0.9,STARBOARD=0.1"
    seen = tintladder("62,-18,-9", "--scale", "0.1", "--clear", "--add", heap, "--json").json
    aim = ",".join(f"{x:.1f}" for x in seen["now_lab"])
    told = tintladder(aim, "--clear", "--add", heap)
    assert "A dried dab tells more than an addition" in told.out
    assert near.viewing.finish == "gloss"
    looked = tintladder(aim, "--dab", aim, "--heap", "1", "--json").json
    assert not looked["dab_first"] and looked["dab"]["likely_parts"]["HULL"] > 0.8
    assert looked["unsure_de00"] < seen["unsure_de00"]
    over = tintladder("95,0,2", "--clear", "--add", "PITCH=8")
    assert "start over: a fresh batch of 8.0 g Hull White takes 8 g and comes" in over.out
