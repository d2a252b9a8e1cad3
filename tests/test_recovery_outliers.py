"""A scanned ladder's wrong steps are named, and sound ladders are left alone.

Cards of the virtual lab's invented paints, as an invented scanner reads them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tintladder.calibrate.fit.scans.recovery import fit_scan
from tintladder.calibrate.optics.surface import Surface

from .bench.recovery import quick_card
from .invented_scanner import LED, characterised, scanned
from .lab.drawdown import Lab

SEED = 1


@pytest.fixture(scope="module")
def world():
    flat = Lab(surface=Surface.of("45:0"))
    cards = [quick_card(p) for p in ("ROPE", "BUOY")]
    scans = [scanned(r, LED, SEED) for r in flat.read(cards, SEED, noise=False, repeats=1)]
    return flat.tubes, characterised(LED, SEED), scans


def renamed(scan, names):
    labels = [label.partition("/") for label in scan.labels]
    return replace(scan, labels=tuple(f"{names.get(a, a)}/{c}" for a, _, c in labels))


def misweighed(scan, step, factor):
    """The card as if its painter had written down other grams than were weighed."""
    drawdowns = tuple(
        replace(d, masses={p: m * factor if p == d.paint else m for p, m in d.masses.items()})
        if d.step == step
        else d
        for d in scan.card.drawdowns
    )
    return replace(scan, card=replace(scan.card, drawdowns=drawdowns))


def test_sound_ladders_are_left_alone(world):
    tubes, sensors, scans = world
    fit = fit_scan(scans, tubes, sensors)
    for paint in ("ROPE", "BUOY"):
        assert fit.paints[paint].patches["flag"].eq("").all()
        assert fit.paints[paint].verdict != "look at this step"


def test_swapped_steps_are_named_and_set_aside(world):
    tubes, sensors, (rope, buoy) = world
    fit = fit_scan([rope, renamed(buoy, {"3:1": "7:1", "7:1": "3:1"})], tubes, sensors)
    found = fit.paints["BUOY"]
    assert found.verdict == "look at this step"
    assert any("3:1 and 7:1" in words and "swapped" in words for words in found.reasons)
    aside = found.patches["step"].isin(["3:1", "7:1"])
    assert (found.patches["weight"][aside] == 0).all()
    assert (found.patches["weight"][~aside] == 1).all()
    assert found.patches["flag"][aside].str.contains("swapped").all()
    assert fit.paints["ROPE"].verdict != "look at this step"


def test_a_wrong_step_is_named(world):
    tubes, sensors, (rope, _) = world
    found = fit_scan([misweighed(rope, "7:1", 2.5)], tubes, sensors).paints["ROPE"]
    assert any("7:1" in words and "doesn't fit" in words for words in found.reasons)
    sound = fit_scan([rope], tubes, sensors).coefficients.select(["ROPE"])
    mended = found.coefficients.select(["ROPE"])
    # Without the wrong step the paint is nearly what it was.
    ratio = (mended.k / mended.s) / (sound.k / sound.s)
    assert np.median(np.abs(np.log(ratio))) < 0.1


def test_light_on_one_half_leaves_the_other(world):
    tubes, sensors, (rope, _) = world
    channels = rope.channels.copy()
    channels[[label == "7:1/white" for label in rope.labels]] += 0.15
    found = fit_scan([replace(rope, channels=channels)], tubes, sensors).paints["ROPE"]
    table = found.patches.set_index("patch")
    assert table.loc["7:1/white", "weight"] == 0 and table.loc["7:1/black", "weight"] == 1
    assert "over white doesn't fit its other half" in table.loc["7:1/white", "flag"]
    assert (table["weight"] == 0).sum() == 1
