"""Which tubes to set out: never one more than an exhaustive search finds, and every heap."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.optics.colour import ciede2000
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.search import search
from tintladder.database.mixing.setout import LEAST_ML, set_out
from tintladder.database.mixing.target import of_lab
from tintladder.database.mixing.tubes.fewest import fewest_tubes

from tests.command import run
from tests.invented_palette import invented_coefficients

C = invented_coefficients(8)
PALETTE = Palette(C)


def colours(count: int, seed: int, few: int = 5) -> np.ndarray:
    """Colours of mixes of a few of the tubes."""
    rng = np.random.default_rng(seed)
    shares = np.zeros((count, 8))
    shares[:, rng.choice(8, few, replace=False)] = rng.dirichlet(np.full(few, 0.7), count)
    return PALETTE.lab(shares)


def exhaustive(targets: np.ndarray, within: float, most: int) -> int:
    """Fewest tubes: every set of them is tried, and in it every mix of up to `most`."""
    able = [
        [
            set(row)
            for solved in search(PALETTE, target, most)
            for row in solved.tubes[solved.difference[0] <= within].tolist()
        ]
        for target in targets
    ]
    for size in range(1, 9):
        for tubes in combinations(range(8), size):
            if all(any(mix <= set(tubes) for mix in mixes) for mixes in able):
                return size
    raise AssertionError


@pytest.mark.parametrize(("seed", "most"), [(1, 2), (2, 3), (7, 4)])
def test_never_a_tube_more_than_exhaustive_search(seed: int, most: int):
    targets = colours(3, seed)
    within = max(2.0, search(PALETTE, targets, most)[-1].difference.min(axis=1).max() + 0.1)
    found = fewest_tubes(PALETTE, targets, within, most)
    assert len(found.chosen.tubes) == exhaustive(targets, within, most)
    assert found.proven and (found.limit == within).all()
    # What it says it makes, it makes.
    off = ciede2000(PALETTE.lab(found.chosen.shares), targets)
    np.testing.assert_allclose(off, found.chosen.difference, atol=1e-6)
    assert (off <= within + 0.01).all()
    assert ((found.chosen.shares > 0).sum(axis=1) <= most).all()
    # One fewer falls short somewhere.
    assert found.fewer is not None
    assert len(found.fewer.tubes) == len(found.chosen.tubes) - 1
    assert (found.fewer.difference > within).any()


def test_a_tube_asked_for_is_set_out():
    targets = colours(3, 4, few=3)
    free = fewest_tubes(PALETTE, targets, 2.0).chosen.tubes
    other = next(p for p in C.paints if p not in free)
    found = fewest_tubes(PALETTE, targets, 2.0, must=[other])
    assert other in found.chosen.tubes and len(found.chosen.tubes) >= len(free)
    assert found.fewer is None or other in found.fewer.tubes


def test_a_colour_out_of_reach_is_come_near_to():
    targets = [of_lab(*c) for c in colours(2, 5)] + [of_lab(50, 100, 90)]
    found = set_out(PALETTE, targets, within=2.0)
    (far,) = found.unreached
    assert far.target is targets[2] and far.recipe.difference > 2
    nearest = search(PALETTE, far.target.lab)[-1].difference.min()
    assert far.recipe.difference <= nearest + 2.0
    assert all(d.recipe.difference <= 2.01 for d in found.dabs if d.reached)


def test_heaps_add_up_to_the_tubes():
    targets = [of_lab(*c) for c in colours(4, 6)]
    found = set_out(PALETTE, targets, [0.5, 0.3, 0.195, 0.005], ml=100)
    assert [d.share for d in found.dabs] == sorted((d.share for d in found.dabs), reverse=True)
    assert [round(d.ml, 6) for d in found.dabs] == [50, 30, 19.5, LEAST_ML]
    for paint, ml in found.ml.items():
        used = sum(d.grams.get(paint, 0.0) for d in found.dabs) / C.density[C.index(paint)]
        assert ml == pytest.approx(used)
    assert sum(found.ml.values()) == pytest.approx(sum(d.ml for d in found.dabs))
    assert set(found.tubes) == set(found.ml)
    large = set_out(PALETTE, targets, area="40x50cm", coats=2)
    # 2000 cm² of 60 µm dry and a tenth lost is 13.2 ml dry, from some two fifths of solids.
    assert 26 < sum(large.ml.values()) < 45
    with pytest.raises(InputError, match="no colours"):
        set_out(PALETTE, [])


def test_command_sets_out_a_photograph(own_demo, monkeypatch, capsys):
    def tintladder(*arguments):
        return run(monkeypatch, capsys, *arguments, "--studio", own_demo)

    photo = own_demo / "photos" / "slipway.jpg"
    spots = ("--white", "44,405", "--grey", "82,405", "--black", "121,406")
    found = tintladder("setout", photo, *spots, "--json")
    assert found.status == 0, found.err
    said = found.json
    assert 5 <= len(said["colours"]) <= 12 and said["proven_fewest"]
    assert set(said["ml"]) == set(said["tubes"])
    assert len(said["one_fewer"]["tubes"]) == len(said["tubes"]) - 1
    shown = tintladder("setout", "ANCHOR 4:1", "ANCHOR 1:1", "#5f8ea0", "--make", "20")
    assert shown.status == 0 and "One tube fewer" in shown.out and "95 of 100" in shown.out
    assert ("!" in shown.out.replace("A !", "")) == ("A ! marks a colour" in shown.out)
    for wrong, why in (
        (("setout", own_demo / "nosuch.jpg"), "no such file"),
        (("setout", photo, "--grey", "9000,4"), "outside the picture"),
        (("setout", photo, "--grey", "left"), "write 120,80"),
        (("setout", "62,-18,-9", "--grey", "1,1"), "none is given"),
        (("setout", "62,-18,-9", "--area", "large"), "40x50cm"),
        (("setout", "62,-18,-9", "--finish", "shiny"), "gloss, satin, matt"),
    ):
        found = tintladder(*wrong)
        assert found.status == 2 and why in found.err and found.err.count("\n") == 1, found.err
