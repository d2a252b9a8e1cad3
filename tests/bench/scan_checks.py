"""Mixtures that only a scanner read: whether what they say of a fit is as sure as it is said to be.

A painter's whole way with nothing but a flatbed: quick cards and printed cards of chosen mixtures,
rendered by the lab, all scanned by one device. What the scan makes of each mixture is held against
its true spectrum, which nobody sees but the lab.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd
from tintladder.calibrate.cards.card import Card
from tintladder.calibrate.cards.card_plan import CardPlan
from tintladder.calibrate.cards.channels import CardChannels
from tintladder.calibrate.cards.label_strength import strength_of
from tintladder.calibrate.cards.layout import read_layout
from tintladder.calibrate.cards.measure import measure_of
from tintladder.calibrate.cards.mixture_plan import choose_mixtures, plan_mixtures
from tintladder.calibrate.fit.scans.check import check_scans
from tintladder.calibrate.fit.scans.recovery import fit_scan
from tintladder.calibrate.fit.uncertainty.check import MOST_SCAN_ERROR, Check
from tintladder.calibrate.optics.colour import ciede2000, lab
from tintladder.calibrate.scan.reading import read_scan

from ..lab.paints import PAINTS, WHITE
from ..lab.render import SCANNER, Colours, Pose, render
from ..lab.scans import LAB, grey, ladder, painted, truth
from .harness import benchmark
from .scan import characterised, picture_of

CARDS = 4
_LAYOUT = "quick-mixtures-a5"


def _scanned(card: Card, seed: int) -> CardChannels:
    layout = read_layout(card.layout or "")
    turn = float(np.random.default_rng([seed, 0xC4E]).uniform(0, 360))
    colours = Colours(SCANNER, painted(card, layout, seed), grey())
    rendered = render(layout, colours, SCANNER, Pose(150, turn), seed, glare=1)
    picture = picture_of(rendered.pixels, "TIFF", 300.0)
    return read_scan(picture, card, layout, {}, characterised("flatbed")).channels


def _cards() -> list[CardPlan]:
    strengths = {
        name: strength_of(paint.pigments) for name, paint in PAINTS.items() if name != WHITE
    }
    plans = list[CardPlan]()
    for number in range(CARDS):
        tried = [set(d.masses) for plan in plans for d in plan.card.drawdowns]
        layout = read_layout(_LAYOUT)
        mixtures = choose_mixtures(strengths, WHITE, layout.steps, tried)
        name, measure = f"check-{number}", measure_of("0.01")
        plans.append(plan_mixtures(name, layout, mixtures, measure, densities={}, lots={}))
    return plans


@lru_cache(maxsize=1)
def _judged() -> tuple[Check, pd.DataFrame]:
    """The check by scan, and beside it what is true: de00 of the fit, and of the scan's reading."""
    sensors = characterised("flatbed").sensors
    assert sensors is not None
    names = [name for name in PAINTS if name != WHITE]
    quick = [_scanned(ladder(name), 300 + i) for i, name in enumerate(names)]
    known = fit_scan(quick, LAB.tubes, sensors).coefficients
    cards = [plan.card for plan in _cards()]
    scans = [_scanned(card, 400 + i) for i, card in enumerate(cards)]
    found = check_scans(known, scans, sensors)
    true = {}
    for i, card in enumerate(cards):
        layout = read_layout(_LAYOUT)
        made = truth(card, layout, painted(card, layout, 400 + i))
        true |= {(card.name, label): spectrum for label, spectrum in made.items()}
    table = found.patches
    at = zip(table["card"], table["step"], table["over"], strict=True)
    colours = lab(np.array([true[card, f"{step}/{over}"] for card, step, over in at]))
    predicted = table[["l_predicted", "a_predicted", "b_predicted"]].to_numpy()
    read = table[["l", "a", "b"]].to_numpy()
    beside = pd.DataFrame({
        "fit": ciede2000(predicted, colours), "scan": ciede2000(read, colours),
        "said": table["scan_error"],
    })  # fmt: skip
    return found, beside[beside["said"] <= MOST_SCAN_ERROR]


@benchmark("scan.checks_within_two", "share", target=0.9, sense="at least")
def within_two() -> float:
    """Patches whose colour, as scanned, is within twice what the scan says of itself."""
    _, beside = _judged()
    return float((beside["scan"] <= 2 * beside["said"]).mean())


@benchmark("scan.checks_said_error", "CIEDE2000")
def said() -> float:
    """What the scans say of themselves, root mean square, of the patches that tell."""
    return float(np.sqrt((_judged()[1]["said"] ** 2).mean()))


@benchmark("scan.checks_true_error", "CIEDE2000")
def true_error() -> float:
    """What they are off by."""
    return float(np.sqrt((_judged()[1]["scan"] ** 2).mean()))


@benchmark("scan.checks_mean", "CIEDE2000")
def mean() -> float:
    """How far the fit is off on these mixtures, as the scans say."""
    return _judged()[0].mean


@benchmark("scan.checks_true_mean", "CIEDE2000")
def true_mean() -> float:
    """The same in truth."""
    return float(_judged()[1]["fit"].mean())


@benchmark("scan.checks_that_tell", "share")
def that_tell() -> float:
    """Patches of these mixtures that the scan is sure enough of; the others are dark."""
    found, _ = _judged()
    return len(found.telling) / len(found.patches)
