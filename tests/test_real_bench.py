"""The benches of paints like real ones, in small: they run, and count what they say they count."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from tintladder.calibrate.cards.card import Card

from tests.bench import real_lab, real_mistakes
from tests.bench.real_lab import UNSEEN, WORLDS, World, mixtures, scored
from tests.lab import oil_box
from tests.lab.drawdown import LIKE_REAL
from tests.lab.mistakes import SHOWS, Mistake, Painted, flaked, glowing, shows, swapped
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


@pytest.fixture(scope="module")
def sound() -> Painted:
    return real_mistakes.painted(4, real_mistakes.NOMINAL_UM, points=8)


def test_mistakes_are_where_they_are_said_to_be_and_show(sound: Painted):
    rng = np.random.default_rng(1)
    for make in real_mistakes.MAKERS.values():
        made = make(sound, rng)
        assert made.shows >= SHOWS
        changed = {
            (before.card.name, label.partition("/")[0])
            for before, after in zip(sound.readings, made.readings, strict=True)
            for label, one, other in zip(
                before.spectra.labels, before.spectra.values, after.spectra.values, strict=True
            )
            if not np.array_equal(one, other)
        }
        assert changed == made.wrong


def test_what_is_right_does_not_show(sound: Painted):
    for number, card in enumerate(sound.cards):
        for d in card.drawdowns:
            assert shows(sound, number, d.step, sound.readings) < 1


def test_what_is_no_film_reads_as_none_does(sound: Painted):
    red = real_mistakes.painted(4, real_mistakes.NOMINAL_UM, 8, first=real_mistakes.WARM)
    glow = glowing(red, 1)
    assert glow[1].card.paints[0] == real_mistakes.WARM
    assert glow[1].read("masstone/white").max() > 1.2 * glow[0].read("masstone/white").max()
    flakes = flaked(sound, 1)[1].read("masstone/white")
    assert np.abs(flakes[0] / flakes[1] - 1).max() > 0.01


def test_what_is_named_is_read_from_words_and_weights(sound: Painted):
    steps = [d.step for d in sound.cards[1].drawdowns]
    made = swapped(sound, 1, steps[1], steps[2])
    said = real_mistakes.judged("swapped", sound, made)
    assert said.wrong == {(sound.cards[1].name, step) for step in steps[1:3]}
    assert said.innocent == said.accused - said.wrong
    peace = Mistake("sound", sound.readings, frozenset(), 0.0)
    assert real_mistakes.judged("sound", sound, peace).words
