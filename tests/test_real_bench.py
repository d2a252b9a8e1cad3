"""The benches of paints like real ones, in small: they run, and count what they say they count."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card

from tests.bench import real_lab
from tests.bench.real_lab import UNSEEN, WORLDS, World, mixtures, scored
from tests.lab import oil_box
from tests.lab.drawdown import LIKE_REAL
from tests.lab.oil_box import OIL_BOX
from tests.lab.paints import LabPaint


class Few(World):
    """Four paints of the box, of which one is its black and one an extender."""

    @property
    def paints(self) -> Mapping[str, LabPaint]:
        return {name: OIL_BOX[name] for name in ("SAIL", "SOOT", "FOGHORN", "BALLAST")}

    def cards(self, seed: int) -> list[Card]:
        return oil_box.ladders(seed, self.paints)


@pytest.fixture(scope="module")
def few() -> real_lab.Score:
    return scored(Few(LIKE_REAL["all of these"], (1,), None, 200.0), counts=(3, 2), points=8)


def test_a_world_is_painted_fitted_and_judged(few: real_lab.Score):
    assert {name: len(off) for name, off in few.de00.items()} == {
        "as_used": 10, "two_flux": 10, "transport": 10
    }  # fmt: skip
    assert all((off < 20).all() for off in few.de00.values())
    assert few.patches["inside"].between(0, 1).all()
    assert few.patches["recipe"].sum() == 4
    assert set(few.aside) == {"two_flux", "transport"}


def test_strata_are_of_lightness_recipes_and_paints(few: real_lab.Score):
    for name in ("dark", "mid", "light", "recipes"):
        share = real_lab.STRATA[name](few.patches)
        assert np.isnan(share) or 0 <= share <= 1
    least, most = (
        real_lab.STRATA[name](few.patches.loc[few.patches.index.repeat(30)])
        for name in ("paint_least", "paint_most")
    )
    assert 0 <= least <= most <= 1


def test_mixtures_are_at_random_and_as_recipes_are():
    card = mixtures(WORLDS["oil_box"], 3, (10, 10))
    for d in card.drawdowns:
        assert 2 <= len(d.masses) <= 4
        assert sum(d.masses.values()) == pytest.approx(10, abs=0.05)
        if d.step.startswith("recipe"):
            assert 5.5 < d.masses["SAIL"] < 9.2


def test_no_seed_is_seen_and_unseen():
    seen = {seed for world in WORLDS.values() for seed in world.seeds}
    assert not seen & {seed for world in UNSEEN.values() for seed in world.seeds}
